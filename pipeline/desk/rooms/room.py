"""One examination that goes on: its streams, what is understood of them, what there is to show, and its end as a draft.

A room lies in a folder: `examination.json` says whose it is and how far, and every stream has a folder of its own in it. Any
process that opens the folder goes on where the last one ended.
"""

from __future__ import annotations

import contextlib
import logging
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

from lexicon import load_lexicon
from pipeline.capture import CaptureError, Microphone, Source, is_ended
from pipeline.capture.levels import Levels
from pipeline.capture.sources import Interruption
from pipeline.desk.rooms.ear import Ear
from pipeline.desk.rooms.file import RoomError, State, StreamFile, room_of, write_room
from pipeline.desk.rooms.keeping import keep_draft, keep_recordings
from pipeline.desk.rooms.pieces import Piece
from pipeline.desk.rooms.showing import record_shown
from pipeline.desk.rooms.stream import RATES_HZ, Stream
from pipeline.desk.texts import say
from pipeline.exam import MENDING, terms_for, understand
from pipeline.listening import Said, Speaking
from pipeline.listening.hearing import Decodes
from pipeline.record import Patient, Visit
from pipeline.speech import Transcript
from pipeline.speech.joining import join
from pipeline.store import Actor, Database, KeptVisit

log = logging.getLogger("rostral.desk")

_UTTERANCES = 3
_MOST_STREAMS = 999


@dataclass
class _Heard:
    stream: Stream
    ear: Ear


class Room:
    """An examination in `folder`. Everything may be called from any thread.

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
        self._understood: Transcript | None = None
        self._shown: dict[str, Any] = {}
        self._watchers: set[Callable[[], None]] = set()
        self._microphone: Source | None = None
        self._trouble = ""
        self._ending: threading.Thread | None = None
        self._leaving = False
        self._file = room_of(folder, visit)
        self._understand()
        if self._file.state != "ended":
            for name, about in self._file.streams.items():
                # One that was ended before is heard already, and its words are in the draft.
                if not is_ended(folder / about.folder):
                    self._listen_to(name)

    @property
    def state(self) -> State:
        """Whether it goes on, its last words are being settled, or its draft is kept."""
        return self._file.state

    @property
    def record_id(self) -> str | None:
        """The draft, once it is kept."""
        return self._file.record_id

    @property
    def watched(self) -> bool:
        """Whether anybody is told of news."""
        return bool(self._watchers)

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
                "length_s": int(sum(one.ear.duration_s for one in heard)),
                "record": self._shown,
            }

    def open_stream(self, name: str, rate_hz: int, source: str) -> int:
        """Begin a stream, or go on with it, and give how many of its samples are safe. Raises RoomError, CaptureError."""
        with self._lock:
            self._must_be_open()
            known = self._file.streams.get(name)
            if known is None:
                if rate_hz not in RATES_HZ or len(self._file.streams) >= _MOST_STREAMS:
                    raise RoomError(say("room.no_such_sound", rate=rate_hz))
                for one in self._heard.values():
                    one.ear.interrupt()
                folder = f"{len(self._file.streams) + 1:03d}"
                self._file.streams[name] = StreamFile(folder=folder, rate_hz=rate_hz, source=source)
                write_room(self.folder, self._file)
            elif known.rate_hz != rate_hz:
                raise RoomError(say("room.no_such_sound", rate=rate_hz))
            heard = self._heard.get(name)
            if heard is None:
                self._listen_to(name)
            elif heard.ear.trouble:
                self._listen_again(name, heard)
            return self._heard[name].stream.sync()

    def take(self, name: str, piece: Piece) -> int:
        """Take a piece of an open stream and give how many of its samples are safe. Raises RoomError, CaptureError."""
        self._must_be_open()
        heard = self._heard.get(name)
        if heard is None:
            raise RoomError(say("room.not_announced"))
        safe = heard.stream.take(piece)
        heard.ear.wake()
        return safe

    def sync(self, name: str, *, over: bool = False) -> int:
        """Force a stream to the disk and give how many samples are safe; `over`, nothing more comes for now.

        Raises CaptureError.
        """
        heard = self._heard.get(name)
        if heard is None:
            return 0
        safe = heard.stream.sync()
        if over:
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
        """Settle the last words, keep the draft and the recordings, once; returns at once and tells by `news`.

        What could not be done is told, and tried again when this is called again.
        """
        self.rest_microphone()
        with self._lock:
            if self._file.state == "ended" or self._ending is not None or self._leaving:
                return
            self._file.state, self._file.ended_by = "ending", self._file.ended_by or actor
            write_room(self.folder, self._file)
            for name, one in list(self._heard.items()):
                if one.ear.trouble:
                    self._listen_again(name, one)
            self._ending = threading.Thread(target=self._end, args=(database, at), name="ending", daemon=True)
            self._ending.start()
        self._tell()

    def go_on_ending(self, database: Database, at: Callable[[], datetime]) -> None:
        """Finish an end that a program did not come to."""
        if self._file.state == "ending" and self._file.ended_by is not None:
            self.end(database, self._file.ended_by, at)

    def leave(self) -> None:
        """Let go of it so that it can be opened again; an end that is not done is done then."""
        self.rest_microphone()
        with self._lock:
            self._leaving = True
            heard, ending = list(self._heard.values()), self._ending
        for one in heard:
            one.ear.leave()
        if ending is not None:
            ending.join()
        for one in heard:
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
            self.sync(name, over=True)
        except (CaptureError, RoomError) as error:
            # A block may come when the examination is just over.
            self._trouble = str(error) if self._file.state == "open" and not self._leaving else ""
        self.rest_microphone()
        self._tell()

    def _end(self, database: Database, at: Callable[[], datetime]) -> None:
        try:
            self._keep(database, at)
            self._trouble = ""
        except Exception as error:
            # Told, and tried again when it is asked for.
            if not self._leaving:
                log.exception("the examination in %s could not be ended", self.folder)
            self._trouble = str(error)
        self._ending = None
        self._tell()

    def _keep(self, database: Database, at: Callable[[], datetime]) -> None:
        actor, visit = self._file.ended_by, self._file.visit
        assert actor is not None  # noqa: S101 - see end
        for one in self._heard.values():
            one.ear.close()
            # A draft of half of what was said would look like a whole one.
            if not one.ear.settled:
                raise RoomError(one.ear.trouble or say("room.not_settled"))
        record_id = keep_draft(database, actor, visit, self._animal, self.transcript(), at())
        for one in self._heard.values():
            if one.stream.heard:
                one.stream.close()
            else:
                one.stream.let_go()
        folders = [self.folder / about.folder for about in self._file.streams.values()]
        keep_recordings(database, actor, visit, filter(is_ended, folders), self.folder.parent, at)
        with self._lock:
            self._heard.clear()
            self._file.record_id, self._file.state = record_id, "ended"
            write_room(self.folder, self._file)

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
        self._heard[name] = _Heard(stream, self._new_ear(stream))
        self._heard[name].ear.begin()

    def _listen_again(self, name: str, failed: _Heard) -> None:
        failed.ear.close()
        self._heard[name] = _Heard(failed.stream, self._new_ear(failed.stream))
        self._heard[name].ear.begin()

    def _new_ear(self, stream: Stream) -> Ear:
        terms = partial(terms_for, self._animal, self._visit)
        return Ear(stream, self._decoder, terms=terms, mending=MENDING, tell=self._take_in)

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
        transcript = self.transcript()
        # The clock runs on also where nothing is said.
        if self._understood is None or transcript.words != self._understood.words:
            self._understood = transcript
            self._shown = record_shown(understand(transcript, self._animal, self._visit), load_lexicon())

    def _must_be_open(self) -> None:
        if self._file.state != "open" or self._leaving:
            raise RoomError(say("room.ended"))

    def _tell(self) -> None:
        for changed in tuple(self._watchers):
            with contextlib.suppress(RuntimeError):
                # Whoever watched may just be gone with its loop.
                changed()
