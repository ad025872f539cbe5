"""One examination that goes on: its streams, what is understood of them, what there is to show, and its end as a draft.

A room lies in a folder: `room.json` says whose it is and how far, and every stream has a folder of its own in it. Any process
that opens the folder goes on where the last one ended.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from lexicon import load_lexicon
from pipeline.capture import CaptureError, Microphone, Source, hold, pack
from pipeline.capture.levels import Levels
from pipeline.capture.sources import Interruption
from pipeline.desk.rooms.ear import Ear
from pipeline.desk.rooms.pieces import Piece
from pipeline.desk.rooms.showing import record_shown
from pipeline.desk.rooms.stream import RATES_HZ, Stream
from pipeline.exam import MENDING, terms_for, understand
from pipeline.listening import Said, Speaking
from pipeline.listening.hearing import Decodes
from pipeline.record import ExamRecord, Patient, Visit
from pipeline.speech import Transcript
from pipeline.speech.joining import join
from pipeline.store import Actor, Database, KeptVisit, add_recording, keep_record, recordings_of, visits_of

State = Literal["open", "ending", "ended"]
_NAME = "room.json"
_UTTERANCES = 3
_MOST_STREAMS = 999


class RoomError(Exception):
    """What was asked of a room cannot be done; the message is for the person."""


class RoomFile(BaseModel):
    """How far a room is, as it lies on the disk."""

    model_config = ConfigDict(extra="forbid")

    visit: KeptVisit
    state: State = "open"
    ended_by: Actor | None = None
    record_id: str | None = None
    streams: dict[str, StreamFile] = Field(default_factory=dict)


class StreamFile(BaseModel):
    """A stream of a room: the folder in it, samples a second, and what was listened to."""

    folder: str
    rate_hz: int
    source: str


@dataclass
class _Heard:
    stream: Stream
    ear: Ear


class Room:
    """An examination in `folder`. Everything may be called from any thread; `changed` is called when there is news.

    Raises RoomError when the folder is another visit's, CaptureError, OSError.
    """

    def __init__(self, folder: Path, visit: KeptVisit, animal: Patient, decoder: Decodes) -> None:
        self.folder = folder
        self._decoder, self._animal = decoder, animal
        self._visit = Visit(kind=visit.kind, on=visit.on)
        self._lock = threading.RLock()
        self._heard: dict[str, _Heard] = {}
        self._speaking = ""
        self._last: deque[str] = deque(maxlen=_UTTERANCES)
        self._levels = Levels()
        self._shown: dict[str, Any] = {}
        self._watchers: set[Callable[[], None]] = set()
        self._microphone: Source | None = None
        self._trouble = ""
        self._ending: threading.Thread | None = None
        self._file = _read(folder, visit)
        self._understand()
        if self._file.state != "ended":
            for name in list(self._file.streams):
                self._listen_to(name)

    @property
    def state(self) -> State:
        """Whether it goes on, its last words are being settled, or its draft is kept."""
        return self._file.state

    @property
    def record_id(self) -> str | None:
        """The draft, once it is kept."""
        return self._file.record_id

    def watch(self, changed: Callable[[], None]) -> Callable[[], None]:
        """Be told of news, in any thread, until what is given back is called."""
        self._watchers.add(changed)
        return lambda: self._watchers.discard(changed)

    def news(self) -> dict[str, Any]:
        """All there is to show, by parts; a page takes those that differ from what it shows."""
        with self._lock:
            heard = list(self._heard.values())
            trouble = self._trouble or next((one.ear.trouble for one in heard if one.ear.trouble), "")
            return {
                "room": {
                    "state": self._file.state,
                    "record": self._file.record_id,
                    "server_microphone": self._microphone is not None,
                    "trouble": trouble,
                },
                "heard": {"said": list(self._last), "speaking": self._speaking},
                "level": {"dbfs": round(self._levels.now_dbfs), "fault": self._levels.fault},
                "waits_s": round(sum(one.ear.load.sound_s for one in heard)),
                "record": self._shown,
            }

    def open_stream(self, name: str, rate_hz: int, source: str) -> int:
        """Begin a stream, or go on with it, and give how many of its samples are safe. Raises RoomError, CaptureError."""
        with self._lock:
            self._must_be_open()
            known = self._file.streams.get(name)
            if known is None:
                if rate_hz not in RATES_HZ or len(self._file.streams) >= _MOST_STREAMS:
                    raise RoomError(f"Sound of {rate_hz} samples a second cannot be taken.")
                for one in self._heard.values():
                    one.ear.interrupt()
                folder = f"{len(self._file.streams) + 1:03d}"
                self._file.streams[name] = StreamFile(folder=folder, rate_hz=rate_hz, source=source)
                self._write()
            if name not in self._heard:
                self._listen_to(name)
            return self._heard[name].stream.sync()

    def take(self, name: str, piece: Piece) -> int:
        """Take a piece of an open stream and give how many of its samples are safe. Raises RoomError, CaptureError."""
        heard = self._heard.get(name)
        if heard is None:
            self._must_be_open()
            raise RoomError("This sound was not announced.")
        safe = heard.stream.take(piece)
        heard.ear.wake()
        return safe

    def pause(self, name: str) -> int:
        """Nothing more comes for now: settle what was said, and give how many samples are safe. Raises CaptureError."""
        heard = self._heard.get(name)
        if heard is None:
            return 0
        safe = heard.stream.sync()
        heard.ear.interrupt()
        return safe

    def use_microphone(self, source: Source | None = None) -> None:
        """Listen to the server's own microphone. Raises CaptureError when there is none, RoomError."""
        with self._lock:
            self._must_be_open()
            if self._microphone is not None:
                return
            source = source or Microphone()
            name = f"server-{len(self._file.streams) + 1:03d}"
            self.open_stream(name, source.rate_hz, source.name)
            self._microphone = source
        threading.Thread(target=self._record, args=(name, source), name="microphone", daemon=True).start()
        self._tell()

    def rest_microphone(self) -> None:
        """Listen to the server's own microphone no more."""
        with self._lock:
            source, self._microphone = self._microphone, None
        if source is not None:
            source.stop()
            self._tell()

    def end(self, database: Database, actor: Actor, at: Callable[[], datetime]) -> None:
        """Settle the last words, keep the draft and the recordings, once; returns at once and tells by `news`."""
        self.rest_microphone()
        with self._lock:
            if self._file.state == "ended" or self._ending is not None:
                return
            self._file.state, self._file.ended_by = "ending", self._file.ended_by or actor
            self._write()
            self._ending = threading.Thread(target=self._end, args=(database, at), name="ending", daemon=True)
            self._ending.start()
        self._tell()

    def go_on_ending(self, database: Database, at: Callable[[], datetime]) -> None:
        """Finish an end that a program did not come to."""
        if self._file.state == "ending" and self._file.ended_by is not None:
            self.end(database, self._file.ended_by, at)

    def leave(self) -> None:
        """Let go of it so that it can be opened again."""
        self.rest_microphone()
        for one in list(self._heard.values()):
            one.ear.leave()
            one.stream.let_go()
        self._heard.clear()

    def _record(self, name: str, source: Source) -> None:
        position = self._heard[name].stream.heard
        lost_ms = 0
        try:
            for item in source.blocks():
                if isinstance(item, Interruption):
                    self._trouble = f"{item.reason}." if item.lasts else ""
                    lost_ms = max(1, round(item.lost_s * 1000))
                    self._tell()
                    continue
                self._trouble = ""
                self.take(name, Piece(position, item.samples, lost_ms))
                position += len(item.samples)
                lost_ms = 0
            self.pause(name)
        except (CaptureError, RoomError, KeyError) as error:
            self._trouble = str(error)
            self.rest_microphone()
        self._tell()

    def _end(self, database: Database, at: Callable[[], datetime]) -> None:
        try:
            self._keep(database, at)
            self._trouble = ""
        except Exception as error:  # noqa: BLE001 - told, and tried again when it is asked for
            self._trouble = f"{error}"
        self._ending = None
        self._tell()

    def _keep(self, database: Database, at: Callable[[], datetime]) -> None:
        actor = self._file.ended_by
        assert actor is not None  # noqa: S101 - see end
        for one in self._heard.values():
            one.ear.close()
        transcript = self.transcript()
        visit = self._file.visit
        # The draft may have been kept by a program that ended before it could note that.
        past = visits_of(database, actor, visit.patient_id)
        record_id = next((one.record_id for one in past if one.visit_id == visit.id), None)
        if record_id is None:
            understood = understand(transcript, self._animal, self._visit)
            record_id = keep_record(database, actor, visit.id, understood, at()).id
        for name, one in list(self._heard.items()):
            self._store(database, actor, name, one, at())
        with self._lock:
            self._heard.clear()
            self._file.record_id, self._file.state = record_id, "ended"
            self._write()

    def _store(self, database: Database, actor: Actor, name: str, one: _Heard, at: datetime) -> None:
        seconds = one.ear.duration_s
        if not seconds:
            one.stream.let_go()
            return
        one.stream.close()
        folder = self.folder / self._file.streams[name].folder
        lock = hold(folder)
        try:
            digest = pack(folder)
        finally:
            lock.release()
        visit_id = self._file.visit.id
        path = (folder / "recording.flac").relative_to(self.folder.parent).as_posix()
        if all(kept.path != path for kept in recordings_of(database, actor, visit_id)):
            add_recording(database, actor, visit_id, path, digest, seconds, at)

    def transcript(self) -> Transcript:
        """All that is settled so far, on the clock of the streams one after the other."""
        with self._lock:
            heard = list(self._heard.values())
        parts, length_s = [], 0.0
        for one in heard:
            parts.append((length_s, one.ear.transcript()))
            length_s += one.ear.duration_s
        return join(parts, duration_s=length_s)

    def _listen_to(self, name: str) -> None:
        about = self._file.streams[name]
        stream = Stream(self.folder / about.folder, rate_hz=about.rate_hz, source=about.source)
        terms = partial(terms_for, self._animal, self._visit)
        ear = Ear(stream, self._decoder, terms=terms, mending=MENDING, tell=self._take_in)
        self._heard[name] = _Heard(stream, ear)

    def _take_in(self, event: Speaking | Said | Levels) -> None:
        if isinstance(event, Levels):
            self._levels = event
        elif isinstance(event, Speaking):
            self._speaking = event.text
        else:
            self._speaking = ""
            if event.transcript.text:
                self._last.append(event.transcript.text)
                self._understand()
        self._tell()

    def _understand(self) -> None:
        record: ExamRecord = understand(self.transcript(), self._animal, self._visit)
        self._shown = record_shown(record, load_lexicon())

    def _must_be_open(self) -> None:
        if self._file.state != "open":
            raise RoomError("This examination was ended. What was not sent before stays in the browser.")

    def _tell(self) -> None:
        for changed in tuple(self._watchers):
            changed()

    def _write(self) -> None:
        _write(self.folder, self._file)


def _read(folder: Path, visit: KeptVisit) -> RoomFile:
    path = folder / _NAME
    if path.is_file():
        found = RoomFile.model_validate_json(path.read_text("utf-8"))
        if found.visit.id != visit.id:
            raise RoomError(f"{path} is of another visit. Look at what was done to that folder.")
        return found
    fresh = RoomFile(visit=visit)
    folder.mkdir(parents=True, exist_ok=True)
    _write(folder, fresh)
    return fresh


def _write(folder: Path, file: RoomFile) -> None:
    part = folder / f"{_NAME}.part"
    part.write_text(file.model_dump_json(), "utf-8")
    part.replace(folder / _NAME)
