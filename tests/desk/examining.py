"""What tests of the exam room need: a patient on the table, a sample as microphone, a desk to be killed, a cable to be cut."""

from __future__ import annotations

import base64
import contextlib
import itertools
import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.request
import wave
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from desks import DOG, Practice
from numpy.typing import NDArray
from playwright.sync_api import BrowserContext, Page, expect

from pipeline.capture import read_audio, read_folder
from pipeline.record import Owner, Patient
from pipeline.record.model import VisitKind
from pipeline.store import KeptVisit, add_client, add_patient, open_visit

ROOT = Path(__file__).parents[2]
LONG_MS = 120_000
"""How long a page is waited for: machines that test are busy."""


def on_the_table(practice: Practice, kind: VisitKind = "vaccination", animal: Patient = DOG) -> KeptVisit:
    """A visit of a new patient, begun by the nurse."""
    database, nurse, at = practice.database, practice.people["nurse"], practice.clock()
    owner = add_client(database, nurse, Owner(name="Cass Orrin", phone="555 0101"), at)
    kept = add_patient(database, nurse, animal, owner.id, at)
    return open_visit(database, nurse, kept.id, kind, at)


def as_microphone(sample: Path, folder: Path, seconds: float | None = None) -> str:
    """The argument by which Chromium plays the beginning of a sample, once, as its microphone."""
    pcm = read_audio(sample).pcm
    if seconds is not None:
        pcm = pcm[: round(seconds * 16_000)]
    path = folder / "spoken.wav"
    with wave.open(str(path), "wb") as made:
        made.setnchannels(1)
        made.setsampwidth(2)
        made.setframerate(16_000)
        made.writeframes(pcm.tobytes())
    return f"--use-file-for-fake-audio-capture={path}%noloop"


class Heard:
    """Every piece that the sound thread of each loaded page hands over, in order, and how many of them the page knew to be kept."""

    def __init__(self, context: BrowserContext) -> None:
        self._made: list[list[bytes]] = []
        self._kept: list[int] = []
        context.expose_binding("pageLoaded", lambda _: self._loaded())
        context.expose_binding("pieceMade", lambda _, data: self._made[-1].append(base64.b64decode(data)))
        context.expose_binding("pieceKept", lambda _: self._count())
        context.add_init_script("""
            pageLoaded();
            const text = (buffer) => btoa(String.fromCharCode(...new Uint8Array(buffer)));
            const Node = window.AudioWorkletNode;
            window.AudioWorkletNode = class extends Node {
              constructor(...given) {
                super(...given);
                this.port.addEventListener("message", ({ data }) => data.buffer && pieceMade(text(data.buffer)));
              }
            };
            const put = IDBObjectStore.prototype.put;
            IDBObjectStore.prototype.put = function (value, key) {
              if (this.name === "pieces") this.transaction.addEventListener("complete", () => pieceKept());
              return put.call(this, value, key);
            };
        """)

    @property
    def length(self) -> int:
        """Samples that were made."""
        return sum(len(piece) for made in self._made for piece in made) // 2

    def is_all_of(self, sound: NDArray[np.int16]) -> bool:
        """Whether a recording is all that was made, each once; of a page that went away, at least all that it knew to be kept."""
        pages = [made for made in self._made if made]
        known = [kept for made, kept in zip(self._made, self._kept, strict=True) if made]
        least = [*known[:-1], len(pages[-1])]
        ends = [range(kept, len(made) + 1) for made, kept in zip(pages, least, strict=True)]
        return any(
            b"".join(b"".join(made[:end]) for made, end in zip(pages, chosen, strict=True)) == sound.tobytes()
            for chosen in itertools.product(*ends)
        )

    def _loaded(self) -> None:
        self._made.append([])
        self._kept.append(0)

    def _count(self) -> None:
        self._kept[-1] += 1


def recorded(practice: Practice, visit: KeptVisit) -> NDArray[np.int16]:
    """The sound of a visit that is over, as it was kept: its streams one after the other."""
    folder = practice.desk.options.recordings / visit.id
    contents = [read_folder(stream) for stream in sorted(folder.glob("[0-9][0-9][0-9]"))]
    assert [content.faults for content in contents] == [()] * len(contents)
    assert all(content.vouched == len(content.pcm) for content in contents)
    return np.concatenate([content.pcm for content in contents])


def begin(page: Page, address: str, visit: KeptVisit) -> None:
    """Into the room, and listen with the space bar."""
    page.goto(f"{address}/room/{visit.id}")
    expect(page.locator("#go")).to_be_enabled(timeout=LONG_MS)
    page.keyboard.press("Space")
    listening(page)


def listening(page: Page) -> None:
    expect(page.locator("#room[data-state=on]")).to_have_count(1, timeout=LONG_MS)


def paused(page: Page) -> None:
    expect(page.locator("#room[data-state=paused]")).to_have_count(1, timeout=LONG_MS)


def end(page: Page) -> str:
    """End the examination, whatever is missing, and give the address of its record."""
    page.click("#end")
    missing, over = page.locator("#missing_ask[open]"), page.locator("#room[data-state=ending]")
    expect(missing.or_(over)).to_have_count(1, timeout=LONG_MS)
    if missing.count():
        page.click("#end_now")
    page.wait_for_url("**/records/*", timeout=LONG_MS)
    return page.url


def heard_seconds(page: Page, seconds: int) -> None:
    """Wait until the server has heard so much."""
    page.wait_for_function(
        "(least) => { const [m, s] = document.getElementById('length').textContent.split(':');"
        " return Number(m) * 60 + Number(s) >= least; }",
        arg=seconds,
        timeout=LONG_MS,
    )


class Desk:
    """`rostral serve` as a process of its own, which can be killed and started again at the same address.

    `through` is a command that starts it, such as one that sets its priority.
    """

    def __init__(self, practice: Practice, through: tuple[str, ...] = ()) -> None:
        self._practice, self._through = practice, through
        self._process: subprocess.Popen[bytes] | None = None
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = int(free.getsockname()[1])
        self.address = f"http://127.0.0.1:{self.port}"

    @property
    def process_id(self) -> int:
        assert self._process is not None
        return self._process.pid

    def start(self) -> None:
        options = self._practice.desk.options
        settings = {
            "ROSTRAL_DATABASE": self._practice.database.shown,
            "ROSTRAL_RECORDINGS": str(options.recordings),
            "ROSTRAL_MODEL": options.settings.model,
        }
        self._process = subprocess.Popen(
            [*self._through, sys.executable, "-m", "pipeline.cli", "serve", "--port", str(self.port)],
            cwd=ROOT,
            env={**os.environ, **settings},
            stdout=subprocess.DEVNULL,
        )
        until = time.monotonic() + LONG_MS / 1000
        while not self._answers():
            assert self._process.poll() is None, "the desk ended"
            assert time.monotonic() < until, "the desk does not answer"
            time.sleep(0.1)

    def kill(self) -> None:
        assert self._process is not None
        self._process.send_signal(signal.SIGKILL)
        self._process.wait()

    def stop(self) -> None:
        if self._process is not None and self._process.poll() is None:
            self._process.terminate()
            self._process.wait(60)

    def _answers(self) -> bool:
        with contextlib.suppress(OSError), urllib.request.urlopen(f"{self.address}/healthz", timeout=5):  # noqa: S310
            return True
        return False


@contextmanager
def own_process(practice: Practice) -> Iterator[Desk]:
    desk = Desk(practice)
    desk.start()
    try:
        yield desk
    finally:
        desk.stop()


class Cable:
    """A port that leads to another, until it is cut: then what is open breaks off and nothing new gets through."""

    def __init__(self, port: int) -> None:
        self._to = port
        self._whole = True
        self._ends: set[socket.socket] = set()
        self._lock = threading.Lock()
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.address = f"http://127.0.0.1:{self._listening.getsockname()[1]}"
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self) -> None:
        with self._lock:
            self._whole = False
            for end in self._ends:
                with contextlib.suppress(OSError):
                    end.shutdown(socket.SHUT_RDWR)

    def mend(self) -> None:
        self._whole = True

    def close(self) -> None:
        self.cut()
        self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listening.accept()
            except OSError:
                return
            try:
                far = socket.create_connection(("127.0.0.1", self._to)) if self._whole else None
            except OSError:
                far = None
            if far is None:
                near.close()
                continue
            with self._lock:
                self._ends |= {near, far}
            for one, other in ((near, far), (far, near)):
                threading.Thread(target=self._carry, args=(one, other), daemon=True).start()

    def _carry(self, one: socket.socket, other: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := one.recv(65_536):
                other.sendall(data)
        with contextlib.suppress(OSError):
            other.shutdown(socket.SHUT_RDWR)
        with self._lock:
            self._ends.discard(one)
        one.close()


def port_of(address: str) -> int:
    return int(address.rsplit(":", 1)[1])
