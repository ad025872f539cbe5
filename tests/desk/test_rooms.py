"""Rooms without a browser: what is said becomes a draft, whatever the program, the disk or the recogniser does in between."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from desks import DOG, Practice
from examining import ROOT, on_the_table
from numpy.typing import NDArray

from pipeline.capture import SoundFile, is_ended, read_audio, read_folder
from pipeline.desk.ears import Ears
from pipeline.desk.rooms import Piece, Room, RoomError, Rooms
from pipeline.desk.rooms.file import read_room
from pipeline.desk.rooms.sharing import SharedDecoder
from pipeline.listening.hearing import Decodes, Samples
from pipeline.speech import Heard, Recogniser, SpeechError, SpeechOptions
from pipeline.store import KeptVisit, record_of, recordings_of

Sound = NDArray[np.int16]

RATE_HZ = 16_000
PIECE = 1_600
LONG_S = 120


@pytest.fixture(scope="module")
def sound(samples: Path) -> Sound:
    """Fourteen seconds of a dictation, in which a dog is bright, alert and nervous."""
    return read_audio(samples / "dog_incomplete.ogg").pcm[: 14 * RATE_HZ]


@pytest.fixture
def visit(practice: Practice) -> KeptVisit:
    return on_the_table(practice)


@pytest.fixture
def opened(practice: Practice, tiny_recogniser: Recogniser) -> Iterator[Callable[..., Rooms]]:
    """Gives the rooms of a program that was just started; all are left in the end."""
    made: list[Rooms] = []

    def start(decoder: Decodes | None = None) -> Rooms:
        rooms = Rooms(practice.desk.options.recordings, decoder or tiny_recogniser.decoder)
        made.append(rooms)
        return rooms

    yield start
    for rooms in made:
        rooms.leave()


def pieces(sound: Sound) -> list[Piece]:
    return [Piece(first, sound[first : first + PIECE]) for first in range(0, len(sound), PIECE)]


def until(room: Room, so: Callable[[], bool]) -> None:
    """Wait for news after which something is so."""
    changed = threading.Event()
    leave = room.watch(changed.set)
    while not so():
        assert changed.wait(LONG_S), room.news()
        changed.clear()
    leave()


def end(practice: Practice, room: Room) -> str:
    room.end(practice.database, practice.people["vet"], practice.clock)
    until(room, lambda: room.state == "ended")
    assert room.record_id is not None
    return room.record_id


def said(practice: Practice, record_id: str) -> str:
    kept = record_of(practice.database, practice.people["vet"], record_id)
    assert kept.review is not None
    return kept.review.original.transcript.text


def test_what_is_said_is_shown_and_becomes_a_draft(
    practice: Practice,
    visit: KeptVisit,
    opened: Callable[..., Rooms],
    sound: Sound,
) -> None:
    room = opened().room(visit, DOG)
    room.open_stream("one", RATE_HZ, "a test")
    for piece in pieces(sound):
        room.take("one", piece)
    assert room.sync("one", over=True) == len(sound)
    until(room, lambda: any(one["findings"] for one in room.news()["record"]["systems"]))
    record_id = end(practice, room)
    assert "nervous" in said(practice, record_id)
    [kept] = recordings_of(practice.database, practice.people["vet"], visit.id)
    assert kept.duration_s == pytest.approx(14)
    with pytest.raises(RoomError, match="ended"):
        room.open_stream("one", RATE_HZ, "a test")


def test_a_room_that_is_left_goes_on_with_the_words_it_had(
    practice: Practice,
    visit: KeptVisit,
    opened: Callable[..., Rooms],
    sound: Sound,
) -> None:
    """Nothing is heard twice; pieces that come again are taken once; the draft has the whole."""
    rooms = opened()
    room = rooms.room(visit, DOG)
    room.open_stream("one", RATE_HZ, "a test")
    for piece in pieces(sound)[:80]:
        room.take("one", piece)
    until(room, lambda: bool(room.news()["heard"]["said"]))
    rooms.leave()
    with pytest.raises(RoomError):
        room.take("one", pieces(sound)[80])
    before = read_words_of(practice, visit)
    assert before
    room = opened().room(visit, DOG)
    safe = room.open_stream("one", RATE_HZ, "a test")
    assert safe == 80 * PIECE
    until(room, lambda: bool(room.news()["heard"]["said"]))
    for piece in pieces(sound)[60:]:
        room.take("one", piece)
    record_id = end(practice, room)
    assert said(practice, record_id).startswith(before[0])
    folder = practice.desk.options.recordings / visit.id / "001"
    assert np.array_equal(read_folder(folder).pcm, sound)


def read_words_of(practice: Practice, visit: KeptVisit) -> list[str]:
    from pipeline.listening import read_words  # noqa: PLC0415 - only here

    folder = practice.desk.options.recordings / visit.id / "001"
    return [one.transcript.text for one in read_words(folder, model="tiny.en") if one.transcript.text]


class Broken:
    """A recogniser that fails until it is mended; all else is the real one's."""

    def __init__(self, real: Decodes) -> None:
        self.real, self.broken = real, True

    @property
    def options(self) -> SpeechOptions:
        return self.real.options

    def decode(
        self,
        sounds: Sequence[Samples],
        *,
        terms: Sequence[str] = (),
        beam_size: int | None = None,
        look_again: bool = True,
    ) -> list[Heard | None]:
        if self.broken:
            raise SpeechError("The speech model failed: out of memory.")
        return self.real.decode(sounds, terms=terms, beam_size=beam_size, look_again=look_again)

    def weigh(self, sound: Samples, texts: Sequence[str], terms: Sequence[str]) -> list[float]:
        return self.real.weigh(sound, texts, terms)

    def fit_terms(self, terms: Sequence[str]) -> tuple[str, ...]:
        return self.real.fit_terms(terms)


def test_no_draft_is_made_of_half_of_what_was_said(
    practice: Practice,
    visit: KeptVisit,
    opened: Callable[..., Rooms],
    sound: Sound,
    tiny_recogniser: Recogniser,
) -> None:
    """The recogniser fails: the sound is kept, the trouble told, and the end waits until it is asked for again."""
    decoder = Broken(tiny_recogniser.decoder)
    room = opened(decoder).room(visit, DOG)
    room.open_stream("one", RATE_HZ, "a test")
    for piece in pieces(sound):
        room.take("one", piece)
    assert room.sync("one", over=True) == len(sound)
    until(room, lambda: "out of memory" in room.news()["room"]["trouble"])
    room.end(practice.database, practice.people["vet"], practice.clock)
    until(room, lambda: room.state == "ending" and room._ending is None)
    assert "out of memory" in room.news()["room"]["trouble"]
    decoder.broken = False
    assert "nervous" in said(practice, end(practice, room))
    assert room.news()["room"]["trouble"] == ""


def test_an_end_that_is_cut_off_is_finished_at_the_next_start(
    practice: Practice,
    visit: KeptVisit,
    opened: Callable[..., Rooms],
    sound: Sound,
) -> None:
    """The program is closed in the middle of an end: no draft of a part, and the whole one after the next start, once."""
    rooms = opened()
    room = rooms.room(visit, DOG)
    room.open_stream("one", RATE_HZ, "a test")
    for piece in pieces(sound):
        room.take("one", piece)
    room.end(practice.database, practice.people["vet"], practice.clock)
    rooms.leave()
    again = opened()
    again.finish(practice.database, practice.clock)
    room = again.room(visit, DOG)
    until(room, lambda: room.state == "ended")
    assert room.record_id is not None
    assert "nervous" in said(practice, room.record_id)
    again.finish(practice.database, practice.clock)
    assert len(recordings_of(practice.database, practice.people["vet"], visit.id)) == 1


KILLED = """
import sys, os, signal
from pathlib import Path
sys.path[:0] = [{tests!r}]
import pipeline.desk.rooms.keeping as keeping, pipeline.desk.rooms.room as module
from desks import DOG
from pipeline.store import Database, Actor, visit_of
from pipeline.store.stamps import now
from pipeline.desk.rooms import Rooms
from pipeline.speech import Recogniser, SpeechOptions

def killed(*given, **more):
    os.kill(os.getpid(), signal.SIGKILL)

setattr({where}, {name!r}, killed)
database = Database(Path({database!r}))
actor = Actor.model_validate_json({actor!r})
rooms = Rooms(Path({folder!r}), Recogniser(SpeechOptions(model="tiny.en", device="cpu")).decoder)
room = rooms.room(visit_of(database, actor, {visit!r}), DOG)
room.end(database, actor, now)
room._ending.join()
"""


@pytest.mark.parametrize(
    ("where", "name"),
    [
        ("module", "keep_draft"),
        ("module", "keep_recordings"),
        ("keeping", "add_recording"),
        ("module", "write_room"),
    ],
)
def test_a_kill_at_any_step_of_the_end_loses_and_doubles_nothing(
    practice: Practice,
    visit: KeptVisit,
    opened: Callable[..., Rooms],
    sound: Sound,
    where: str,
    name: str,
) -> None:
    """SIGKILL before the draft is kept, after it, after the recording was packed, before the state is noted."""
    rooms = opened()
    room = rooms.room(visit, DOG)
    room.open_stream("one", RATE_HZ, "a test")
    for piece in pieces(sound):
        room.take("one", piece)
    room.sync("one", over=True)
    rooms.leave()
    script = KILLED.format(
        tests=str(ROOT / "tests" / "desk"),
        where=where,
        name=name,
        database=practice.database.shown,
        actor=practice.people["vet"].model_dump_json(),
        folder=str(practice.desk.options.recordings),
        visit=visit.id,
    )
    done = subprocess.run([sys.executable, "-c", script], cwd=ROOT, env=dict(os.environ), check=False)
    assert done.returncode == -signal.SIGKILL
    again = opened()
    again.finish(practice.database, practice.clock)
    room = again.room(visit, DOG)
    if name == "write_room":
        # It was killed before it could note that it ends: whoever ended it does so again.
        assert room.state == "open"
        end(practice, room)
    until(room, lambda: room.state == "ended")
    vet = practice.people["vet"]
    assert room.record_id is not None
    assert "nervous" in said(practice, room.record_id)
    assert len(recordings_of(practice.database, vet, visit.id)) == 1
    folder = practice.desk.options.recordings / visit.id
    assert is_ended(folder / "001")
    assert np.array_equal(read_folder(folder / "001").pcm, sound)
    file = read_room(folder)
    assert file is not None
    assert file.record_id == room.record_id


def test_two_devices_make_one_record_and_one_recording_of_both(
    practice: Practice,
    visit: KeptVisit,
    opened: Callable[..., Rooms],
    sound: Sound,
) -> None:
    """The tablet's battery is empty and the telephone goes on: words of both, in order, and times that fit the joined sound."""
    room = opened().room(visit, DOG)
    half = 70 * PIECE
    for name, part in (("tablet", sound[:half]), ("telephone", sound[half:])):
        room.open_stream(name, RATE_HZ, name)
        for piece in pieces(part):
            room.take(name, piece)
        room.sync(name, over=True)
    record_id = end(practice, room)
    vet = practice.people["vet"]
    kept = record_of(practice.database, vet, record_id)
    assert kept.review is not None
    transcript = kept.review.original.transcript
    assert transcript.words[-1].end_s is not None
    assert transcript.words[-1].end_s > half / RATE_HZ
    whole = max(recordings_of(practice.database, vet, visit.id), key=lambda one: one.duration_s)
    assert whole.duration_s == pytest.approx(transcript.duration_s, abs=0.01)
    joined = read_audio(practice.desk.options.recordings / whole.path)
    assert np.array_equal(joined.pcm, sound)


def test_the_desks_own_microphone(
    practice: Practice, visit: KeptVisit, opened: Callable[..., Rooms], samples: Path
) -> None:
    """A sound file plays the microphone; it is heard until it rests."""
    room = opened().room(visit, DOG)
    room.use_microphone(SoundFile(samples / "dog_incomplete.ogg", speed=4))
    assert room.news()["room"]["server_microphone"] is True
    until(room, lambda: any(value["kind"] == "weight" for value in room.news()["record"]["values"]))
    room.rest_microphone()
    assert room.news()["room"]["server_microphone"] is False
    assert "nervous" in said(practice, end(practice, room))


def test_who_comes_first_is_heard_first_and_passing_words_wait_for_nobody(
    tiny_recogniser: Recogniser,
) -> None:
    made: list[int] = []

    def make() -> Decodes:
        made.append(1)
        return tiny_recogniser.decoder

    shared = SharedDecoder(make)
    quiet = np.zeros(RATE_HZ, np.float32)
    order: list[str] = []

    def ask(name: str) -> None:
        shared.decode([quiet])
        order.append(name)

    with shared.turn():
        waiting = [threading.Thread(target=partial(ask, name)) for name in "abc"]
        for count, one in enumerate(waiting, 2):
            one.start()
            while shared.waiting < count:
                threading.Event().wait(0.001)
        assert shared.decode([quiet], beam_size=1, look_again=False) == [None]
    for one in waiting:
        one.join(LONG_S)
    assert order == ["a", "b", "c"]
    assert made == [1]


def test_the_model_is_loaded_once_for_rooms_and_for_what_is_said_again(practice: Practice) -> None:
    ears = Ears(practice.desk.options.settings)
    ears.decoder.decode([np.zeros(RATE_HZ, np.float32)])
    with ears.lent() as first:
        pass
    with ears.lent() as second:
        assert second is first
