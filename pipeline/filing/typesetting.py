"""Sets pages with Typst: archival PDF with tags, the same bytes for the same content, and no character lost without a word.

What the files are: PDF/A-3a (ISO 19005-3, level A) where something is attached, PDF/A-2a where nothing is, and PDF/UA-1
(ISO 14289-1) both times. The typesetter refuses what these do not allow.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any, Literal

import typst

from pipeline.filing.errors import FilingError
from pipeline.speech.model import Frozen

PaperName = Literal["a4", "letter"]
Picture = str | list[int]
"""SVG as text, other formats as the numbers of their bytes."""
Pictures = Mapping[str, Picture]
_HERE = Path(__file__).parent
_TEMPLATES = _HERE / "templates"
_FACES = _HERE / "faces"
_ATTACHING: list[typst.PDFStandard] = ["a-3a", "ua-1"]
_PLAIN: list[typst.PDFStandard] = ["a-2a", "ua-1"]
_PROBE = "probe.typ"
_MOST_NAMED = 6
_WORD_PIECE = 8
_LONG_WORD = re.compile(r"[^\s<>]{24,}")
_BREAK = "\u200b"


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
    template: str,
    content: Mapping[str, Any],
    pictures: Pictures,
    made_at: datetime,
    attachments: Sequence[Attachment] = (),
) -> Printed:
    """Set `content` with a template of the folder beside this module.

    `made_at` stands in the file as its date; nothing else of the present gets in. Characters that our own face lacks are set in a
    face of this machine, with a warning; those that no face has are written by their numbers, with a warning and
    `by_number` set in the content. Raises FilingError when the page cannot be set at all.
    """
    page = _Page(template, _cleaned(dict(content, by_number=False)), pictures, made_at, attachments)
    try:
        return Printed(pdf=page.pdf(own_faces=True))
    except typst.TypstError as error:
        strange = sorted(c for c in page.characters() if not _is_shown(c, own_faces=True))
        if not strange:
            raise FilingError(_what_is_wrong(page, error)) from error
    lost = [c for c in strange if not _is_shown(c, own_faces=False)]
    if lost:
        page = page.without(frozenset(lost))
    try:
        pdf = page.pdf(own_faces=False)
    except typst.TypstError as error:
        raise FilingError(_what_is_wrong(page, error)) from error
    return Printed(pdf=pdf, warnings=tuple(_warnings(strange, lost)))


@dataclass(frozen=True)
class _Page:
    template: str
    content: Mapping[str, Any]
    pictures: Pictures
    made_at: datetime
    attachments: Sequence[Attachment]

    def pdf(self, *, own_faces: bool) -> bytes:
        """Set it. Raises typst.TypstError, also where a character has no face."""
        compiler = typst.Compiler(
            input=_TEMPLATES / self.template,
            root=_TEMPLATES,
            font_paths=_faces(own=own_faces),
            sys_inputs={
                "content": json.dumps(self.content, ensure_ascii=False),
                "pictures": json.dumps(self.pictures, ensure_ascii=False),
                "attachments": json.dumps([one.model_dump() for one in self.attachments], ensure_ascii=False),
            },
        )
        standards = _ATTACHING if self.attachments else _PLAIN
        made_at = self.made_at.replace(microsecond=0)  # a PDF's dates have whole seconds
        pdf = compiler.compile(format="pdf", pdf_standards=standards, timestamp=made_at)
        if not isinstance(pdf, bytes):
            raise TypeError("the typesetter gave pages instead of one file")
        return pdf

    def characters(self) -> set[str]:
        """All characters beyond ASCII that are to be shown."""
        texts = _texts((self.content, self.pictures))
        return {character for text in texts for character in text if not character.isascii()}

    def without(self, lost: frozenset[str]) -> _Page:
        """The same page with characters written by their numbers."""
        content = dict(_cleaned(self.content, lost), by_number=True)
        pictures = {name: _numbered(picture, lost) for name, picture in self.pictures.items()}
        return replace(self, content=content, pictures=pictures)


def _what_is_wrong(page: _Page, error: typst.TypstError) -> str:
    """Say why a page was refused; the one thing from outside that can be at fault is the logo."""
    if "logo" in page.pictures:
        plain = {**page.content["letterhead"], "logo_format": None}
        try:
            replace(page, content={**page.content, "letterhead": plain}).pdf(own_faces=False)
        except typst.TypstError:
            pass
        else:
            return (
                f"The logo of the letterhead cannot be printed: {error.message}. Save the picture that ROSTRAL_LOGO names again"
                " as PNG, JPEG or SVG, or take the setting away to print without it."
            )
    return f"The page {page.template} cannot be set: {error.message}"


@cache
def _faces(*, own: bool) -> typst.Fonts:
    return typst.Fonts(include_system_fonts=not own, include_embedded_fonts=False, font_paths=[_FACES])


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
    """The content without control characters, which have no shape, and with places to break very long words.

    `lost` characters are written by their numbers.
    """
    if isinstance(content, str):
        shown = "".join(" " if _is_control(one) else one for one in content)
        return _LONG_WORD.sub(_breakable, _by_number(shown, lost))
    if isinstance(content, Mapping):
        return {name: _cleaned(value, lost) for name, value in content.items()}
    if isinstance(content, list | tuple):
        return [_cleaned(value, lost) for value in content]
    return content


def _is_control(character: str) -> bool:
    return character != "\n" and unicodedata.category(character) in ("Cc", "Cs")


def _numbered(picture: Picture, lost: frozenset[str]) -> Picture:
    """A drawn picture with `lost` characters written by their numbers; other pictures have none."""
    return _by_number(picture, lost) if isinstance(picture, str) else picture


def _by_number(text: str, lost: frozenset[str]) -> str:
    return "".join(f"[U+{ord(one):04X}]" if one in lost else one for one in text)


def _breakable(word: re.Match[str]) -> str:
    """A word longer than a column, with places where the line may break and nothing shows."""
    text = word[0]
    return _BREAK.join(text[start : start + _WORD_PIECE] for start in range(0, len(text), _WORD_PIECE))


def _warnings(strange: Sequence[str], lost: Sequence[str]) -> Iterator[str]:
    if lost:
        yield (
            f"No typeface on this machine holds {_named(lost)}. What is not there is written by its number. Install a typeface"
            " for this script (for many scripts: the Noto faces) and print again."
        )
    held = [character for character in strange if character not in lost]
    if held:
        yield (
            f"Our own typeface does not hold {_named(held)}. A typeface of this machine was used: on another machine the same "
            "record may look otherwise."
        )


def _named(characters: Sequence[str]) -> str:
    shown = ", ".join(f"{character} (U+{ord(character):04X})" for character in characters[:_MOST_NAMED])
    if len(characters) > _MOST_NAMED:
        return f"{shown} and {len(characters) - _MOST_NAMED} more characters"
    return f"the character {shown}" if len(characters) == 1 else f"the characters {shown}"
