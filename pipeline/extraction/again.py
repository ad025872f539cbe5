"""What to listen for a second time: trade words that a doubtful word may have been, and what the second hearing settles.

A recogniser that is told a handful of words hears them far more often than when they stand in a long list. So the words
that are no English, or that it was itself unsure of, are compared with the trade's words by sound and spelling; those near
them are what to listen for again in the same sound. Of the second hearing only this is taken: a trade word that was
listened for, in the place of a doubtful word. Numbers, sides, denials and all that was heard with certainty stay as they were.
"""

from __future__ import annotations

from collections.abc import Iterator

from rapidfuzz.distance import Levenshtein

from pipeline.extraction.heard_text import HeardText, HeardWord, put_in, with_words
from pipeline.extraction.likeness import likeness
from pipeline.extraction.misheard import english_ranks
from pipeline.extraction.trade import known_trade_words
from pipeline.speech.model import Transcript, Word

# Far below the likeness from which repair takes a word on its own: the sound has the last word here.
_UNKNOWN_FROM = 0.58
_UNSURE_FROM = 0.62
_TOGETHER_FROM = 0.72
_TAKEN_FROM = 0.5
_EACH = 3
_LEAST_LETTERS = 4
_TOGETHER = 3
_MOST_TERMS = 16
_MOST_ANCHORS = 8
_LONGEST_TAKEN = 4


def suspected(transcript: Transcript, before: str = "") -> tuple[str, ...]:
    """Give the words to listen for again, most likely first; none when nothing is doubtful.

    Trade words that were heard come behind them: without these a second hearing loses some of them.
    """
    if not transcript.words:
        return ()
    text = HeardText(transcript, before)
    likely: dict[str, float] = {}
    anchors: dict[str, None] = {}
    for utterance in transcript.utterances:
        row = text.row(utterance.words)
        for at, one in enumerate(row):
            if one.letters in known_trade_words().systems:
                anchors[one.letters] = None
            # What the table of sound-alikes has is settled by it.
            if _doubtful(one) and one.word.start_char not in text.alikes:
                for term, alike in _nearest(row, at, text.view(one.word.start_char)):
                    likely[term] = max(alike, likely.get(term, 0.0))
    if not likely:
        return ()
    wanted = sorted(likely, key=lambda term: -likely[term])[:_MOST_TERMS]
    return tuple(dict.fromkeys([*wanted, *list(anchors)[:_MOST_ANCHORS]]))


def settled(first: Transcript, second: str, before: str = "") -> Transcript:
    """Take from a second hearing of the same sound the trade words that stand where the first was in doubt."""
    text = HeardText(first, before)
    rows = [text.row(utterance.words) for utterance in first.utterances]
    flat = [one for row in rows for one in row]
    again = [letters for word in second.split() if (letters := _letters(word))]
    taken = dict(_settled(flat, again))
    if not taken:
        return first
    words = []
    at = 0
    for row in rows:
        end = at + len(row)
        made: list[Word] = []
        while at < end:
            count, put = taken.get(at, (1, [flat[at].word]))
            made += put
            at += count
        words.append(tuple(made))
        at = max(at, end)
    return with_words(first, words)


def _doubtful(one: HeardWord) -> bool:
    if one.fixed or one.known or one.is_name or len(one.letters) < _LEAST_LETTERS:
        return False
    return one.unknown or one.unsure


def _nearest(row: list[HeardWord], at: int, view: frozenset[str]) -> Iterator[tuple[str, float]]:
    """Trade words near to a doubtful word, alone and together with its neighbours."""
    one = row[at]
    least = _UNKNOWN_FROM if one.unknown else _UNSURE_FROM
    ranked = sorted(known_trade_words().ranked(_bare(one.letters), view), key=lambda term: -term[1])
    listened_for = [term for term in ranked[_EACH:] if term[0] in known_trade_words().listened_for]
    yield from (term for term in [*ranked[:_EACH], *listened_for[:_EACH]] if term[1] >= least)
    for count in range(2, _TOGETHER + 1):
        for start in range(max(0, at - count + 1), min(at, len(row) - count) + 1):
            group = row[start : start + count]
            if any(word.fixed for word in group) or any(word.after for word in group[:-1]):
                continue
            term = known_trade_words().nearest(_bare("".join(word.letters for word in group)), view)
            if term[1] >= _TOGETHER_FROM:
                yield term


def _settled(flat: list[HeardWord], again: list[str]) -> Iterator[tuple[int, tuple[int, list[Word]]]]:
    """Places where the second hearing is taken: index, how many words it replaces, and the words put in."""
    for start, stop, low, high in _differences([one.letters for one in flat], again):
        before, after = flat[start:stop], again[low:high]
        if len(before) == len(after):
            for number, (one, word) in enumerate(zip(before, after, strict=True)):
                if _taken([one], [word]):
                    yield start + number, (1, put_in([one], word, 1.0))
        elif _taken(before, after):
            yield start, (len(before), put_in(before, " ".join(after), 1.0))


def _taken(before: list[HeardWord], after: list[str]) -> bool:
    """Whether words of the second hearing stand for those of the first, most of which were doubtful."""
    trade = known_trade_words()
    if not before or not after or max(len(before), len(after)) > _LONGEST_TAKEN:
        return False
    if any(one.fixed for one in before) or not any(word in trade.systems for word in after):
        return False
    if not all(word in trade.known or word in english_ranks() for word in after):
        return False
    doubtful = sum(len(one.letters) for one in before if _doubtful(one))
    if doubtful * 2 <= sum(len(one.letters) for one in before):
        return False
    return likeness(_bare("".join(one.letters for one in before)), "".join(after)) >= _TAKEN_FROM


def _differences(first: list[str], second: list[str]) -> Iterator[tuple[int, int, int, int]]:
    """Where two rows of words differ: the indices in both, neighbouring differences as one."""
    open_at: tuple[int, int] | None = None
    for op in Levenshtein.opcodes(first, second):
        if op.tag == "equal":
            if open_at is not None:
                yield open_at[0], op.src_start, open_at[1], op.dest_start
            open_at = None
        elif open_at is None:
            open_at = op.src_start, op.dest_start
    if open_at is not None:
        yield open_at[0], len(first), open_at[1], len(second)


def _bare(letters: str) -> str:
    return letters.replace("'", "").replace("-", "")


def _letters(word: str) -> str:
    return word.strip(".,;:!?\"'()").lower()
