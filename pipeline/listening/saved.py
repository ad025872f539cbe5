"""Settled words, kept beside the sound they came from: what was understood once is not lost, nor heard twice."""

from __future__ import annotations

from pathlib import Path

from pipeline.capture.journal import Journal, read_journal
from pipeline.listening.model import Said
from pipeline.speech import Transcript

WORDS_NAME = "words.jsonl"


class SavedWords:
    """Adds what is said to a recording's folder, each piece on the disk at once.

    `known` is how many pieces of the same speech model are there already. Raises OSError.
    """

    def __init__(self, folder: Path, *, known: int = 0) -> None:
        self._journal = Journal(folder / WORDS_NAME)
        self._count = known

    def add(self, said: Said) -> None:
        """Keep a settled piece."""
        self._count += 1
        self._journal.add(
            {
                "kind": "said",
                "number": self._count,
                "start_s": said.start_s,
                "until_s": said.until_s,
                "transcript": said.transcript.model_dump(mode="json"),
            }
        )

    def close(self) -> None:
        """Let go of the file."""
        self._journal.close()


def read_words(folder: Path, *, model: str) -> list[Said]:
    """Read what was settled in a recording by the speech model of this name, in order.

    What stands behind a lost piece is left out: from there on the sound is to be heard again. Raises OSError.
    """
    found: list[Said] = []
    for line in read_journal(folder / WORDS_NAME).lines:
        try:
            transcript = Transcript.model_validate(line["transcript"])
            said = Said(float(line["start_s"]), float(line["until_s"]), transcript)
            number = int(line["number"])
        except (KeyError, TypeError, ValueError):
            continue
        if transcript.model != model:
            continue
        if number != len(found) + 1:
            break
        found.append(said)
    return found
