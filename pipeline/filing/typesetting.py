"""Sets pages with Typst: archival PDF with tags, the same bytes for the same content, and no character lost without a word.

What the files are: PDF/A-3a (ISO 19005-3, level A) where something is attached, PDF/A-2a where nothing is, and PDF/UA-1
(ISO 14289-1) both times. The typesetter refuses what these do not allow.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any, Literal

import typst

from pipeline.filing.errors import FilingError
from pipeline.speech.model import Frozen

PaperName = Literal["a4", "letter"]
_HERE = Path(__file__).parent
_TEMPLATES = _HERE / "templates"
_FACES = _HERE / "faces"
_ATTACHING: list[typst.PDFStandard] = ["a-3a", "ua-1"]
_PLAIN: list[typst.PDFStandard] = ["a-2a", "ua-1"]
_PROBE = "probe.typ"
_MOST_NAMED = 6


class Printed(Frozen):
    """A finished document. `warnings` say in whole sentences what the person who prints must know."""

    pdf: bytes
    warnings: tuple[str, ...] = ()


class Attachment(Frozen):
    """A file within the document."""

    name: str
    text: str
    media_type: str
    description: str


def typeset(
    template: str, content: Mapping[str, Any], made_at: datetime, attachments: Sequence[Attachment] = ()
) -> Printed:
    """Set `content` with a template of the folder beside this module.

    `made_at` stands in the file as its date; nothing else of the present gets in. Characters that our own face lacks are set in a
    face of this machine, with a warning; those that no face has are written by their numbers, with a warning and
    `by_number` set in the content. Raises FilingError when the page cannot be set at all.
    """
    content = _cleaned(dict(content, by_number=False))
    try:
        return Printed(pdf=_set(template, content, made_at, attachments, own_faces=True))
    except typst.TypstError as error:
        strange = sorted(c for c in _characters(content) if not _is_shown(c, own_faces=True))
        if not strange:
            raise FilingError(f"The page {template} cannot be set: {error.message}") from error
    lost = [c for c in strange if not _is_shown(c, own_faces=False)]
    if lost:
        content = dict(_cleaned(content, frozenset(lost)), by_number=True)
    try:
        pdf = _set(template, content, made_at, attachments, own_faces=False)
    except typst.TypstError as error:
        raise FilingError(f"The page {template} cannot be set: {error.message}") from error
    return Printed(pdf=pdf, warnings=tuple(_warnings(strange, lost)))


def _set(
    template: str,
    content: Mapping[str, Any],
    made_at: datetime,
    attachments: Sequence[Attachment],
    *,
    own_faces: bool,
) -> bytes:
    compiler = typst.Compiler(
        input=_TEMPLATES / template,
        root=_TEMPLATES,
        font_paths=_faces(own=own_faces),
        sys_inputs={
            "content": json.dumps(content, ensure_ascii=False),
            "attachments": json.dumps([one.model_dump() for one in attachments], ensure_ascii=False),
        },
    )
    standards = _ATTACHING if attachments else _PLAIN
    pdf = compiler.compile(format="pdf", pdf_standards=standards, timestamp=made_at)
    if not isinstance(pdf, bytes):
        raise TypeError("the typesetter gave pages instead of one file")
    return pdf


@cache
def _faces(*, own: bool) -> typst.Fonts:
    return typst.Fonts(include_system_fonts=not own, include_embedded_fonts=False, font_paths=[_FACES])


def _characters(content: object) -> set[str]:
    """All characters beyond ASCII that are to be shown."""
    return {character for text in _texts(content) for character in text if not character.isascii()}


def _texts(content: object) -> Iterator[str]:
    if isinstance(content, str):
        yield content
    elif isinstance(content, Mapping):
        for value in content.values():
            yield from _texts(value)
    elif isinstance(content, list | tuple):
        for value in content:
            yield from _texts(value)


def _is_shown(character: str, *, own_faces: bool) -> bool:
    """Ask the typesetter whether a face holds a character: it refuses an archival page that would show a box."""
    try:
        compiler = typst.Compiler(
            input=_TEMPLATES / _PROBE,
            root=_TEMPLATES,
            font_paths=_faces(own=own_faces),
            sys_inputs={"character": character},
        )
        compiler.compile(format="pdf", pdf_standards=["a-2u"])
    except typst.TypstError:
        return False
    return True


def _cleaned(content: Any, lost: frozenset[str] = frozenset()) -> Any:
    """The content without control characters, which have no shape, and with `lost` characters written by their numbers."""
    if isinstance(content, str):
        return "".join(_cleaned_character(character, lost) for character in content)
    if isinstance(content, Mapping):
        return {name: _cleaned(value, lost) for name, value in content.items()}
    if isinstance(content, list | tuple):
        return [_cleaned(value, lost) for value in content]
    return content


def _cleaned_character(character: str, lost: frozenset[str]) -> str:
    if character in lost:
        return f"[U+{ord(character):04X}]"
    is_control = unicodedata.category(character) in ("Cc", "Cs", "Co", "Cn")
    return " " if is_control and character != "\n" else character


def _warnings(strange: Sequence[str], lost: Sequence[str]) -> Iterator[str]:
    if lost:
        yield (
            f"No typeface on this machine holds {_named(lost)}. They are written by their numbers. Install a typeface for this "
            "script (for many scripts: the Noto faces) and print again."
        )
    held = [character for character in strange if character not in lost]
    if held:
        yield (
            f"Our own typeface does not hold {_named(held)}. A typeface of this machine was used: on another machine the same "
            "record may look otherwise."
        )


def _named(characters: Sequence[str]) -> str:
    shown = ", ".join(f"{character} (U+{ord(character):04X})" for character in characters[:_MOST_NAMED])
    more = len(characters) - _MOST_NAMED
    return (
        f"{shown} and {more} more characters"
        if more > 0
        else f"the character{'s' if more > 1 - _MOST_NAMED else ''} {shown}"
    )
