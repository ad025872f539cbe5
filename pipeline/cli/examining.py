"""The commands that do the job: exam, transcribe, extract, demo."""

from __future__ import annotations

import tomllib
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

from rich.text import Text

from lexicon import load_lexicon
from pipeline import exam as chain
from pipeline.capture import Recording, is_recording, read_audio
from pipeline.cli.border import CallError
from pipeline.cli.examined import examined
from pipeline.cli.explanation_view import explanation_lines
from pipeline.cli.inputs import read_patient, read_text, read_visit, require_file
from pipeline.cli.kept import Request, pack_sound, who_was_examined
from pipeline.cli.page import ASCII, Shapes
from pipeline.cli.record_view import record_lines
from pipeline.cli.screen import (
    output,
    printable,
    progress_bars,
    remark,
    write_json,
    write_lines,
    writes_unicode,
)
from pipeline.extraction import explain as explain_text
from pipeline.extraction.explain import Explanation
from pipeline.record import ExamRecord, Patient, Visit
from pipeline.settings import Settings
from pipeline.speech import Transcript, plain_text

FIRST_SAMPLE = "dog_chatty"
_SPOKEN_SHOWN = 320


def exam(audio: Path, settings: Settings, request: Request) -> None:
    """Run the whole chain on a sound file, or on the rest of a live examination, and show the record."""
    if is_recording(audio):
        request = who_was_examined(audio, request)
    require_file(audio)
    with examined(settings, request) as of:
        record = _examine(audio, settings, of.patient, of.visit)
        if is_recording(audio):
            pack_sound(audio)
        show_record(record, as_json=request.as_json, talk=request.talk)
        of.keep(record)


def transcribe(audio: Path, settings: Settings, *, as_json: bool) -> None:
    """Write down what is said in a sound file."""
    require_file(audio)
    transcript = _listen(read_recording(audio), settings, None, None)
    if as_json:
        write_json(transcript.model_dump(mode="json"))
        return
    write_lines(output(), (Text(printable(line)) for line in plain_text(transcript).splitlines()))


def extract(source: str, settings: Settings, request: Request, *, explain: bool) -> None:
    """Make the record of a text, or show how it is understood."""
    if explain and request.keep_for is not None:
        raise CallError("--explain shows how a text is understood and keeps nothing: leave out --keep.")
    with examined(settings, request) as of:
        text = read_text(source)
        if not text.strip():
            remark("The text is empty: the record holds nothing that was said.")
        transcript = Transcript.from_text(text)
        if explain:
            _show_explanation(explain_text(transcript, on=of.visit.on), as_json=request.as_json)
            return
        record = chain.understand(transcript, of.patient, of.visit)
        show_record(record, as_json=request.as_json, talk=request.talk)
        of.keep(record)


def demo(name: str, settings: Settings, *, talk: bool) -> None:
    """Run the main job on a bundled sample, and tell which others there are."""
    names = sample_names()
    if name not in names:
        raise CallError(f"There is no sample {name!r}. Give one of: {', '.join(names)}.")
    console = output()
    spoken = " ".join(sample_file(name, ".txt").read_text(encoding="utf-8").split())
    if len(spoken) > _SPOKEN_SHOWN:
        spoken = f"{spoken[:_SPOKEN_SHOWN].rsplit(' ', 1)[0]} …"
    console.print(
        Text(f"What was said in {name}: ", style="bold").append(spoken, style="italic not bold dim")
    )
    console.print()
    with (
        resources.as_file(sample_sound(name)) as audio,
        resources.as_file(sample_file(name, ".patient.json")) as patient,
    ):
        record = _examine(audio, settings, read_patient(patient), read_visit(_sample_visit(name), None))
    show_record(record, as_json=False, talk=talk)
    others = [other for other in names if other != name]
    console.print()
    console.print(Text(f"More samples: {', '.join(others)}. Run: rostral demo {others[0]}"))
    console.print(Text("Your own recording: rostral exam FILE --patient PATIENT.json"))


def show_record(record: ExamRecord, *, as_json: bool, talk: bool) -> None:
    """Write a record to standard output."""
    if as_json:
        write_json(record.model_dump(mode="json"))
        return
    console = output()
    shapes = Shapes() if writes_unicode(console) else ASCII
    write_lines(console, record_lines(record, load_lexicon(), console.width, shapes, talk=talk))


def _show_explanation(explanation: Explanation, *, as_json: bool) -> None:
    """Write how a text was understood to standard output."""
    if as_json:
        write_json(explanation.model_dump(mode="json"))
        return
    console = output()
    shapes = Shapes() if writes_unicode(console) else ASCII
    write_lines(console, explanation_lines(explanation, load_lexicon(), console.width, shapes))


def read_recording(audio: Path) -> Recording:
    """Read a sound file and pass on what is to be known about it. Raises CaptureError."""
    recording = read_audio(audio)
    for warning in recording.warnings:
        remark(warning)
    return recording


def _examine(audio: Path, settings: Settings, patient: Patient | None, visit: Visit) -> ExamRecord:
    transcript = _listen(read_recording(audio), settings, patient, visit)
    return chain.understand(transcript, patient, visit)


def _listen(
    recording: Recording, settings: Settings, patient: Patient | None, visit: Visit | None
) -> Transcript:
    folder = recording.source if recording.source is not None and is_recording(recording.source) else None
    with progress_bars() as bars:
        recogniser = chain.make_recogniser(settings, bars.model)
        if folder is None:
            transcript = chain.hear(recording, recogniser, patient, visit, bars.speech)
        else:
            transcript = chain.hear_rest(recording, folder, recogniser, patient, visit, bars.speech)
    if not transcript.text.strip():
        why = "is silent" if recording.is_silent else "has no speech that could be understood"
        remark(f"The recording {why}. Check the microphone and the file.")
    return transcript


def sample_names() -> list[str]:
    """List the bundled dictations."""
    return sorted(
        item.name.removesuffix(".patient.json")
        for item in resources.files("audio_samples").iterdir()
        if item.name.endswith(".patient.json")
    )


def sample_file(name: str, ending: str) -> Traversable:
    """Give a file that belongs to a bundled dictation."""
    return resources.files("audio_samples") / f"{name}{ending}"


def sample_sound(name: str) -> Traversable:
    """Give the recording of a bundled dictation: FLAC, or Opus in Ogg."""
    flac = sample_file(name, ".flac")
    return flac if flac.is_file() else sample_file(name, ".ogg")


def _sample_visit(name: str) -> str:
    expected = tomllib.loads(sample_file(name, ".expected.toml").read_text(encoding="utf-8"))
    return str(expected["visit"])
