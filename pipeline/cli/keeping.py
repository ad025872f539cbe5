"""The practice's database as the commands use it: which one it is, and who acts.

The command line trusts whoever may read the database; the name is what the trail and signatures hold.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from platformdirs import user_data_path

from pipeline.cli.border import CallError, WorkError
from pipeline.cli.screen import remark
from pipeline.settings import PREFIX, Settings
from pipeline.store import Actor, Database, Person, people
from pipeline.store.database import anchors_beside
from pipeline.store.stamps import now, sha256

BEGIN = 'rostral practice begin "NAME OF THE PRACTICE" --manager "YOUR NAME"'
_FILE = "rostral.sqlite"


@dataclass(frozen=True, slots=True)
class Books:
    """An open database, and the person who reads and writes in it."""

    database: Database
    actor: Actor

    def at(self) -> datetime:
        """The time that goes into what is written now."""
        return now()


def usual_address(settings: Settings) -> str | Path:
    """Where records are kept: the address or file of the settings, else a file among the user's data."""
    if settings.database is None:
        return user_data_path("rostral", appauthor=False) / _FILE
    return settings.database if "://" in settings.database else Path(settings.database).expanduser()


def usual_anchors(settings: Settings, address: str | Path) -> Path:
    """Where the end of the trail is written down: the folder of the settings, else one for each database."""
    if settings.anchors is not None:
        return settings.anchors.expanduser()
    if isinstance(address, Path):
        return anchors_beside(address)
    # By a checksum of the place alone: neither names nor passwords become names of folders.
    place = address.rpartition("@")[2].partition("?")[0]
    return user_data_path("rostral", appauthor=False) / "anchors" / sha256(place)[:16]


def usual_recordings(settings: Settings) -> Path:
    """Where the sounds of visits lie: the folder of the settings, else beside a database of one file, or among the user's data."""
    if settings.recordings is not None:
        return settings.recordings.expanduser()
    address = usual_address(settings)
    beside = address.parent if isinstance(address, Path) else user_data_path("rostral", appauthor=False)
    return beside / "recordings"


@contextmanager
def open_database(settings: Settings, *, new: bool = False) -> Iterator[Database]:
    """The database of the settings, closed at the end; a file that is not there yet is made only if `new`.

    Raises WorkError, DatabaseError.
    """
    address = usual_address(settings)
    if isinstance(address, Path) and not new and not address.exists():
        raise WorkError(
            f"Nothing is kept yet: there is no database {address}. Begin with: {BEGIN}; or name another"
            f" database in {PREFIX}DATABASE."
        )
    database = Database(address, usual_anchors(settings, address))
    try:
        yield database
    finally:
        database.close()
        if database.anchors.fault is not None:
            remark(database.anchors.fault)


@contextmanager
def open_books(settings: Settings) -> Iterator[Books]:
    """The database of the settings with the person who acts. Raises CallError, WorkError, DatabaseError."""
    with open_database(settings) as database:
        yield Books(database, who_acts(people(database), settings.person, database.shown))


def who_acts(everybody: Iterable[Person], named: str | None, place: str) -> Actor:
    """The person of that name or identifier (its beginning is enough); where one person works alone, that one.

    Raises CallError that says how to name somebody, WorkError when nobody was added yet.
    """
    active = [one for one in everybody if one.active]
    if not active:
        raise WorkError(f"No practice was set up in {place} yet. Begin with: {BEGIN}")
    chosen = [one for one in active if named is None or _is_named(one, named)]
    if len(chosen) == 1:
        one = chosen[0]
        return Actor(practice_id=one.practice_id, person_id=one.id, name=one.name, role=one.role)
    listed = "; ".join(_shown(one, active) for one in (chosen or active)[:8])
    how = f'Say who acts with --as "NAME", or set {PREFIX}PERSON.'
    if named is None:
        raise CallError(f"Several people work here. {how} There are: {listed}.")
    if chosen:
        raise CallError(f"Several people are called {named!r}: give the identifier. There are: {listed}.")
    raise CallError(f"Nobody called {named!r} works here. {how} There are: {listed}.")


def _is_named(one: Person, named: str) -> bool:
    wanted = " ".join(named.split()).casefold()
    return wanted == " ".join(one.name.split()).casefold() or (
        len(wanted) >= 16 and one.id.startswith(wanted)
    )


def _shown(one: Person, among: list[Person]) -> str:
    several = len({other.practice_id for other in among}) > 1
    alike = sum(_is_named(other, one.name) for other in among) > 1
    place = f" at {one.practice}" if several else ""
    return f"{one.name} ({one.role}{place}{f', {one.id}' if alike else ''})"
