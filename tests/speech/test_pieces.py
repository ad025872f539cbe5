"""The parts around the model: windows, guards, joining words, and the readable form."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.capture import SAMPLE_RATE_HZ, Recording
from pipeline.speech import Transcript, Utterance, plain_text
from pipeline.speech.assemble import assemble
from pipeline.speech.decoder import _merge_marks
from pipeline.speech.guards import judge, needs_second_look, reason_to_drop
from pipeline.speech.heard import Heard, HeardWord, split_at_pauses
from pipeline.speech.windows import WINDOW_S, Span, Window, _pieces, windows


def heard(
    text: str,
    *,
    seconds: float = 3.0,
    probability: float = 0.9,
    logprob: float = -0.2,
    no_speech: float = 0.1,
) -> Heard:
    """Spread the words of a text evenly over some seconds."""
    words = text.split()
    step = seconds / len(words)
    return Heard(
        words=tuple(
            HeardWord(f" {word}", index * step, (index + 1) * step, probability)
            for index, word in enumerate(words)
        ),
        avg_logprob=logprob,
        no_speech_prob=no_speech,
    )


# Figures as base and tiny.en gave them, text shortened: the first six over noise, the others over speech.
JUDGED = [
    (heard("You", probability=0.05, logprob=-0.82, no_speech=0.94), "hardly recognisable"),
    (heard("I'll see you in the next video.", probability=0.49, logprob=-1.27, no_speech=0.78), "hardly"),
    (heard("Thank you for watching", probability=0.55, logprob=-1.23, no_speech=0.94), "probably no speech"),
    (heard("take a look at how I'm going to " * 20, seconds=1.4, probability=0.92), "endless repetition"),
    (heard(". . .", probability=0.9), "no words in it"),
    (heard("a b c d e f g h i j k l", seconds=0.5), "more words than the time allows"),
    (heard("Now then the ears.", probability=0.93, logprob=-0.20, no_speech=0.73), None),
    (heard("Okay.", probability=0.35, logprob=-0.22, no_speech=0.08), None),
    (heard("The 14th know make that the 21st.", probability=0.75, logprob=-0.55, no_speech=0.08), None),
    (heard("No heat, no swelling, no pain, no lameness."), None),
]


@pytest.mark.parametrize(("one", "reason"), JUDGED, ids=[one.text[:25] for one, _ in JUDGED])
def test_guards_tell_inventions_from_speech(one: Heard, reason: str | None) -> None:
    """Each rule strikes where it was measured to, and speech passes all of them."""
    found = reason_to_drop(one)
    assert found == reason if reason is None else found is not None and found.startswith(reason)


def test_echo_of_the_terms_is_dropped_and_a_use_of_them_is_not() -> None:
    """Four terms in the order of the list were read off it; one in a sentence was said."""
    terms = "gingivitis, popliteal, crepitus, mucous membranes"
    assert (
        reason_to_drop(heard("Popliteal, crepitus, mucous membranes."), terms) == "echo of the list of terms"
    )
    assert reason_to_drop(heard("No gingivitis, popliteal nodes normal."), terms) is None
    assert reason_to_drop(heard("crepitus, mucous membranes"), terms) is None


def test_speech_without_words_is_shown() -> None:
    """A stretch that the voice detector calls speech and that got no words is not passed over."""
    kept, dropped = judge([heard("Please cut the", seconds=1.0)], [(0.0, 3.0)])
    assert [one.text for one in kept] == ["Please cut the"]
    assert [(one.text, one.start_s, one.end_s) for one in dropped] == [("", 1.0, 3.0)]
    assert dropped[0].reason == "sounds like speech, but no words recognised"
    assert judge([heard("Please cut the treats", seconds=2.5)], [(0.0, 3.0)])[1] == []


def test_pieces_become_words_and_doubt_is_not_averaged_away() -> None:
    """The model writes " 38", ".", "6": that is 38.6, as uncertain as its least certain digit."""
    pieces = [(" Weight", 0.9), (" 38", 0.9), (".", 0.8), ("6", 0.4), (" ", 0.5), (" kilos.", 0.9)]
    one = Heard(tuple(HeardWord(text, i, i + 1, p) for i, (text, p) in enumerate(pieces)), -0.2, 0.1)
    transcript = assemble([one], [], language="en", model="base", duration_s=10)
    assert transcript.text == "Weight 38.6 kilos."
    number = transcript.words[1]
    assert (number.text, number.probability, number.start_s, number.end_s) == ("38.6", 0.4, 1.0, 4.0)


def test_times_are_put_in_order_and_in_bounds() -> None:
    """Overlaps and times behind the end, as alignment gives them, do not reach the transcript."""
    words = (
        HeardWord(" one", 0.0, 2.0, 0.9),
        HeardWord(" two", 1.5, 1.8, 1.2),
        HeardWord(" three", 4, 9, 0.9),
    )
    transcript = assemble([Heard(words, -0.2, 0.1)], [], language="en", model="base", duration_s=5)
    assert [(word.start_s, word.end_s) for word in transcript.words] == [(0, 2), (2, 2), (4, 5)]
    assert transcript.words[1].probability == 1.0


def test_split_at_sentences_and_long_pauses() -> None:
    """A sentence that ends with a short pause ends an utterance, and so does a long pause anywhere."""
    times = [(" Ears", 0, 1), (" clean.", 1, 2), (" Nose", 2.5, 3), (" is", 3.5, 4), (" fine", 6, 7)]
    one = Heard(tuple(HeardWord(text, start, end, 0.9) for text, start, end in times), -0.2, 0.1)
    assert [part.text for part in split_at_pauses(one)] == ["Ears clean.", "Nose is", "fine"]


def test_windows_end_in_the_longest_late_pause() -> None:
    """No window is longer than it may be, nothing is lost, and the seam lies in a long pause."""
    second = SAMPLE_RATE_HZ
    starts = [0, 3, 6, 10, 13, 16]
    spans = [Span(start * second, round((start + 2.5) * second)) for start in starts]
    made = list(windows(iter(spans)))
    assert [span for window in made for span in window.spans] == spans
    assert all(window.length_s <= WINDOW_S for window in made)
    assert [window.spans[0].start // second for window in made] == [0, 10]


def test_halves_of_a_window() -> None:
    """Split near the middle; a single span cannot be split."""
    window = Window((Span(0, 10), Span(20, 30), Span(40, 80)))
    assert [half.spans for half in window.halves()] == [(Span(0, 10), Span(20, 30)), (Span(40, 80),)]
    assert Window((Span(0, 10),)).halves() == (Window((Span(0, 10),)),)


def test_times_go_back_to_where_the_spans_lie() -> None:
    """A word at 1.5 s of the joined sound is half a second into the second span, and stays inside it."""
    second = SAMPLE_RATE_HZ
    window = Window((Span(2 * second, 3 * second), Span(10 * second, 11 * second)))
    words = (
        HeardWord(" one", 0.2, 0.6, 0.9),
        HeardWord(" two", 0.9, 1.5, 0.9),
        HeardWord(" three", 1.6, 2.4, 1),
    )
    placed = window.in_recording(Heard(words, -0.2, 0.1))
    assert [(word.start_s, word.end_s) for word in placed.words] == [(2.2, 2.6), (10.0, 10.5), (10.6, 11.0)]


def test_marks_belong_to_words_and_their_time_is_a_pause() -> None:
    """A full stop takes the pause behind it; the next word is not drawn out over it either."""
    pieces = [(" The", 0.0, 0.3), (' "', 0.3, 0.4), ("nose", 0.4, 0.8), (".", 0.8, 1.6), (" Ears", 1.6, 4.0)]
    words = _merge_marks(
        [{"word": text, "start": start, "end": end, "probability": 0.9} for text, start, end in pieces]
    )
    assert [word.text for word in words] == [" The", ' "nose.', " Ears"]
    assert [(word.start_s, word.end_s) for word in words[:2]] == [(0.0, 0.3), (0.4, 0.8)]
    assert words[2].start_s == pytest.approx(3.2)


@pytest.mark.parametrize(
    ("one", "cut_off", "again"),
    [
        (heard("Ears clean."), False, False),
        (heard("Ears clean."), True, True),
        (heard("Ears clean.", logprob=-1.1), False, True),
        (heard("take a look at how I'm going to " * 20), False, True),
        (None, False, True),
    ],
)
def test_doubtful_short_windows_get_a_second_look(one: Heard | None, cut_off: bool, again: bool) -> None:
    """Repetition, a low score and speech without words are the signs; plain speech shows none of them."""
    assert needs_second_look(one, cut_off=cut_off) is again


def test_long_recording_is_cut_where_it_is_quiet() -> None:
    """Pieces for the voice detector follow each other without a gap and end inside the one quiet moment."""
    pcm = np.full(400 * SAMPLE_RATE_HZ, 9_000, np.int16)
    quiet = slice(290 * SAMPLE_RATE_HZ, 291 * SAMPLE_RATE_HZ)
    pcm[quiet] = 0
    (start, middle), (again, end) = _pieces(Recording(pcm=pcm))
    assert (start, end) == (0, len(pcm))
    assert middle == again
    assert quiet.start <= middle < quiet.stop


def test_plain_text_has_lines_with_times() -> None:
    """Minutes, seconds and tenths; hours where there are any."""
    text = "Ears clean. Nose clean. Late."
    spoken = Transcript(
        text=text,
        utterances=(
            Utterance(start_char=0, end_char=11, start_s=3.249, end_s=4),
            Utterance(start_char=12, end_char=23, start_s=59.96, end_s=61),
            Utterance(start_char=24, end_char=29, start_s=3661.5, end_s=3662),
        ),
    )
    assert plain_text(spoken) == "[0:03.2] Ears clean.\n[1:00.0] Nose clean.\n[1:01:01.5] Late.\n"
    assert plain_text(Transcript.from_text("Typed.")) == "Typed.\n"
    assert plain_text(Transcript.from_text("")) == ""
