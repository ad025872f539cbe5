"""What a practice prints at the head of its documents."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import ConfigDict, Field, ValidationError, field_validator

from pipeline.filing.errors import FilingError
from pipeline.speech.model import Frozen

LogoFormat = Literal["png", "jpg", "svg"]
_LARGEST_LOGO = 200_000
_BEGINNINGS: tuple[tuple[bytes, LogoFormat], ...] = (
    (b"\x89PNG\r\n\x1a\n", "png"),
    (b"\xff\xd8\xff", "jpg"),
    (b"<svg", "svg"),
    (b"<?xml", "svg"),
)


class Letterhead(Frozen):
    """The practice as its documents show it. All but the name may be missing."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)

    name: str = Field(min_length=1, max_length=200)
    address: str | None = Field(default=None, max_length=500, description="In lines, as on an envelope.")
    phone: str | None = Field(default=None, max_length=100)
    email: str | None = Field(default=None, max_length=200)
    registration: str | None = Field(
        default=None,
        max_length=300,
        description="The line that law or college asks for, as it is to be printed.",
    )
    logo: bytes | None = Field(default=None, description="A picture: PNG, JPEG or SVG, up to 200,000 bytes.")

    @field_validator("logo")
    @classmethod
    def _can_be_printed(cls, logo: bytes | None) -> bytes | None:
        if logo is None:
            return None
        if len(logo) > _LARGEST_LOGO:
            raise ValueError(f"the logo has {len(logo):,} bytes: give a picture of at most {_LARGEST_LOGO:,}")
        if logo_format(logo) is None:
            raise ValueError("the logo is no PNG, JPEG or SVG: save it as one of these")
        return logo


def with_logo(letterhead: Letterhead, file: Path | None) -> Letterhead:
    """The letterhead with the picture that the practice's setting names; as it is where none is named.

    Raises FilingError for a file that is missing, too large, or no picture; what is damaged within shows when it is printed.
    """
    if file is None:
        return letterhead
    named = f"The logo {file}, which ROSTRAL_LOGO names, cannot be printed"
    try:
        logo = file.expanduser().read_bytes()
        return Letterhead.model_validate({**letterhead.model_dump(), "logo": logo})
    except OSError as error:
        raise FilingError(
            f"{named}: {error.strerror or error}. Put the picture there, or correct the setting."
        ) from None
    except ValidationError as error:
        raise FilingError(f"{named}: {error.errors()[0]['msg'].removeprefix('Value error, ')}.") from None


def logo_format(logo: bytes) -> LogoFormat | None:
    """Tell the format of a picture by how it begins; null if it is none that can be printed."""
    start = logo.lstrip()
    return next((name for beginning, name in _BEGINNINGS if start.startswith(beginning)), None)
