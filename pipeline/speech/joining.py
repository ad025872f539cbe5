"""Transcripts of the parts of a recording, joined to one."""

from __future__ import annotations

from collections.abc import Iterable

from pipeline.speech.model import Transcript, Utterance


def join(parts: Iterable[tuple[float, Transcript]], *, duration_s: float) -> Transcript:
    """Join transcripts, each with the second at which its part starts, in order.

    Language and model are those of the first; a blank stands between texts. Without parts the text is empty.
    """
    joined: Transcript | None = None
    texts: list[str] = []
    utterances: list[Utterance] = []
    dropped = []
    length = 0
    for start_s, part in parts:
        joined = joined or part
        dropped += [one.model_copy(update=_later(one.start_s, one.end_s, start_s)) for one in part.dropped]
        if not part.text:
            continue
        shift = length + 1 if texts else 0
        texts.append(part.text)
        length = shift + len(part.text)
        utterances += [_moved(one, shift, start_s) for one in part.utterances]
    first = joined or Transcript(text="")
    # Built anew, since a copy would keep the words that the first one remembers.
    return Transcript(
        text=" ".join(texts),
        utterances=tuple(utterances),
        language=first.language,
        model=first.model,
        duration_s=round(duration_s, 3),
        dropped=tuple(dropped),
    )


def _moved(utterance: Utterance, shift: int, start_s: float) -> Utterance:
    words = tuple(
        word.model_copy(
            update={
                "start_char": word.start_char + shift,
                "end_char": word.end_char + shift,
                **_later(word.start_s, word.end_s, start_s),
            }
        )
        for word in utterance.words
    )
    return utterance.model_copy(
        update={
            "start_char": utterance.start_char + shift,
            "end_char": utterance.end_char + shift,
            "words": words,
            **_later(utterance.start_s, utterance.end_s, start_s),
        }
    )


def _later(start_s: float | None, end_s: float | None, by_s: float) -> dict[str, float | None]:
    return {
        "start_s": None if start_s is None else round(start_s + by_s, 2),
        "end_s": None if end_s is None else round(end_s + by_s, 2),
    }
