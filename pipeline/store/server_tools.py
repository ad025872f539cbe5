"""PostgreSQL's own programs for copying a database out and in: pg_dump and pg_restore, at least as new as the server."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

from sqlalchemy import URL, Connection, text

from pipeline.store.errors import DatabaseError

_INSTALLED = Path("/usr/lib/postgresql")
"""Where Debian and its kin keep the programs of every version."""


def find_tool(name: str, connection: Connection, folder: Path | None) -> Path:
    """The program of that name that fits the server: in `folder`, on the path, or among the installed versions.

    An older program refuses a newer server. Raises DatabaseError that says what to install.
    """
    server = int(connection.execute(text("SHOW server_version_num")).scalar_one()) // 10_000
    candidates = [folder / name] if folder is not None else []
    if (on_path := shutil.which(name)) is not None:
        candidates.append(Path(on_path))
    candidates += sorted(_INSTALLED.glob(f"*/bin/{name}"), reverse=True)
    older = []
    for candidate in candidates:
        version = _version(candidate)
        if version is not None and version >= server:
            return candidate
        if version is not None:
            older.append(version)
    found = f"only version {max(older)} is there" if older else "it is not there"
    raise DatabaseError(
        f"Copying the database needs PostgreSQL's program {name} of version {server} or later, and {found}. Install"
        f" the package postgresql-client-{server}, or name the folder of the program in ROSTRAL_POSTGRES_TOOLS."
    )


def run_tool(program: Path, url: URL, arguments: list[str]) -> None:
    """Run a program on a database; the password goes through its environment, where other users cannot read it.

    Raises DatabaseError with what the program said.
    """
    environment = {**os.environ, **({"PGPASSWORD": str(url.password)} if url.password else {})}
    place = url.set(drivername="postgresql", password=None).render_as_string(hide_password=False)
    done = subprocess.run(  # noqa: S603 — the program was found by name, the address is the database's own
        [program, "--dbname", place, "--no-password", *arguments],
        capture_output=True,
        check=False,
        text=True,
        env=environment,
    )
    if done.returncode:
        said = (done.stderr.strip().splitlines() or ["it said nothing"])[-1]
        raise DatabaseError(f"{program.name} could not do its work: {said}. Nothing was changed.")


def _version(program: Path) -> int | None:
    try:
        done = subprocess.run(  # noqa: S603 — found by name
            [program, "--version"], capture_output=True, check=False, text=True, timeout=20
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    found = re.search(r"\)\s+(\d+)", done.stdout)
    return int(found[1]) if found is not None else None
