"""The command that listens while the vet examines."""

from __future__ import annotations

import itertools
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from types import FrameType

from platformdirs import user_data_path
from rich.live import Live as LiveScreen
from rich.text import Text

from lexicon import load_lexicon
from lexicon.closing import closes
from pipeline import exam as chain
from pipeline.capture import Microphone, SoundFile, Source
from pipeline.cli.border import CallError, WorkError
from pipeline.cli.examined import Examined, examined
from pipeline.cli.examining import show_record
from pipeline.cli.inputs import require_file
from pipeline.cli.kept import Request, keep_who, pack_sound
from pipeline.cli.live_view import Live, State, screen
from pipeline.cli.page import ASCII, Shapes, clock
from pipeline.cli.screen import messages, printable, progress_bars, remark, writes_unicode
from pipeline.listening import Said, Session, Speaking
from pipeline.record import Patient, Visit
from pipeline.settings import Settings
from pipeline.speech import Decoder

# So long after "end of examination" the vet may go on talking.
_CLOSING_S = 5.0
_FRAMES_PER_SECOND = 8


@dataclass(frozen=True, slots=True)
class Listening:
    """What is listened to and where it is kept, as it came from the options."""

    microphone: str | None
    file: Path | None
    speed: float
    folder: Path | None


def listen(settings: Settings, wanted: Listening, request: Request) -> None:
    """Listen to an examination, show its record growing, and write it at the end.

    Raises CallError, CaptureError, ModelError, SpeechError, StoreError, WorkError.
    """
    with examined(settings, request) as of:
        _listen(settings, wanted, request, of)


def _listen(settings: Settings, wanted: Listening, request: Request, of: Examined) -> None:
    folder = wanted.folder or _new_folder()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise CallError(f"{folder} is not empty. Name a new folder with --to.")
    source = _source(wanted)
    with progress_bars() as bars:
        decoder = chain.make_recogniser(settings, bars.model).decoder
    examination = _Examination(of.patient, of.visit, source, decoder, folder)
    with _stopped_by_signals(examination.session):
        examination.run()
    for note in examination.session.notes:
        remark(note)
    if not examination.live.record.transcript.text.strip():
        remark("No speech was understood. Check the microphone: rostral check")
    pack_sound(examination.folder)
    show_record(examination.live.record, as_json=request.as_json, talk=request.talk)
    of.keep(examination.live.record)
    if examination.error is not None:
        raise WorkError(
            f"{examination.error} The sound is in {examination.folder}: run rostral exam {examination.folder}"
        )


class _Examination:
    """One examination: the session in a thread of its own, its record, and its screen."""

    def __init__(
        self, patient: Patient | None, visit: Visit, source: Source, decoder: Decoder, folder: Path
    ) -> None:
        self.folder = folder
        self.error: Exception | None = None
        self._patient, self._visit = patient, visit
        self._lexicon = load_lexicon()
        self.session = Session(
            source,
            decoder,
            folder,
            terms=partial(chain.terms_for, patient, visit),
            mending=chain.MENDING,
            tell=self._heard,
        )
        self.live = Live(chain.understand(self.session.transcript(), patient, visit))
        self._console = messages()
        keep_who(folder, patient, visit)

    def run(self) -> None:
        """Listen until the sound, the vet or the user ends it."""
        thread = threading.Thread(target=self._listen, name="listening")
        thread.start()
        if self._console.is_terminal:
            shapes = Shapes() if writes_unicode(self._console) else ASCII
            with LiveScreen(console=self._console, screen=True, auto_refresh=False) as shown:
                while thread.is_alive():
                    size = self._console.size
                    shown.update(
                        screen(
                            self.live, self._state(), self._lexicon, self._console.width, size.height, shapes
                        ),
                        refresh=True,
                    )
                    self._look_for_the_end()
                    thread.join(1 / _FRAMES_PER_SECOND)
        else:
            remark(f"Listening to the {self.session.source_name}; recorded in {self.folder}.")
            well = True
            while thread.is_alive():
                trouble = self.session.trouble
                if trouble and well:
                    remark(trouble)
                well = not trouble
                self._look_for_the_end()
                thread.join(1 / _FRAMES_PER_SECOND)
        # Once more: the end of the recording is known only now.
        self.live.record = chain.understand(self.session.transcript(), self._patient, self._visit)

    def _listen(self) -> None:
        try:
            self.session.run()
        except Exception as error:  # noqa: BLE001 - told once the record is shown
            self.error = error

    def _heard(self, event: Speaking | Said) -> None:
        """Take what was said and make the record anew; called in the recogniser's thread."""
        self.live.take(event)
        self.live.closing_at_s = None
        if not isinstance(event, Said) or not event.transcript.text:
            return
        if closes(event.transcript.text):
            self.live.closing_at_s = event.until_s + _CLOSING_S
        self.live.record = chain.understand(self.session.transcript(), self._patient, self._visit)
        if not self._console.is_terminal:
            line = f"{clock(event.start_s)}  {printable(event.transcript.text)}"
            self._console.print(Text(line), soft_wrap=True)

    def _look_for_the_end(self) -> None:
        closing_at_s = self.live.closing_at_s
        if (
            closing_at_s is not None
            and self.session.heard_s >= closing_at_s
            and not self.session.load.utterances
        ):
            self.session.stop()

    def _state(self) -> State:
        session = self.session
        return State(session.heard_s, session.levels, session.load, session.trouble, session.ending)


def _source(wanted: Listening) -> Source:
    if wanted.file is None:
        return Microphone(wanted.microphone)
    if wanted.microphone is not None:
        raise CallError("Give --microphone or --from, not both.")
    require_file(wanted.file)
    return SoundFile(wanted.file, speed=wanted.speed)


def _new_folder() -> Path:
    """A folder that is not there yet: the clock may be set back, or two may begin in one second."""
    recordings = user_data_path("rostral", appauthor=False) / "recordings"
    name = f"{datetime.now():%Y-%m-%d %H.%M.%S}"
    names = itertools.chain([name], (f"{name} ({number})" for number in itertools.count(2)))
    return next(folder for name in names if not (folder := recordings / name).exists())


@contextmanager
def _stopped_by_signals(session: Session) -> Iterator[None]:
    """Let Ctrl-C and a polite kill end the examination in good order; a second Ctrl-C ends the program."""

    def stop(_number: int, _frame: FrameType | None) -> None:
        session.stop()
        signal.signal(signal.SIGINT, before)

    before = signal.getsignal(signal.SIGINT)
    old = {number: signal.signal(number, stop) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in old.items():
            signal.signal(number, handler)
