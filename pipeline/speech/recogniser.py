"""The recogniser: a recording in, a transcript out."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from pathlib import Path

from models import Progress
from pipeline.capture import Recording
from pipeline.speech.assemble import assemble
from pipeline.speech.decoder import Decoder, Samples
from pipeline.speech.guards import judge
from pipeline.speech.heard import Heard, split_at_pauses
from pipeline.speech.joining import join
from pipeline.speech.mending import Mending
from pipeline.speech.model import Dropped, Transcript
from pipeline.speech.options import SpeechOptions
from pipeline.speech.windows import Span, Window, speech_spans, windows

SpeechProgress = Callable[[float, float], None]
"""Called with seconds of the recording done and seconds in all."""

TermChoice = Callable[[str], Sequence[str]]
"""Gives the terms to listen for in what follows a text, the transcript so far."""

# Windows are heard together with others of like length, out of so many that follow each other; between two such
# gatherings the terms can be chosen anew.
_GATHERED = {"cpu": 4, "cuda": 16}


class Recogniser:
    """A loaded speech model that writes down whole recordings; `decoder` hears single stretches.

    Loading takes a second or so and holds the weights until the object goes; make one and keep it. Not for
    several threads at once. `allow_download` and `model_progress` are handed to `models.locate_model`.

    Raises models.ModelError when the model cannot be had, SpeechError when it cannot be loaded.
    """

    def __init__(
        self,
        options: SpeechOptions | None = None,
        *,
        allow_download: bool = False,
        model_progress: Progress | None = None,
    ) -> None:
        self.decoder = Decoder(options, allow_download=allow_download, model_progress=model_progress)
        self.options = self.decoder.options

    def transcribe(
        self,
        recording: Recording,
        *,
        terms: Sequence[str] | TermChoice = (),
        mending: Mending | None = None,
        progress: SpeechProgress | None = None,
    ) -> Transcript:
        """Write down what is said in a recording.

        `terms` are words to listen for, most important first; what does not fit the model's prompt is left
        out (`Decoder.fit_terms` tells which). A function is asked for them again as the text grows, about every
        three quarters of a minute. `mending` is asked about each window. Silence and noise give an empty text. The same
        recording, terms and options give the same transcript on the same machine.

        Raises SpeechError when the model fails, as when a GPU runs out of memory.
        """
        parts: list[Transcript] = []
        before = ""
        reached_s = 0.0
        waiting = windows(speech_spans(recording))
        while gathered := list(itertools.islice(waiting, _GATHERED[self.decoder.device])):
            chosen = terms(before) if callable(terms) else terms
            sounds = [window.sound(recording) for window in gathered]
            step_s = (gathered[-1].end_s - reached_s) / len(gathered)
            heard_here: dict[int, Transcript] = {}
            for index, heard in self.decoder.decode_in_batches(sounds, terms=chosen):
                judged = self._judge(recording, gathered[index], heard, chosen)
                heard_here[index] = self._assemble(*judged, recording)
                reached_s += step_s
                if progress is not None:
                    progress(min(reached_s, recording.duration_s), recording.duration_s)
            for index, sound in enumerate(sounds):
                part = heard_here[index]
                if mending is not None and part.text:
                    part = self._mend(part, sound, before, mending)
                parts.append(part)
                before = f"{before} {part.text}".strip()
        if progress is not None:
            progress(recording.duration_s, recording.duration_s)
        return self._joined(parts, recording)

    def _mend(self, heard: Transcript, sound: Samples, before: str, mending: Mending) -> Transcript:
        doubts = mending(heard, before)
        return doubts.mended(self.decoder.weigh(sound, doubts.texts, doubts.terms))

    def decode(self, recording: Recording, *, terms: Sequence[str] = ()) -> Transcript:
        """Write down one stretch of speech of at most `LONGEST_S`, cut already: no voice is looked for in it.

        Guards and times are as in `transcribe`. Raises SpeechError.
        """
        window = Window((Span(0, len(recording.pcm)),))
        (heard,) = self.decoder.decode([window.sound(recording)], terms=terms)
        return self._assemble(*self._judge(recording, window, heard, terms), recording)

    def _joined(self, parts: list[Transcript], recording: Recording) -> Transcript:
        if not parts:
            return self._assemble([], [], recording)
        return join(((0.0, part) for part in parts), duration_s=recording.duration_s)

    def _assemble(self, kept: list[Heard], dropped: list[Dropped], recording: Recording) -> Transcript:
        return assemble(
            kept,
            sorted(dropped, key=lambda one: one.start_s),
            language=self.options.language,
            model=Path(self.options.model).name,
            duration_s=recording.duration_s,
        )

    def _judge(
        self, recording: Recording, window: Window, heard: Heard | None, terms: Sequence[str]
    ) -> tuple[list[Heard], list[Dropped]]:
        """Part speech from inventions; where the guards object, listen again before giving up words.

        The second hearing takes the window in halves, without the list of terms: so words swallowed at the
        end of a window come back, and loops lose their usual causes. It stands only when the guards have
        nothing at all against it.
        """
        prompt = ", ".join(self.decoder.fit_terms(terms))
        kept, dropped = judge(_in_parts(window, heard), window.spans_s, prompt)
        if not dropped:
            return kept, dropped
        halves = window.halves()
        again = self.decoder.decode([half.sound(recording) for half in halves])
        judged = [judge(_in_parts(half, one), half.spans_s) for half, one in zip(halves, again, strict=True)]
        if any(objections for _, objections in judged):
            return kept, dropped
        return [one for kept_in_half, _ in judged for one in kept_in_half], []


def _in_parts(window: Window, heard: Heard | None) -> list[Heard]:
    return [] if heard is None else list(split_at_pauses(window.in_recording(heard)))
