"""Where the trail stands, written down outside the database: who cuts events off at its end, or writes it anew, is found.

A folder of lines, one file a month, only ever added to: after each change the number and checksum of its last event, and what
was done to which identifier. Lines come after the change is safe, so a crash between the two costs a line and never makes a
false alarm. They hold no names. The folder helps as far as whoever can write in the database cannot write there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from pydantic import ValidationError

from pipeline.speech.model import Frozen
from pipeline.store.stamps import canonical

_ENDING = ".jsonl"
UNANCHORED = "view"
"""Who only looked changes nothing: a line for each look would make the folder ten times as large."""


class Anchored(Frozen):
    """A line: the last event of one change, when it was, and what the change did to what (action, identifier).

    `anew_from` stands where a backup was restored: what was anchored from that event on is over.
    """

    at: str
    practice: str
    seq: int
    sha256: str
    did: tuple[tuple[str, str], ...] = ()
    anew_from: int | None = None


class Anchors:
    """The folder, or none: then nothing is written and nothing is known."""

    def __init__(self, folder: Path | None) -> None:
        self.folder = folder
        self.fault: str | None = None

    def keep(self, events: Sequence[dict[str, object]], anew_from: int | None = None) -> None:
        """Add a line for a change that is safe in the database. What goes wrong is kept in `fault`: the change stands."""
        did = dict.fromkeys((str(one["action"]), str(one["subject"])) for one in events)
        did = {deed: None for deed in did if deed[0] != UNANCHORED}
        if self.folder is None or not did:
            return
        last = events[-1]
        self.write(
            Anchored(
                at=str(last["at"]),
                practice=str(last["practice_id"]),
                seq=int(str(last["seq"])),
                sha256=str(last["sha256"]),
                did=tuple(did),
                anew_from=anew_from,
            )
        )

    def write(self, line: Anchored) -> None:
        """Add a line, whole or not at all as far as the system writes small pieces whole."""
        if self.folder is None:
            return
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            with (self.folder / f"{line.at[:7]}{_ENDING}").open("ab", buffering=0) as file:
                file.write(f"{canonical(line.model_dump(mode='json'))}\n".encode())
        except OSError as error:
            self.fault = (
                f"The anchor of the trail cannot be written in {self.folder}: {error.strerror or error}. What was"
                " changed is kept. Make the folder writable, or name another one in ROSTRAL_ANCHORS."
            )

    def lines(self, faults: list[str]) -> Iterator[Anchored]:
        """All lines; a sentence for each that cannot be read goes to `faults`. A last line that was torn off is none."""
        for file in self._files(faults):
            try:
                with file.open("rb") as opened:
                    for number, line in enumerate(opened, start=1):
                        if not line.endswith(b"\n"):
                            continue
                        try:
                            yield Anchored.model_validate_json(line)
                        except ValidationError:
                            faults.append(
                                f"Line {number} of the anchors in {file} cannot be read: it was altered."
                            )
            except OSError as error:
                faults.append(f"The anchors in {file} cannot be read: {error.strerror or error}.")

    def _files(self, faults: list[str]) -> list[Path]:
        if self.folder is None:
            return []
        try:
            return sorted(file for file in self.folder.iterdir() if file.name.endswith(_ENDING))
        except FileNotFoundError:
            return []
        except OSError as error:
            faults.append(f"The anchors in {self.folder} cannot be read: {error.strerror or error}.")
            return []


def after_restores(lines: Iterable[Anchored]) -> list[Anchored]:
    """The lines that still bind: where a backup was restored, those of what it did not hold are over."""
    binding: list[Anchored] = []
    for line in lines:
        if line.anew_from is not None:
            binding = [one for one in binding if one.practice != line.practice or one.seq < line.anew_from]
        binding.append(line)
    return binding


def deed_words(did: Iterable[tuple[str, str]], most: int = 12) -> str:
    """What was done, for a person: actions with identifiers, at most so many of them named."""
    deeds = list(dict.fromkeys(did))
    # What weighs most comes first: of a draft's many changes it is enough to know that there were some.
    deeds.sort(key=lambda deed: _RANK.get(deed[0], len(_RANK)))
    named = [f"{action.replace('_', ' ')} {subject}" for action, subject in deeds[:most]]
    more = f" and {len(deeds) - most} more" if len(deeds) > most else ""
    return f"{'; '.join(named)}{more}"


_RANK = {
    name: rank
    for rank, name in enumerate(("sign", "amend", "file", "erase_client", "keep_record", "add_patient"))
}
