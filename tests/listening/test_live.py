"""Live sound to words: the stream, what is kept on the disk, and what happens when things fail."""

from __future__ import annotations

import itertools
import re
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import jiwer
import numpy as np
import pytest
from rooms import NOTHING
from speakers import OneWord, Sound

from pipeline import exam as chain
from pipeline.capture import SAMPLE_RATE_HZ, Interruption, Recording, SoundFile, read_audio, read_folder
from pipeline.capture.model import to_floats
from pipeline.listening import Listener, Said, SavedWords, Session, Speaking, read_words
from pipeline.speech import Recogniser, SpeechError, Transcript

ROOT = Path(__file__).parents[2]
BLOCK = SAMPLE_RATE_HZ // 10
Event = Speaking | Said


@pytest.fixture(scope="module")
def chatty(samples: Path) -> Recording:
    return read_audio(samples / "dog_chatty.flac")


def plain(text: str) -> str:
    return " ".join(re.findall(r"[a-z0-9']+", text.lower()))


def session(folder: Path, pcm: np.ndarray, decoder: OneWord, **more: object) -> tuple[Session, list[Event]]:
    events: list[Event] = []
    source = Sound(pcm, more.get("interruptions"))  # type: ignore[arg-type]
    return Session(source, decoder, folder, terms=(), tell=events.append), events


def test_words_come_while_it_is_spoken(tiny_recogniser: Recogniser, samples: Path) -> None:
    """The first utterances at three times their speed: words before the end of an utterance, then the settled ones."""
    events: list[Event] = []
    listener = Listener(tiny_recogniser.decoder, terms=(), tell=events.append)
    for block in SoundFile(samples / "dog_chatty.flac", speed=3).blocks():
        listener.hear(to_floats(block.samples), block.heard_at)
        if sum(isinstance(event, Said) for event in events) >= 3:
            break
    listener.close()
    said = [event for event in events if isinstance(event, Said)]
    assert any(isinstance(event, Speaking) for event in events)
    assert all(one.waited_s is not None and one.waited_s > 0 for one in said)
    assert all(a.until_s <= b.start_s for a, b in itertools.pairwise(said))


def test_live_words_are_nearly_those_of_the_file(tiny_recogniser: Recogniser, chatty: Recording) -> None:
    """Of a hundred words that the whole file gives, at most twenty are others: `tiny.en` needs context."""
    opening = Recording(pcm=chatty.pcm[: 20 * SAMPLE_RATE_HZ])
    events: list[Event] = []
    listener = Listener(tiny_recogniser.decoder, terms=(), tell=events.append)
    for start in range(0, len(opening.pcm), BLOCK):
        listener.hear(opening.stretch(start, start + BLOCK))
    listener.close()
    live = " ".join(event.transcript.text for event in events if isinstance(event, Said))
    assert jiwer.wer(plain(tiny_recogniser.transcribe(opening).text), plain(live)) < 0.2


def test_doubtful_words_are_weighed_and_terms_chosen_from_what_was_said(chatty: Recording) -> None:
    """Each utterance is mended with what was said before it; where it is doubtful, its readings are weighed."""
    events: list[Event] = []
    asked: list[tuple[tuple[float, ...], str]] = []

    class Doubtful:
        def __init__(self, heard: Transcript, before: str) -> None:
            self._heard, self._before = heard, before
            self.texts = (heard.text, "pinna") if heard.text else ()
            self.terms = ("pinna",)

        def mended(self, weights: Sequence[float]) -> Transcript:
            asked.append((tuple(weights), self._before))
            return self._heard.model_copy(update={"text": f"mended{len(asked)}"})

    chosen: list[str] = []

    def choose(text: str) -> tuple[str, ...]:
        chosen.append(text)
        return ()

    listener = Listener(
        OneWord(),
        terms=choose,
        mending=Doubtful,
        tell=events.append,
    )
    for start in range(0, 20 * SAMPLE_RATE_HZ, BLOCK):
        listener.hear(chatty.stretch(start, start + BLOCK))
        while listener.load.utterances:
            time.sleep(0.001)
    listener.close()
    said = [event.transcript.text for event in events if isinstance(event, Said)]
    assert len(said) >= 2
    # The length of a text is its weight here; in a hurry nothing is weighed.
    assert all(given == () or given[-1] == len("pinna") for given, _ in asked)
    assert asked[0][0] != ()
    assert asked[0][1] == ""
    assert chosen == [" ".join(said[:count]) for count in range(len(said) + 1)]


def test_a_slow_recogniser_loses_nothing(tmp_path: Path, chatty: Recording) -> None:
    """The sound comes far too fast: neighbours are heard together, every utterance is settled, none twice."""
    slow = OneWord(takes_s=1.0)
    listening, events = session(tmp_path / "r", chatty.pcm[: 50 * SAMPLE_RATE_HZ], slow)
    listening.run()
    said = [event for event in events if isinstance(event, Said)]
    assert max(slow.lengths_s) > 12
    assert len(slow.lengths_s) < 10
    assert all(a.until_s <= b.start_s for a, b in itertools.pairwise(said))
    assert listening.load.utterances == 0
    assert said[-1].until_s == pytest.approx(50, abs=3.0)


def test_feeding_never_waits_for_the_recogniser(chatty: Recording) -> None:
    listener = Listener(OneWord(takes_s=1.0), terms=(), tell=lambda event: None)
    longest = 0.0
    for start in range(0, 10 * SAMPLE_RATE_HZ, BLOCK):
        begun = time.perf_counter()
        listener.hear(chatty.stretch(start, start + BLOCK))
        longest = max(longest, time.perf_counter() - begun)
    assert longest < 0.5
    listener.close()


@pytest.mark.parametrize("kind", NOTHING)
def test_nothing_is_understood_of_noise(tiny_recogniser: Recogniser, kind: str) -> None:
    """Twenty seconds of each; `rooms.py --nothing 10` does ten minutes."""
    events: list[Event] = []
    listener = Listener(tiny_recogniser.decoder, terms=("gingivitis", "tartar"), tell=events.append)
    sound = np.asarray(NOTHING[kind](20, 11), np.float32)
    for start in range(0, len(sound), BLOCK):
        listener.hear(sound[start : start + BLOCK])
    listener.close()
    assert [
        event.transcript.text for event in events if isinstance(event, Said) and event.transcript.text
    ] == []


def test_sound_and_words_are_in_the_folder(tmp_path: Path, chatty: Recording) -> None:
    listening, events = session(tmp_path / "r", chatty.pcm, OneWord())
    listening.run()
    assert np.array_equal(read_folder(tmp_path / "r").pcm, chatty.pcm)
    said = [event for event in events if isinstance(event, Said)]
    kept = read_words(tmp_path / "r", model="base")
    assert [(one.start_s, one.until_s, one.transcript) for one in kept] == [
        (one.start_s, one.until_s, one.transcript) for one in said
    ]
    assert listening.transcript().text == " ".join(one.transcript.text for one in said if one.transcript.text)


def test_a_recogniser_that_fails_does_not_stop_the_recording(tmp_path: Path, chatty: Recording) -> None:
    """The sound goes on to the disk, the words so far stay, and the failure is told."""
    listening, _ = session(tmp_path / "r", chatty.pcm, OneWord(fails_from=2, takes_s=0.01))
    with pytest.raises(SpeechError):
        listening.run()
    assert len(read_folder(tmp_path / "r").pcm) == len(chatty.pcm)
    assert listening.trouble.startswith("Nothing more is understood, but all is recorded")


def test_a_microphone_that_was_gone_is_told(tmp_path: Path, chatty: Recording) -> None:
    at = 10 * SAMPLE_RATE_HZ
    gone = {at: Interruption("the microphone was gone", 7.0, lasts=False)}
    listening, events = session(
        tmp_path / "r", chatty.pcm[: 20 * SAMPLE_RATE_HZ], OneWord(), interruptions=gone
    )
    listening.run()
    assert listening.notes == ["At 10 s the microphone was gone for 7 s: what was said then is missing."]
    (gap,) = read_folder(tmp_path / "r").gaps
    assert (gap.at_s, gap.lost_s) == (10.0, 7.0)
    assert all(event.until_s <= 10.0 or event.start_s > 9.95 for event in events if isinstance(event, Said))


def test_what_was_settled_is_not_heard_again(
    tmp_path: Path, tiny_recogniser: Recogniser, chatty: Recording
) -> None:
    """Cut off in the middle: the words that are there stand, the rest is heard once, and a second time not at all."""
    listening, _ = session(tmp_path / "r", chatty.pcm[: 18 * SAMPLE_RATE_HZ], OneWord())
    listening.run()
    first = read_words(tmp_path / "r", model="base")[0]
    (tmp_path / "r" / "words.jsonl").unlink()
    words = SavedWords(tmp_path / "r")
    settled = Transcript.model_validate({**first.transcript.model_dump(), "model": "tiny.en"})
    words.add(Said(first.start_s, first.until_s, settled))
    words.close()
    recording = read_audio(tmp_path / "r")
    once = chain.hear_rest(recording, tmp_path / "r", tiny_recogniser)
    count = len(settled.words)
    assert once.text.startswith(settled.text)
    assert once.text.count("word.") == count
    later = [word.start_s for word in once.words[count:]]
    assert min(start for start in later if start is not None) >= first.until_s
    assert "discharge" in once.text
    assert chain.hear_rest(recording, tmp_path / "r", tiny_recogniser) == once


def test_words_behind_a_lost_piece_are_heard_again(tmp_path: Path) -> None:
    words = SavedWords(tmp_path)
    for number in range(4):
        words.add(Said(number, number + 0.5, Transcript(text=f"{number}", model="base")))
    words.close()
    lines = (tmp_path / "words.jsonl").read_text().splitlines(keepends=True)
    (tmp_path / "words.jsonl").write_text("".join([lines[0], lines[1][:40] + "\n", *lines[2:]]))
    assert [one.transcript.text for one in read_words(tmp_path, model="base")] == ["0"]
    assert read_words(tmp_path, model="tiny.en") == []


KILLED = """
import sys
from pathlib import Path
sys.path[:0] = sys.argv[2:]
from rooms import NOTHING
from speakers import OneWord
from pipeline.capture import SoundFile
from pipeline.listening import Session
source = SoundFile(Path(sys.argv[1]), speed=20)
Session(source, OneWord(takes_s=0.01), Path(sys.argv[3]) / "r", terms=(), tell=lambda event: None).run()
"""


def test_a_killed_session_is_continued_without_a_word_twice(
    tmp_path: Path, samples: Path, tiny_recogniser: Recogniser
) -> None:
    """Killed twice in mid-exam: words on the disk cover the sound in order, the rest is heard once."""
    sound = samples / "cat_senior.flac"
    for number, moment in enumerate((0.0, 0.2)):
        folder = tmp_path / str(number)
        folder.mkdir()
        command = [sys.executable, "-c", KILLED, str(sound), str(Path(__file__).parent), str(folder)]
        with subprocess.Popen(command) as process:
            while len(read_words(folder / "r", model="base")) < 2:
                time.sleep(0.01)
            time.sleep(moment)
            process.kill()
        recording = read_audio(folder / "r")
        before = read_words(folder / "r", model="base")
        assert np.array_equal(recording.pcm, read_audio(sound).pcm[: len(recording.pcm)])
        words = SavedWords(folder / "r")
        for said in before:
            words.add(
                Said(said.start_s, said.until_s, said.transcript.model_copy(update={"model": "tiny.en"}))
            )
        words.close()
        whole = chain.hear_rest(recording, folder / "r", tiny_recogniser)
        times = [word.start_s for word in whole.words]
        assert times == sorted(times, key=lambda second: second or 0.0)
        count = sum(len(one.transcript.words) for one in before)
        assert count
        assert whole.text.split()[:count] == ["word."] * count
