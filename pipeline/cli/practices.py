"""The commands about the practice itself: setting it up, its letterhead, its people."""

from __future__ import annotations

from pipeline.cli.columns import show_facts, show_rows
from pipeline.cli.keeping import open_books, open_database
from pipeline.cli.screen import output, remark, write_json
from pipeline.settings import PREFIX, Settings
from pipeline.store import (
    Practice,
    add_person,
    change_practice,
    found_practice,
    full_id,
    people,
    practice_of,
    retire_person,
)
from pipeline.store.stamps import now


def begin(settings: Settings, name: str, manager: str) -> None:
    """Set up a practice with its first person, who manages it."""
    with open_database(settings, new=True) as database:
        others = [one for one in people(database) if one.active]
        actor = found_practice(database, name, manager, now())
        console = output()
        console.print(f"{name.strip()} is set up in {database.shown}.", soft_wrap=True)
        console.print(f"{actor.name} (manager)  {actor.person_id}", soft_wrap=True)
        console.print('Next: rostral people add "NAME" --role vet', soft_wrap=True)
        if others:
            remark(
                f"There are other practices in this database: say who acts with --as or {PREFIX}PERSON, by"
                " name or identifier."
            )


def show(settings: Settings, *, as_json: bool) -> None:
    """Show the practice with its letterhead."""
    with open_books(settings) as books:
        practice = practice_of(books.database, books.actor)
        _show(practice, as_json=as_json, place=books.database.shown)


def letterhead(settings: Settings, given: dict[str, str | None], *, as_json: bool) -> None:
    """Set what was given of name and letterhead; an empty text takes a line away."""
    with open_books(settings) as books:
        practice = practice_of(books.database, books.actor)
        changes = {name: value for name, value in given.items() if value is not None}
        if changes:
            changed = Practice.model_validate({**practice.model_dump(), **changes})
            practice = change_practice(books.database, books.actor, changed, books.at())
        _show(practice, as_json=as_json, place=books.database.shown)


def retention(settings: Settings, years: int | None, *, forget: bool) -> None:
    """Set for how many years records are kept at the least, or say what is set."""
    with open_books(settings) as books:
        practice = practice_of(books.database, books.actor)
        if forget or years is not None:
            changed = Practice.model_validate({**practice.model_dump(), "retention_years": years})
            practice = change_practice(books.database, books.actor, changed, books.at())
    kept = practice.retention_years
    said = "No time is set." if kept is None else f"Records are kept for {kept} years at the least."
    output().print(
        f"{said} Nothing is ever removed by itself; what local rules ask for is for the practice to know.",
        soft_wrap=True,
    )


def add(settings: Settings, name: str, role: str) -> None:
    """Add somebody who works in the practice."""
    with open_books(settings) as books:
        added = add_person(books.database, books.actor, name, role.strip().lower(), books.at())
        output().print(f"{added.name} ({added.role})  {added.person_id}", soft_wrap=True)


def listed(settings: Settings, *, as_json: bool) -> None:
    """List who works and worked in the practice."""
    with open_books(settings) as books:
        ours = [one for one in people(books.database) if one.practice_id == books.actor.practice_id]
        if as_json:
            write_json([one.model_dump(mode="json") for one in ours])
            return
        rows = [(one.name, one.role, "" if one.active else "left", one.id) for one in ours]
        show_rows(("name", "role", "", "identifier"), rows)


def retire(settings: Settings, identifier: str) -> None:
    """End somebody's access; what they did and signed stays."""
    with open_books(settings) as books:
        person_id = full_id(books.database, books.actor, "person", identifier)
        retire_person(books.database, books.actor, person_id, books.at())
        output().print("They cannot act any more; what they did and signed stays.", soft_wrap=True)


def _show(practice: Practice, *, as_json: bool, place: str) -> None:
    if as_json:
        write_json(practice.model_dump(mode="json"))
        return
    show_facts(
        (
            *((name, value) for name, value in practice.model_dump().items() if name != "id"),
            ("kept in", place),
        )
    )
