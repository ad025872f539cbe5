"""A practice's own words: a TOML file beside the program's tables, which stay untouched.

Three kinds of rows stand in it. `[[wording]]` gives more ways to say a finding or a part that the program knows; `[[finding]]`
and `[[structure]]` are new ones, with the columns of the program's own tables (lexicon/schema.py).
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from lexicon.schema import FindingConcept, Structure, Wording
from lexicon.tables import LexiconError, check_rows, read_table

TERMS_VARIABLE = "ROSTRAL_TERMS"
_KINDS = ("wording", "finding", "structure")


@dataclass(frozen=True, slots=True)
class OwnTerms:
    """The rows of one practice's file, each with its place (file, kind, number, identifier)."""

    file: Path
    wordings: tuple[tuple[str, Wording], ...] = ()
    findings: tuple[tuple[str, FindingConcept], ...] = ()
    structures: tuple[tuple[str, Structure], ...] = ()

    @property
    def ids(self) -> frozenset[str]:
        """The identifiers of the practice's own findings and parts."""
        return frozenset((*(row.id for _, row in self.findings), *(part.id for _, part in self.structures)))


def usual_terms_file() -> Path:
    """Where the practice's own words are looked for when no variable names a file: in the user's folder of settings."""
    return platformdirs.user_config_path("rostral", appauthor=False) / "terms.toml"


def terms_file() -> Path | None:
    """The file that ROSTRAL_TERMS names, or the usual one where it exists; None where there is none.

    Raises LexiconError when the named file is not there.
    """
    chosen = os.environ.get(TERMS_VARIABLE)
    if chosen:
        path = Path(chosen).expanduser()
        if not path.is_file():
            raise LexiconError(
                f"{TERMS_VARIABLE} names {path}, where there is no file. Mend the path or unset it."
            )
        return path
    usual = usual_terms_file()
    return usual if usual.is_file() else None


def read_own_terms(path: Path) -> OwnTerms:
    """Read and check one practice's file on its own; what it must agree on with the tables the loader checks.

    Raises LexiconError naming file, row and column.
    """
    data = read_table(path)
    for key in data:
        if key not in _KINDS:
            raise LexiconError(
                f"{path}: unknown table {key!r}; [[wording]], [[finding]] and [[structure]] can stand here."
            )
    return OwnTerms(
        path,
        tuple(check_rows(str(path), data, "wording", Wording)),
        tuple(check_rows(str(path), data, "finding", FindingConcept)),
        tuple(check_rows(str(path), data, "structure", Structure)),
    )
