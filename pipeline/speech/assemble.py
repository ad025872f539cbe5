"""From heard segments to one text in which every word has its place and time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from pipeline.speech.heard import Heard, HeardWord
from pipeline.speech.model import Dropped, Transcript, Utterance, Word


def assemble(
    kept: Sequence[Heard],
    dropped: Sequence[Dropped],
    *,
    language: str,
    model: str,
    duration_s: float,
) -> Transcript:
    """Join segments into a transcript: words with one space between, one utterance for each segment.

    Times are rounded to 0.01 s, never run back and never pass `duration_s`; probabilities to 0.001.
    """
    utterances: list[Utterance] = []
    text = ""
    clock_s = 0.0
    for heard in sorted(kept, key=lambda one: one.start_s):
        words: list[Word] = []
        for whole in _whole_words(heard.words):
            if text:
                text += " "
            start_s = round(min(max(whole.start_s, clock_s), duration_s), 2)
            clock_s = round(min(max(whole.end_s, start_s), duration_s), 2)
            words.append(
                Word(
                    text=whole.text,
                    start_char=len(text),
                    end_char=len(text) + len(whole.text),
                    start_s=start_s,
                    end_s=clock_s,
                    probability=round(min(max(whole.probability, 0.0), 1.0), 3),
                )
            )
            text += whole.text
        if words:
            utterances.append(
                Utterance(
                    start_char=words[0].start_char,
                    end_char=words[-1].end_char,
                    start_s=words[0].start_s,
                    end_s=words[-1].end_s,
                    words=tuple(words),
                )
            )
    return Transcript(
        text=text,
        utterances=tuple(utterances),
        language=language,
        model=model,
        duration_s=round(duration_s, 3),
        dropped=tuple(dropped),
    )


def _whole_words(pieces: Iterable[HeardWord]) -> Iterator[HeardWord]:
    """Glue pieces without a leading space to the word before them: " 38", ".", "6" is one word, 38.6.

    The whole is as doubtful as its most doubtful piece, so that one uncertain digit is not averaged away.
    """
    whole: HeardWord | None = None
    for piece in pieces:
        text = "".join(piece.text.split())
        if not text:
            continue
        if whole is not None and not piece.text[0].isspace():
            whole = replace(
                whole,
                text=whole.text + text,
                end_s=piece.end_s,
                probability=min(whole.probability, piece.probability),
            )
            continue
        if whole is not None:
            yield whole
        whole = replace(piece, text=text)
    if whole is not None:
        yield whole
