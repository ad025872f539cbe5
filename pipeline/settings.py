"""What can be set about a run: environment variables named ROSTRAL_…, which options of a command override."""

from __future__ import annotations

from datetime import tzinfo
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field, ValidationError, field_validator
from pydantic_settings import BaseSettings, SettingsConfigDict

PREFIX = "ROSTRAL_"

DEBUG_VARIABLE = f"{PREFIX}DEBUG"
"""Set to 1, an internal error shows where it arose. Apart, so that broken settings cannot hide it."""


class SettingsError(ValueError):
    """A setting has a value it cannot have; the message names it, its variable, and what is right."""


class Settings(BaseSettings):
    """Everything that can be set, with its default. The variable is the name in capitals after ROSTRAL_."""

    model_config = SettingsConfigDict(env_prefix=PREFIX, frozen=True, extra="ignore", env_ignore_empty=True)

    model: str = Field(
        default="base", min_length=1, description="Speech model: a known name, a folder, or a published name."
    )
    device: Literal["auto", "cpu", "cuda"] = Field(
        default="auto", description="What recognises speech: auto takes a GPU where there is one."
    )
    compute_type: str = Field(
        default="auto",
        min_length=1,
        description="CTranslate2 number type; auto is int8 on the processor and float16 on a GPU.",
    )
    beam_size: int = Field(
        default=2,
        ge=1,
        le=20,
        description="Readings followed at once: 1 is fastest; more than 2 hardly hears better.",
    )
    language: str = Field(
        default="en",
        pattern=r"^[a-z]{2,3}$",
        description="Language of the speech. Records are understood in English only.",
    )
    threads: int = Field(
        default=0, ge=0, le=256, description="Processor threads; 0 takes the free cores, four at most."
    )
    allow_download: bool = Field(
        default=False, description="Whether a published model may be fetched over the network."
    )
    terms: Path | None = Field(
        default=None,
        description="File of the practice's own words; terms.toml in the user's folder of settings by default.",
    )
    database: str | None = Field(
        default=None,
        description="Where records are kept: a file, or the address of a PostgreSQL server (postgresql://…); "
        "a file among the user's data by default.",
    )
    anchors: Path | None = Field(
        default=None,
        description="Folder where the end of the audit trail is written down outside the database; beside a database "
        "of one file, among the user's data for a server, by default.",
    )
    recordings: Path | None = Field(
        default=None,
        description="Folder of the recordings of visits, the same for all machines that share a database; beside a "
        "database of one file, among the user's data for a server, by default.",
    )
    backups: Path | None = Field(
        default=None, description="Folder for backups; one among the user's data by default."
    )
    postgres_tools: Path | None = Field(
        default=None,
        description="Folder of PostgreSQL's pg_dump and pg_restore; looked for in the usual places by default.",
    )
    person: str | None = Field(
        default=None,
        description="Who reads, writes and signs: a name or identifier of somebody in the practice.",
    )
    paper: Literal["a4", "letter"] = Field(
        default="a4", description="Size of the paper that documents are made for."
    )
    document_words: Path | None = Field(
        default=None,
        description="File of the practice's own wording of documents, or a translation; ours where it says nothing.",
    )
    logo: Path | None = Field(
        default=None,
        description="Picture for the letterhead of documents: PNG, JPEG or SVG, at most 200,000 bytes.",
    )
    zone: str | None = Field(
        default=None,
        description="Time zone that documents print times in, by its IANA name: Europe/Dublin; the machine's own by default.",
    )
    delivery_folder: Path | None = Field(
        default=None, description="The practice's folder that finished files are delivered into."
    )
    delivery_name: str = Field(
        default="{day} {patient} {record} v{version}",
        min_length=1,
        description="Pattern for names there: {day}, {patient}, {species}, {visit}, {record}, {version}.",
    )
    fhir_server: str | None = Field(
        default=None,
        pattern=r"^https://|^http://(127\.0\.0\.1|localhost)([:/]|$)",
        description="Base address of the FHIR server that documents are delivered to: https://…",
    )
    fhir_token_file: Path | None = Field(
        default=None, description="File that holds the token for that server, in one line."
    )
    authorities: Path | None = Field(
        default=None,
        description="File of authorities (PEM) whose certificates are trusted beside this machine's own, for both servers.",
    )
    mail_server: str | None = Field(default=None, description="Name of the practice's mail server.")
    mail_port: int = Field(default=587, ge=1, le=65535, description="Its port.")
    mail_security: Literal["starttls", "tls", "none"] = Field(
        default="starttls", description="How it is spoken to; none only on the same machine."
    )
    mail_user: str | None = Field(default=None, description="Name to sign in there with.")
    mail_password_file: Path | None = Field(
        default=None, description="File that holds the password, in one line."
    )
    mail_sender: str | None = Field(default=None, description="Address that letters come from.")
    cache: Path | None = Field(
        default=None, description="Folder for joined models; the system's user cache folder by default."
    )

    @field_validator("zone")
    @classmethod
    def _is_a_zone(cls, name: str | None) -> str | None:
        if name is not None:
            try:
                ZoneInfo(name)
            except (ZoneInfoNotFoundError, ValueError, OSError):
                raise ValueError(
                    "there is no time zone of that name; write it like Europe/Dublin or America/Chicago"
                ) from None
        return name

    @property
    def time_zone(self) -> tzinfo | None:
        """The zone of printed times; null stands for this machine's own, as `datetime.astimezone` takes it."""
        return ZoneInfo(self.zone) if self.zone is not None else None


def load_settings(**options: object) -> Settings:
    """Read the settings: an option that is given wins over its variable, which wins over the default.

    Options that are None count as not given. Raises SettingsError.
    """
    given = {name: value for name, value in options.items() if value is not None}
    try:
        return Settings.model_validate(given)
    except ValidationError as error:
        first = error.errors()[0]
        name = str(first["loc"][0]) if first["loc"] else "settings"
        source = f"option --{name.replace('_', '-')}" if name in given else f"variable {PREFIX}{name.upper()}"
        reason = first["msg"].removeprefix("Value error, ")
        raise SettingsError(
            f"The {source} cannot be {first['input']!r}: {reason[:1].lower()}{reason[1:]}."
        ) from None
