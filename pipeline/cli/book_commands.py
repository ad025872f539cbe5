"""The commands on what the practice keeps: practice, people, owner, patient, visit. Their bodies stand in modules of their own."""

# Late imports and many arguments: see the package.
# ruff: noqa: PLC0415, PLR0913, PLR0917

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

practice = typer.Typer(help="The practice itself: set it up, its letterhead.", no_args_is_help=True)
people = typer.Typer(help="Who works in the practice.", no_args_is_help=True)
owner = typer.Typer(help="The owners of patients.", no_args_is_help=True)
patient = typer.Typer(help="The patients.", no_args_is_help=True)

Who = Annotated[
    str | None,
    typer.Option(
        "--as",
        help="Who acts: a name or identifier of the practice's people.",
        show_default=False,
        metavar="NAME",
    ),
]
Json = Annotated[bool, typer.Option("--json", help="One JSON document on standard output, nothing else.")]
Patient = Annotated[
    str,
    typer.Argument(
        help="Identifier (its beginning is enough), microchip number, or words that only one has.",
        show_default=False,
    ),
]
Owner = Annotated[
    str,
    typer.Argument(
        help="Identifier (its beginning is enough), or words that only one has.", show_default=False
    ),
]


Name = Annotated[str | None, typer.Option("--name", show_default=False, metavar="TEXT")]
Phone = Annotated[str | None, typer.Option("--phone", show_default=False, metavar="TEXT")]
Email = Annotated[str | None, typer.Option("--email", show_default=False, metavar="TEXT")]
Address = Annotated[
    str | None, typer.Option("--address", help="Postal address.", show_default=False, metavar="TEXT")
]
Species = Annotated[
    str | None,
    typer.Option(
        "--species",
        help="dog, cat, rabbit, ferret, guinea_pig or another.",
        show_default=False,
        metavar="TEXT",
    ),
]
Breed = Annotated[str | None, typer.Option("--breed", show_default=False, metavar="TEXT")]
Sex = Annotated[str | None, typer.Option("--sex", help="male or female.", show_default=False, metavar="SEX")]
Neutered = Annotated[bool | None, typer.Option("--neutered/--entire", show_default=False)]
Born = Annotated[
    str | None, typer.Option("--born", help="Day of birth, YYYY-MM-DD.", show_default=False, metavar="DAY")
]
Chip = Annotated[
    str | None,
    typer.Option("--microchip", help="Number of the transponder.", show_default=False, metavar="NUMBER"),
]
OfOwner = Annotated[
    str | None,
    typer.Option("--owner", help="Identifier or words of a kept owner.", show_default=False, metavar="OWNER"),
]


@practice.command("begin")
def begin(
    name: Annotated[str, typer.Argument(help="Name of the practice.", show_default=False)],
    manager: Annotated[
        str, typer.Option("--manager", help="Who manages it: the first person.", metavar="NAME")
    ],
) -> None:
    """Set up a practice with its first manager."""
    from pipeline.cli import practices
    from pipeline.settings import load_settings

    practices.begin(load_settings(), name, manager)


@practice.command("show")
def show_practice(who: Who = None, as_json: Json = False) -> None:
    """Show the practice and its letterhead."""
    from pipeline.cli import practices
    from pipeline.settings import load_settings

    practices.show(load_settings(person=who), as_json=as_json)


@practice.command("letterhead")
def letterhead(
    name: Name = None,
    address: Address = None,
    phone: Phone = None,
    email: Email = None,
    registration: Annotated[
        str | None,
        typer.Option(
            "--registration",
            help="What papers have to name: a registration, say.",
            show_default=False,
            metavar="TEXT",
        ),
    ] = None,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Set what stands at the head of documents; an empty text takes a line away."""
    from pipeline.cli import practices
    from pipeline.settings import load_settings

    given = {"name": name, "address": address, "phone": phone, "email": email, "registration": registration}
    practices.letterhead(load_settings(person=who), given, as_json=as_json)


@practice.command("retention")
def retention(
    years: Annotated[
        int | None, typer.Option("--years", min=1, max=100, help="At the least.", show_default=False)
    ] = None,
    forget: Annotated[bool, typer.Option("--forget", help="Set no time any more.")] = False,
    who: Who = None,
) -> None:
    """Set for how many years records are kept; nothing is ever removed by itself."""
    from pipeline.cli import practices
    from pipeline.settings import load_settings

    practices.retention(load_settings(person=who), years, forget=forget)


@people.command("add")
def add_person(
    name: Annotated[str, typer.Argument(help="Name as records show it.", show_default=False)],
    role: Annotated[str, typer.Option("--role", help="vet, nurse or manager.", metavar="ROLE")],
    who: Who = None,
) -> None:
    """Add a vet, a nurse or another manager."""
    from pipeline.cli import practices
    from pipeline.settings import load_settings

    practices.add(load_settings(person=who), name, role)


@people.command("list")
def list_people(who: Who = None, as_json: Json = False) -> None:
    """List who works and worked here."""
    from pipeline.cli import practices
    from pipeline.settings import load_settings

    practices.listed(load_settings(person=who), as_json=as_json)


@people.command("retire")
def retire(
    identifier: Annotated[
        str, typer.Argument(help="Identifier; its beginning is enough.", show_default=False)
    ],
    who: Who = None,
) -> None:
    """End somebody's access; what they did and signed stays."""
    from pipeline.cli import practices
    from pipeline.settings import load_settings

    practices.retire(load_settings(person=who), identifier)


@people.command("password")
def password(
    name: Annotated[
        str, typer.Argument(help="Name or identifier of whoever gets it.", show_default=False, metavar="NAME")
    ],
    login: Annotated[
        str | None,
        typer.Option(
            "--login",
            help="Name to sign in with, for somebody who has none yet, or another one.",
            show_default=False,
            metavar="TEXT",
        ),
    ] = None,
    who: Who = None,
) -> None:
    """Give somebody a new first password for the desk, and end their sign-ins: for a manager who forgot theirs."""
    from pipeline.cli import first_passwords
    from pipeline.settings import load_settings

    first_passwords.renew_password(load_settings(person=who), name, login)


@owner.command("add")
def add_owner(
    name: Name = None, phone: Phone = None, email: Email = None, address: Address = None, who: Who = None
) -> None:
    """Keep a new owner."""
    from pipeline.cli import clients
    from pipeline.settings import load_settings

    given = {"name": name, "phone": phone, "email": email, "address": address}
    clients.add_owner(load_settings(person=who), given)


@owner.command("show")
def show_owner(which: Owner, who: Who = None, as_json: Json = False) -> None:
    """Show an owner and their animals."""
    from pipeline.cli import clients
    from pipeline.settings import load_settings

    clients.show_owner(load_settings(person=who), which, as_json=as_json)


@owner.command("change")
def change_owner(
    which: Owner,
    name: Name = None,
    phone: Phone = None,
    email: Email = None,
    address: Address = None,
    who: Who = None,
) -> None:
    """Keep what is known now of an owner; an empty text takes a line away."""
    from pipeline.cli import clients
    from pipeline.settings import load_settings

    given = {"name": name, "phone": phone, "email": email, "address": address}
    clients.change_owner(load_settings(person=who), which, given)


@owner.command("consent")
def consent(
    which: Owner,
    mail: Annotated[bool, typer.Option("--mail/--no-mail", help="Whether the owner agrees to e-mail.")],
    who: Who = None,
) -> None:
    """Keep whether an owner agrees to be sent documents by e-mail."""
    from pipeline.cli import clients
    from pipeline.settings import load_settings

    clients.keep_consent(load_settings(person=who), which, mail=mail)


To = Annotated[
    Path,
    typer.Option("--to", help="A new folder, or a new file that ends in .zip.", metavar="FOLDER|ZIP"),
]


@owner.command("export")
def export_owner(which: Owner, to: To, who: Who = None) -> None:
    """Write everything that is kept of an owner and their animals."""
    from pipeline.cli import taking_out
    from pipeline.settings import load_settings

    taking_out.owner(load_settings(person=who), which, to)


@owner.command("erase")
def erase_owner(
    which: Owner,
    because: Annotated[str, typer.Option("--because", help="The reason: it is kept.", metavar="WHY")],
    yes: Annotated[
        bool, typer.Option("--yes", help="Do it; without it only what would go and stay is shown.")
    ] = False,
    who: Who = None,
) -> None:
    """Erase an owner's personal data; the clinical records of their animals stay."""
    from pipeline.cli import taking_out
    from pipeline.settings import load_settings

    taking_out.erase(load_settings(person=who), which, because, yes=yes)


@patient.command("export")
def export_patient(which: Patient, to: To, who: Who = None) -> None:
    """Write everything that is kept of a patient."""
    from pipeline.cli import taking_out
    from pipeline.settings import load_settings

    taking_out.patient(load_settings(person=who), which, to)


@patient.command("add")
def add_patient(
    file: Annotated[
        Path | None,
        typer.Argument(
            help="A patient file; its owner is kept, too. Options win over it.", show_default=False
        ),
    ] = None,
    name: Name = None,
    species: Species = None,
    breed: Breed = None,
    sex: Sex = None,
    neutered: Neutered = None,
    born: Born = None,
    microchip: Chip = None,
    of: OfOwner = None,
    who: Who = None,
) -> None:
    """Keep a new patient, from a patient file or from options."""
    from pipeline.cli import clients
    from pipeline.settings import load_settings

    given = _animal(name, species, breed, sex, neutered, born, microchip)
    clients.new_patient(load_settings(person=who), file, given, of)


@patient.command("show")
def show_patient(which: Patient, who: Who = None, as_json: Json = False) -> None:
    """Show a patient, its owner and its visits."""
    from pipeline.cli import clients
    from pipeline.settings import load_settings

    clients.show_patient(load_settings(person=who), which, as_json=as_json)


@patient.command("change")
def change_patient(
    which: Patient,
    name: Name = None,
    species: Species = None,
    breed: Breed = None,
    sex: Sex = None,
    neutered: Neutered = None,
    born: Born = None,
    microchip: Chip = None,
    of: OfOwner = None,
    who: Who = None,
) -> None:
    """Keep what is known now of a patient; an empty text takes a field away."""
    from pipeline.cli import clients
    from pipeline.settings import load_settings

    given = _animal(name, species, breed, sex, neutered, born, microchip)
    clients.edit_patient(load_settings(person=who), which, given, of)


@patient.command("history")
def history(
    which: Patient,
    of: Annotated[
        str | None,
        typer.Option("--of", help="One kind of value, weight say.", show_default=False, metavar="KIND"),
    ] = None,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Show a patient's visits, and how the values of signed records went."""
    from pipeline.cli import comparing
    from pipeline.settings import load_settings

    comparing.history(load_settings(person=who), which, of, as_json=as_json)


def _animal(
    name: str | None,
    species: str | None,
    breed: str | None,
    sex: str | None,
    neutered: bool | None,
    born: str | None,
    microchip: str | None,
) -> dict[str, object]:
    return {
        "name": name,
        "species": species,
        "breed": breed,
        "sex": sex,
        "neutered": neutered,
        "birth_date": born,
        "microchip": microchip,
    }
