"""Measures an export of many records: `python benchmarks/exporting.py FOLDER [--records N] [--as FORM …]`.

Fills FOLDER with an invented practice (`seeding.py`), lets `rostral export` write its records in a process of its own, and prints
milliseconds a record, bytes of each form, and the memory of that process in tenths of the way.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from pathlib import Path
from subprocess import DEVNULL

import psutil
from seeding import START, VISITS, bodies, seed

from pipeline.store import Database, add_person, found_practice

_EVERY_S = 0.1


def main() -> None:
    """Seed, export and tell."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("folder", type=Path)
    given.add_argument("--records", type=int, default=1000)
    given.add_argument("--as", dest="forms", action="append")
    options = given.parse_args()
    forms = options.forms or ["pdf", "fhir", "csv"]
    options.folder.mkdir(parents=True)
    database, written = options.folder / "practice.db", options.folder / "written"
    _fill(database, options.records // VISITS)
    command = [sys.executable, "-m", "pipeline.cli", "export", "--since", "2000-01-01", "--to", str(written)]
    command += ["--person", "Ines Halloran", *(part for form in forms for part in ("--as", form))]
    began = time.perf_counter()
    memory = _memory_mb(command, {**os.environ, "ROSTRAL_DATABASE": str(database)})
    took_s = time.perf_counter() - began
    files = [file for file in written.rglob("*") if file.is_file()]
    sizes: Counter[str] = Counter()
    for file in files:
        sizes[file.suffix] += file.stat().st_size
    tenths = [round(memory[len(memory) * part // 10]) for part in range(10)]
    sys.stdout.write(
        f"{options.records} records to {', '.join(forms)}: {1000 * took_s / options.records:.0f} ms a record, "
        f"{len(files):,} files; at most {max(memory):.0f} MB, along the way {tenths}\n"
        f"bytes a record: { ({suffix: round(size / options.records) for suffix, size in sizes.items()}) }\n"
    )


def _fill(file: Path, patients: int) -> None:
    database = Database(file)
    manager = found_practice(database, "Alder Lane Surgery", "Odile Farran", START)
    vet = add_person(database, manager, "Ines Halloran", "vet", START)
    seed(database, vet, 0, patients, bodies())
    database.close()


def _memory_mb(command: list[str], surroundings: dict[str, str]) -> list[float]:
    """Run it to its end, and give what it held from moment to moment. Ends the program when it fails."""
    with psutil.Popen(command, env=surroundings, stdout=DEVNULL) as running:
        held = []
        while running.poll() is None:
            held.append(running.memory_info().rss / 1e6)
            time.sleep(_EVERY_S)
    if running.returncode:
        sys.exit(running.returncode)
    return held


if __name__ == "__main__":
    main()
