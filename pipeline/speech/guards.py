"""Guards against words that nobody said.

Whisper models put sentences to silence, hum, panting and clippers. Each rule looks at one segment and gives a
reason to leave it out, in words for the user; what is left out stays visible in `Transcript.dropped`.

The bounds come from measurement: base and tiny.en on silence, white, pink and panting-like noise and a tone,
each without the voice detector (the worst case), against spoken sample dictations, one of them noisy. On
speech, base's `no_speech_prob` rose to 0.77, always with an `avg_logprob` above -0.6: alone it tells nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from pipeline.speech.heard import Heard
from pipeline.speech.model import Dropped

# Speech stayed below 1.7. The bound is the default of Whisper's own decoder, as are the two that follow.
MAX_COMPRESSION_RATIO = 2.4
# Speech stayed above -0.6, noise fell to -1.8.
MIN_AVG_LOGPROB = -1.0
# Used only together with the next.
MAX_NO_SPEECH_PROB = 0.6
# Speech in windows of such doubt stayed above -0.3, most inventions over noise had -0.77 to -1.8.
MIN_AVG_LOGPROB_IN_DOUBT = -0.6
# Inventions such as a lone "You" had 0.02 to 0.09; the least certain spoken segment 0.35.
MIN_MEAN_PROBABILITY = 0.2
# In windows below MIN_AVG_LOGPROB: inventions had 0.13 to 0.65, most below this; whole sentences rarely do.
MIN_MEAN_PROBABILITY_IN_DOUBT = 0.5
# Nobody speaks eight words in a second; a looping model puts hundreds in one.
MAX_WORDS_PER_SECOND = 8.0
_RATE_COUNTS_FROM_WORDS = 6
# Fewer words of the list in a row may well have been said.
_ECHO_FROM_WORDS = 4

# Inside what the voice detector calls speech, pauses between words (with the room it leaves at both ends)
# stayed below 0.9 s over 13 minutes; three swallowed words left 1.15 s.
UNHEARD_FROM_S = 1.0

_SPOKEN = re.compile(r"[^\W_]+(?:'[^\W_]+)*")


def reason_to_drop(heard: Heard, terms: str = "") -> str | None:
    """Why a segment must not enter the text, or None when it may; `terms` is the list given as a prompt."""
    spoken = _spoken_words(heard.text)
    words_in_time = max(_RATE_COUNTS_FROM_WORDS - 1, MAX_WORDS_PER_SECOND * (heard.end_s - heard.start_s))
    # The logprob is of the whole window: it alone must not take clear sentences along.
    doubtful_window = heard.avg_logprob < MIN_AVG_LOGPROB
    least_probability = MIN_MEAN_PROBABILITY_IN_DOUBT if doubtful_window else MIN_MEAN_PROBABILITY
    unlikely_speech = (
        heard.no_speech_prob > MAX_NO_SPEECH_PROB and heard.avg_logprob < MIN_AVG_LOGPROB_IN_DOUBT
    )
    signs = {
        "no words in it": not spoken,
        "echo of the list of terms": _echoes(spoken, _spoken_words(terms)),
        "endless repetition": heard.compression_ratio > MAX_COMPRESSION_RATIO,
        "hardly recognisable": heard.mean_probability < least_probability,
        "probably no speech": unlikely_speech,
        "more words than the time allows": len(spoken) > words_in_time,
    }
    return next((reason for reason, seen in signs.items() if seen), None)


def needs_second_look(heard: Heard | None, *, cut_off: bool) -> bool:
    """Whether a short window did the model no good, so that it should hear a full one.

    Endless repetition shows in the bound on tokens, in the text or in the score; `cut_off` tells the first.
    A stretch without any word was speech to the voice detector.
    """
    return (
        heard is None
        or cut_off
        or heard.avg_logprob < MIN_AVG_LOGPROB
        or heard.compression_ratio > MAX_COMPRESSION_RATIO
    )


def judge(
    heard: Sequence[Heard], spans: Iterable[tuple[float, float]], terms: str = ""
) -> tuple[list[Heard], list[Dropped]]:
    """Part what may enter the text from what may not, and find stretches of speech that got no words.

    `spans` are the starts and ends, in seconds, of what the voice detector calls speech.
    """
    kept: list[Heard] = []
    dropped: list[Dropped] = []
    for one in heard:
        reason = reason_to_drop(one, terms)
        if reason is None:
            kept.append(one)
        else:
            dropped.append(_dropped(one.text, one.start_s, one.end_s, reason))
    for start_s, end_s in spans:
        dropped += _unheard(heard, start_s, end_s)
    return kept, sorted(dropped, key=lambda one: one.start_s)


def _unheard(heard: Sequence[Heard], start_s: float, end_s: float) -> list[Dropped]:
    """Find the parts of a span in which no word stands, long enough to have held some."""
    found: list[Dropped] = []
    reached_s = start_s
    inside = [
        (word.start_s, word.end_s)
        for one in heard
        for word in one.words
        if word.end_s > start_s and word.start_s < end_s
    ]
    for word_start_s, word_end_s in [*sorted(inside), (end_s, end_s)]:
        if word_start_s - reached_s >= UNHEARD_FROM_S:
            found.append(_dropped("", reached_s, word_start_s, "sounds like speech, but no words recognised"))
        reached_s = max(reached_s, word_end_s)
    return found


def _dropped(text: str, start_s: float, end_s: float, reason: str) -> Dropped:
    start_s = round(max(start_s, 0.0), 2)
    return Dropped(text=text, start_s=start_s, end_s=max(start_s, round(end_s, 2)), reason=reason)


def _spoken_words(text: str) -> list[str]:
    return _SPOKEN.findall(text.lower())


def _echoes(spoken: list[str], prompted: list[str]) -> bool:
    """Whether the words are a run of the prompted list, in its order."""
    count = len(spoken)
    if count < _ECHO_FROM_WORDS:
        return False
    return any(prompted[start : start + count] == spoken for start in range(len(prompted) - count + 1))
