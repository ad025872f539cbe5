"""Guards against words that nobody said.

Whisper models put sentences to silence, hum, panting and clippers. Each rule looks at one segment and gives a
reason to leave it out, in words for the user; what is left out stays visible in `Transcript.dropped`.

The bounds come from measurement: base and tiny.en on silence, white, pink and panting-like noise and a tone, each
without the voice detector (the worst case), against spoken sample dictations, two of them with noise. On speech,
base's `no_speech_prob` rose to 0.77, always with an `avg_logprob` above -0.6: neither alone tells anything.
"""

from __future__ import annotations

import re

from pipeline.speech.heard import Heard

# Speech stayed below 1.7. The bound is the one Whisper's authors decode with (Radford et al. 2022, section 4.5).
MAX_COMPRESSION_RATIO = 2.4
# Speech stayed above -0.6, noise fell to -1.8. The bound is the same authors'.
MIN_AVG_LOGPROB = -1.0
# The same authors', used only together with the next.
MAX_NO_SPEECH_PROB = 0.6
# Stricter than theirs (-1): inventions over noise came with -0.77 to -1.8, speech in such windows above -0.3.
MIN_AVG_LOGPROB_IN_DOUBT = -0.6
# Inventions such as a lone "You" had 0.02 to 0.09; the least certain spoken segment 0.35.
MIN_MEAN_PROBABILITY = 0.2
# Nobody speaks eight words in a second; a looping model puts hundreds in one.
MAX_WORDS_PER_SECOND = 8.0
_RATE_COUNTS_FROM_WORDS = 6
# Fewer words of the list in a row may well have been said.
_ECHO_FROM_WORDS = 4

_SPOKEN = re.compile(r"[^\W_]+(?:['’][^\W_]+)*")


def reason_to_drop(heard: Heard, terms: str = "") -> str | None:
    """Why a segment must not enter the text, or None when it may; `terms` is the list given as a prompt."""
    spoken = _spoken_words(heard.text)
    if not spoken:
        return "no words in it"
    if _echoes(spoken, _spoken_words(terms)):
        return "echo of the list of terms"
    if heard.compression_ratio > MAX_COMPRESSION_RATIO:
        return "endless repetition"
    if heard.avg_logprob < MIN_AVG_LOGPROB or heard.mean_probability < MIN_MEAN_PROBABILITY:
        return "hardly recognisable"
    if heard.no_speech_prob > MAX_NO_SPEECH_PROB and heard.avg_logprob < MIN_AVG_LOGPROB_IN_DOUBT:
        return "probably no speech"
    duration_s = heard.end_s - heard.start_s
    if len(spoken) >= _RATE_COUNTS_FROM_WORDS and len(spoken) > MAX_WORDS_PER_SECOND * duration_s:
        return "more words than the time allows"
    return None


def _spoken_words(text: str) -> list[str]:
    return _SPOKEN.findall(text.lower())


def _echoes(spoken: list[str], prompted: list[str]) -> bool:
    """Whether the words are a run of the prompted list, in its order."""
    count = len(spoken)
    if count < _ECHO_FROM_WORDS:
        return False
    return any(prompted[start : start + count] == spoken for start in range(len(prompted) - count + 1))
