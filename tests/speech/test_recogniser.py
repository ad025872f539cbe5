"""The real recogniser on real sound."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import jiwer
import noises
import numpy as np
import psutil
import pytest
from noises import recording_of

from models import ModelError, locate_model
from pipeline.capture import SAMPLE_RATE_HZ, Recording, read_audio
from pipeline.speech import Recogniser, SpeechError, SpeechOptions, Transcript, plain_text
from pipeline.speech.decoder import _Manner
from pipeline.speech.windows import speech_spans

ROOT = Path(__file__).parents[2]


def said(text: str) -> str:
    """Lower case, letters and digits only: how words are compared."""
    return " ".join("".join(sign if sign.isalnum() else " " for sign in text.lower()).split())


@pytest.fixture(scope="session")
def chatty(samples: Path) -> Recording:
    """Read the first 43 s of a dictation."""
    whole = read_audio(samples / "dog_chatty.flac")
    return Recording(pcm=whole.pcm[: 43 * SAMPLE_RATE_HZ])


@pytest.fixture(scope="session")
def heard(tiny_recogniser: Recogniser, chatty: Recording) -> Transcript:
    """Write it down once for all tests that only look."""
    return tiny_recogniser.transcribe(chatty)


def test_what_is_said_is_written(heard: Transcript) -> None:
    """The plain sentences of a clear recording come out word for word."""
    for sentence in (
        "no discharge from either nostril",
        "Eyes are bright and clear, no discharge",
        "Ears look clean on both sides, no smell and no wax.",
        "I can feel all the lymph nodes, and none of them are enlarged.",
    ):
        assert said(sentence) in said(heard.text)
    assert heard.dropped == ()
    assert (heard.language, heard.model, heard.duration_s) == ("en", "tiny.en", 43.0)


def test_spoken_number_is_one_word(heard: Transcript) -> None:
    """The model splits 28.6 in three pieces; the text has it whole."""
    assert "28.6" in [word.text for word in heard.words]


def test_every_word_is_where_it_says(heard: Transcript) -> None:
    """Offsets cut out exactly the word, and the words with single spaces are the text."""
    assert heard.words
    for word in heard.words:
        assert heard.text[word.start_char : word.end_char] == word.text
        assert word.text
        assert not any(sign.isspace() for sign in word.text)
    assert " ".join(word.text for word in heard.words) == heard.text


def test_utterances_cover_the_text(heard: Transcript) -> None:
    """Each utterance spans its words, and nothing lies between utterances but a space."""
    reached = 0
    for utterance in heard.utterances:
        assert heard.text[reached : utterance.start_char].strip() == ""
        assert utterance.start_char == utterance.words[0].start_char
        assert utterance.end_char == utterance.words[-1].end_char
        assert utterance.start_s == utterance.words[0].start_s
        assert utterance.end_s == utterance.words[-1].end_s
        reached = utterance.end_char
    assert reached == len(heard.text)


def test_times_never_run_back(heard: Transcript) -> None:
    """Each word starts after the one before it, and all lie within the recording."""
    clock_s = 0.0
    for word in heard.words:
        assert word.start_s is not None
        assert word.end_s is not None
        assert clock_s <= word.start_s <= word.end_s <= 43.0
        clock_s = word.end_s


def test_words_stand_where_they_sound(tiny_recogniser: Recogniser, chatty: Recording) -> None:
    """Seconds of silence in front shift every word by as much, although silence is never recognised."""
    opening = chatty.stretch(0, 7 * SAMPLE_RATE_HZ)
    plain = tiny_recogniser.transcribe(recording_of(opening))
    later = tiny_recogniser.transcribe(recording_of(noises.silence(12, 0), opening))
    assert said(later.text) == said(plain.text)
    shifts = [b.start_s - a.start_s for a, b in zip(plain.words, later.words, strict=True)]  # type: ignore[operator]
    assert np.allclose(shifts, 12, atol=0.3)


def test_same_sound_gives_the_same_transcript(
    tiny_recogniser: Recogniser, chatty: Recording, heard: Transcript
) -> None:
    """To the last digit."""
    assert tiny_recogniser.transcribe(chatty).model_dump_json() == heard.model_dump_json()


def test_progress_runs_to_the_end(tiny_recogniser: Recogniser, chatty: Recording) -> None:
    """Seconds done only grow and end at the length of the recording."""
    steps: list[tuple[float, float]] = []
    short = Recording(pcm=chatty.pcm[: 12 * SAMPLE_RATE_HZ])
    tiny_recogniser.transcribe(short, progress=lambda done, total: steps.append((done, total)))
    assert steps == sorted(steps)
    assert steps[-1] == (12.0, 12.0)


def test_tokens_are_bounded_by_the_length_of_the_sound(
    tiny_recogniser: Recogniser, chatty: Recording, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The bound holds, with and without a prompt, and running into it is told."""
    decoder = tiny_recogniser.decoder
    sound = chatty.stretch(0, 10 * SAMPLE_RATE_HZ)
    monkeypatch.setattr("pipeline.speech.decoder._TOKENS_AT_LEAST", 0)
    for prompt in ("", "gingivitis, popliteal, crepitus, tartar"):
        for per_second in (1, 2):
            monkeypatch.setattr("pipeline.speech.decoder._TOKENS_PER_SECOND", per_second)
            ((heard, cut_off),) = decoder._hear([sound], _Manner(prompt, beam_size=5))
            assert heard is not None
            tokens = decoder._model.hf_tokenizer.encode(" " + heard.text, add_special_tokens=False)
            assert cut_off
            # A text cut off anywhere may split into a token more or less than it was made of.
            assert abs(len(tokens.ids) - 10 * per_second) <= 1


def test_a_stretch_alone_and_among_others_gives_like_words(
    tiny_recogniser: Recogniser, chatty: Recording
) -> None:
    """Order is kept, and a longer window for the sake of the batch changes a word at most."""
    second = SAMPLE_RATE_HZ
    sounds = [
        chatty.stretch(start * second, (start + length) * second) for start, length in ((0, 7), (15, 4))
    ]
    sounds.insert(1, np.zeros(3 * second, np.float32))
    together = tiny_recogniser.decoder.decode(sounds)
    assert together[0] is not None
    assert together[2] is not None
    for sound, heard in zip((sounds[0], sounds[2]), (together[0], together[2]), strict=True):
        alone = tiny_recogniser.decoder.decode([sound], look_again=False)[0]
        assert alone is not None
        assert jiwer.wer(said(alone.text), said(heard.text)) < 0.15
        assert heard.end_s <= len(sound) / second


@pytest.mark.parametrize("kind", noises.ALL)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_nothing_is_invented_over_noise(tiny_recogniser: Recogniser, kind: str, seed: int) -> None:
    """Ten seconds without speech give no words."""
    assert tiny_recogniser.transcribe(recording_of(noises.ALL[kind](10, seed))).text == ""


@pytest.mark.parametrize("kind", noises.ALL)
def test_standard_model_invents_nothing_over_noise(base_recogniser: Recogniser, kind: str) -> None:
    """The same for the model that Rostral uses, with a list of terms that it could echo."""
    sound = recording_of(noises.ALL[kind](10, 7))
    assert (
        base_recogniser.transcribe(sound, terms=["gingivitis", "popliteal", "crepitus", "tartar"]).text == ""
    )


def test_noise_around_speech_adds_nothing(tiny_recogniser: Recogniser, chatty: Recording) -> None:
    """Panting before and a beep after a sentence leave the sentence alone."""
    sentence = chatty.stretch(round(15.2 * SAMPLE_RATE_HZ), 19 * SAMPLE_RATE_HZ)
    around = recording_of(noises.panting(6, 1), sentence, noises.silence(2, 0), noises.tone(6, 1))
    assert said(tiny_recogniser.transcribe(around).text) == (
        "nose is clean and moist no discharge from either nostril"
    )


@pytest.mark.parametrize("seconds", [0.0, 0.01, 0.2])
def test_hardly_any_sound_is_no_error(tiny_recogniser: Recogniser, seconds: float) -> None:
    """An empty or tiny recording has an empty transcript."""
    transcript = tiny_recogniser.transcribe(recording_of(noises.white(seconds, 1)))
    assert transcript.text == ""
    assert plain_text(transcript) == ""


def test_window_seams_lose_no_words(base_recogniser: Recogniser, samples: Path) -> None:
    """Base on 84 s: two places where words once fell into a seam of windows.

    The bound on word errors is far above what was measured (0.09, numbers as digits counted as errors) and
    below what a lost window costs.
    """
    transcript = base_recogniser.transcribe(read_audio(samples / "dog_incomplete.ogg"))
    assert said("I could not look in his mouth, he would not let me.") in said(transcript.text)
    assert said(transcript.text).endswith("treats by half")
    reference = said((samples / "dog_incomplete.txt").read_text(encoding="utf-8"))
    assert jiwer.wer(reference, said(transcript.text)) < 0.15


def test_terms_help_with_trade_words(chatty: Recording) -> None:
    """A word of the list is written as the list has it, and the rest of the text stays sound.

    Followed with five readings: at two, the default, this clip's word stays misheard and is left to the repair.
    """
    base_recogniser = Recogniser(SpeechOptions(model="base", device="cpu", beam_size=5))
    part = Recording(pcm=chatty.pcm[24 * SAMPLE_RATE_HZ : 31 * SAMPLE_RATE_HZ])
    transcript = base_recogniser.transcribe(part, terms=["gingivitis", "tartar", "molars", "crepitus"])
    assert "gingivitis" in transcript.text
    assert "crepitus" not in transcript.text


def test_what_was_said_weighs_more_than_what_was_not(tiny_recogniser: Recogniser, chatty: Recording) -> None:
    """The text of a sentence over its sound against the same with another word; the company of others changes nothing."""
    span = next(speech_spans(chatty))
    sound = chatty.stretch(span.start, min(span.stop, span.start + 20 * SAMPLE_RATE_HZ))
    (heard,) = tiny_recogniser.decoder.decode([sound])
    assert heard is not None
    assert "girl" in heard.text
    texts = [heard.text, heard.text.replace("girl", "gingiva"), heard.text.replace("girl", "gill")]
    weights = tiny_recogniser.decoder.weigh(sound, texts, ["gingiva"])
    assert weights[0] > max(weights[1:]) + 2
    (alone,) = tiny_recogniser.decoder.weigh(sound, texts[:1], ["gingiva"])
    assert alone == pytest.approx(weights[0], abs=0.5)
    assert tiny_recogniser.decoder.weigh(sound, [], ["gingiva"]) == []


def test_terms_are_cut_to_the_prompt_in_order(tiny_recogniser: Recogniser) -> None:
    """A thousand terms: the first ones stay, repeats and blanks go, and the prompt never overflows."""
    terms = [
        "gingivitis",
        " ",
        "Gingivitis",
        "capillary  refill",
        *(f"term{number}" for number in range(1000)),
    ]
    fitting = tiny_recogniser.decoder.fit_terms(terms)
    assert fitting[:3] == ("gingivitis", "capillary refill", "term0")
    assert len(fitting) < 220
    tokens = tiny_recogniser.decoder._model.hf_tokenizer.encode(
        " " + ", ".join(fitting), add_special_tokens=False
    )
    # Whisper's text context is 448 tokens, half of it for the prompt (224), one of these for its start mark.
    assert 180 < len(tokens.ids) <= 223


def test_full_prompt_still_leaves_room_for_the_text(tiny_recogniser: Recogniser, chatty: Recording) -> None:
    """The longest list and a full window of speech fit the model's memory together."""
    window = Recording(pcm=chatty.pcm[: 25 * SAMPLE_RATE_HZ])
    terms = ["capillary refill", "mucous membranes", *(f"word{number}" for number in range(300))]
    assert len(tiny_recogniser.transcribe(window, terms=terms).words) > 50


def test_unfit_options_say_what_to_do() -> None:
    """A model that is not there, a language it does not know, a folder that does not load."""
    with pytest.raises(ModelError, match="downloads are off"):
        Recogniser(SpeechOptions(model="small"))
    with pytest.raises(SpeechError, match=r"tiny\.en knows English only, not fr"):
        Recogniser(SpeechOptions(model="tiny.en", device="cpu", language="fr"))
    with pytest.raises(SpeechError, match=r"cannot be loaded on cpu as int3.*compute type auto"):
        Recogniser(SpeechOptions(model="tiny.en", device="cpu", compute_type="int3"))


def test_broken_weights_are_an_error_in_one_line(tmp_path: Path) -> None:
    """A folder that looks right and holds rubbish."""
    for path in locate_model("tiny.en").iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes()[:500_000])
    with pytest.raises(SpeechError, match="cannot be loaded") as caught:
        Recogniser(SpeechOptions(model=str(tmp_path), device="cpu"))
    assert "\n" not in str(caught.value)


def test_importing_the_stage_is_cheap_and_quiet() -> None:
    """Handling transcripts does not pay for the recogniser, and recognising says nothing on its own."""
    code = (
        "import sys, pipeline.speech as s\n"
        "assert 'faster_whisper' not in sys.modules and 'ctranslate2' not in sys.modules\n"
        "from pipeline.capture import read_audio\n"
        "from pipeline.speech import *\n"
        "r = Recogniser(SpeechOptions(model='tiny.en', device='cpu'))\n"
        "r.transcribe(s.recogniser.Recording(pcm=read_audio(sys.argv[1]).pcm[:160000]))\n"
    )
    sample = ROOT / "audio_samples" / "dog_chatty.flac"
    done = subprocess.run(
        [sys.executable, "-c", code, str(sample)], capture_output=True, text=True, check=False, cwd=ROOT
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="reads the peak from Linux's /proc")
def test_memory_of_the_standard_chain(samples: Path) -> None:
    """Base on a dictation, in a process of its own: below 1.2 GiB at its peak (measured: 0.45 GB).

    VmHWM is the peak since the program began; the peak of getrusage(2) would count that of the process it was started from.
    """
    code = (
        "import sys\n"
        "from pipeline.capture import Recording, read_audio\n"
        "from pipeline.speech import *\n"
        "sound = read_audio(sys.argv[1])\n"
        "Recogniser(SpeechOptions(device='cpu')).transcribe(Recording(pcm=sound.pcm[:16000 * 30]))\n"
        "print(next(line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM')))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(samples / "dog_noisy.flac")],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    )
    kib = int(done.stdout)
    assert 50_000 < kib < 1.2 * 1024 * 1024
    assert kib * 1024 < psutil.virtual_memory().total
