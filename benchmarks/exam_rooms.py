"""The exam room as it is used: how soon findings stand on the page, what the page weighs, and many rooms at once.

    python benchmarks/exam_rooms.py page [SAMPLE] [--model base] [--ahead]
    python benchmarks/exam_rooms.py many [SAMPLE] [--rooms 8] [--seconds 120] [--ahead]

`page` plays a dictation as the microphone of the system's Chromium, in front of `rostral serve` in a process of its own, and tells
how long after the last sound of each utterance its words and findings stood in the page, by the clock of its sound. `many` streams
the dictation into several rooms at once in real time, as their pages do, and tells how long acknowledgements took, how far hearing
was behind, the server's memory, and how long after the end the drafts were kept.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx2
import numpy as np
import psutil
from numpy.typing import NDArray

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "desk"), str(ROOT / "tests" / "store")]

from browsers import chromium, enter  # noqa: E402 - the way to it is laid above
from desks import PASSWORD, Practice, new_practice  # noqa: E402
from examining import Desk, as_microphone, begin, end, on_the_table, recorded  # noqa: E402
from playwright.sync_api import Page  # noqa: E402
from websockets.exceptions import ConnectionClosed  # noqa: E402
from websockets.sync.client import connect  # noqa: E402

from pipeline.capture import SAMPLE_RATE_HZ, Resampler, read_audio  # noqa: E402
from pipeline.capture.levels import AutomaticGain, LevelMeter  # noqa: E402
from pipeline.capture.model import to_floats  # noqa: E402
from pipeline.desk.rooms import Piece, write_piece  # noqa: E402
from pipeline.listening import read_words  # noqa: E402
from pipeline.listening.endpoints import Endpoints  # noqa: E402
from pipeline.settings import Settings  # noqa: E402
from pipeline.speech.voice import VoiceDetector  # noqa: E402
from pipeline.store import Database, KeptVisit  # noqa: E402

_PIECE = SAMPLE_RATE_HZ // 10
_NEAR_S = 0.4

_WATCH = """
window.pieces = [];
window.shown = [];
const Node = window.AudioWorkletNode;
window.AudioWorkletNode = class extends Node {
  constructor(...given) {
    super(...given);
    this.port.addEventListener("message", ({ data }) => data.buffer && pieces.push([data.buffer.byteLength / 2, Date.now()]));
  }
};
addEventListener("DOMContentLoaded", () => {
  const now = document.getElementById("now");
  const before = document.getElementById("before");
  if (!now) return;
  const look = () => {
    const text = now.classList.contains("passing") ? before.textContent : now.textContent;
    if (text && shown.at(-1)?.[0] !== text) shown.push([text, Date.now()]);
  };
  const watch = new MutationObserver(look);
  for (const place of [now, before]) {
    watch.observe(place, { childList: true, characterData: true, subtree: true, attributes: true });
  }
});
"""


def main() -> None:
    """Measure what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", choices=("page", "many"))
    parser.add_argument("sample", nargs="?", default="dog_chatty.flac")
    parser.add_argument("--model", default="base")
    parser.add_argument("--rooms", type=int, default=8)
    parser.add_argument("--seconds", type=float, default=120)
    parser.add_argument(
        "--ahead",
        action="store_true",
        help="the server before all other programs: a busy machine measures its load",
    )
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="rostral-rooms-") as name:
        database = Database(Path(name) / "kept.sqlite")
        try:
            made = new_practice(database, Path(name) / "data")
            options = replace(made.desk.options, settings=Settings(model=asked.model))
            practice = replace(made, desk=replace(made.desk, options=options))
            sample = ROOT / "audio_samples" / asked.sample
            through = ("chrt", "--rr", "10") if asked.ahead else ()
            with _serving(practice, through) as desk:
                if asked.what == "page":
                    _page(practice, desk, sample, Path(name))
                else:
                    _many(practice, desk, read_audio(sample).pcm, asked.rooms, asked.seconds)
        finally:
            database.close()


@contextmanager
def _serving(practice: Practice, through: tuple[str, ...]) -> Iterator[Desk]:
    desk = Desk(practice, through)
    desk.start()
    try:
        yield desk
    finally:
        desk.stop()


# --- one page in a browser ---------------------------------------------------------------------------------------------


def _page(practice: Practice, desk: Desk, sample: Path, folder: Path) -> None:
    length_s = read_audio(sample).duration_s
    # The model is loaded by whoever is first: that is not what is asked here.
    _warm(practice, desk)
    visit = on_the_table(practice)
    with chromium(as_microphone(sample, folder)) as browser, browser.new_context() as context:
        context.add_init_script(_WATCH)
        page = enter(context, desk.address, "vet")
        _weigh(page, f"{desk.address}/room/{visit.id}")
        begin(page, desk.address, visit)
        page.wait_for_timeout(1000 * (length_s + 4))
        pieces, shown = page.evaluate("[pieces, shown]")
        end(page)
    delays = list(_delays(practice, visit, pieces, shown))
    _say(f"{len(delays)} utterances of {length_s:.0f} s: from the pause to findings on the page", delays)


def _warm(practice: Practice, desk: Desk) -> None:
    visit = on_the_table(practice)
    _Streaming(desk, visit, np.tile(read_audio(ROOT / "audio_samples" / "cat_terse.flac").pcm, 1), 12).run()


def _weigh(page: Page, place: str) -> None:
    painted, weights = [], []
    for _ in range(5):
        page.goto(place, wait_until="networkidle")
        painted.append(
            page.evaluate("performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? 0") / 1000
        )
        weights.append(
            page.evaluate(
                "[...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]"
                ".reduce((sum, one) => sum + one.decodedBodySize, 0)"
            )
        )
    told(f"the page weighs {max(weights) / 1000:.0f} kB; first paint {statistics.median(painted):.2f} s")


def _delays(
    practice: Practice, visit: KeptVisit, pieces: list[tuple[int, float]], shown: list[tuple[str, float]]
) -> Iterator[float]:
    sound = recorded(practice, visit)
    ends = _spoken_until(sound)
    folder = practice.desk.options.recordings / visit.id / "001"
    last = 0
    for said in read_words(folder, model=practice.desk.options.settings.model):
        text = said.transcript.text
        at = next(
            (i for i in range(last, len(shown)) if text and text.endswith(shown[i][0].removeprefix("… "))),
            None,
        )
        fits = [until for stop, until in ends if abs(stop - said.until_s) < _NEAR_S]
        if at is None or not fits:
            continue
        last = at
        yield (shown[at][1] - _heard_at(pieces, fits[0])) / 1000


def _spoken_until(sound: NDArray[np.int16]) -> list[tuple[float, float]]:
    """Where utterances stop and where their last sound is, in seconds: as the ear finds them."""
    voice, endpoints = VoiceDetector(), Endpoints()
    resampler, meter, gain = Resampler(SAMPLE_RATE_HZ), LevelMeter(), AutomaticGain()
    found = []
    for first in range(0, len(sound), _PIECE):
        samples = resampler.push(to_floats(sound[first : first + _PIECE]))
        for stretch in endpoints.push(voice.push(gain.apply(samples, meter.push(samples)))):
            if stretch.ended:
                found.append((stretch.stop / SAMPLE_RATE_HZ, stretch.spoken_until / SAMPLE_RATE_HZ))
    return found


def _heard_at(pieces: list[tuple[int, float]], second: float) -> float:
    """When the browser heard a moment of its sound, in milliseconds of its clock."""
    sample, reached = second * SAMPLE_RATE_HZ, 0
    for samples, at in pieces:
        reached += samples
        if reached >= sample:
            return at - (reached - sample) / SAMPLE_RATE_HZ * 1000
    return pieces[-1][1]


# --- many rooms --------------------------------------------------------------------------------------------------------


def _many(practice: Practice, desk: Desk, sound: NDArray[np.int16], rooms: int, seconds: float) -> None:
    _warm(practice, desk)
    server = psutil.Process(desk.process_id)
    before = server.memory_info().rss / 2**20
    streams = [_Streaming(desk, on_the_table(practice), sound, seconds) for _ in range(rooms)]
    threads = [threading.Thread(target=one.run) for one in streams]
    memory, busy = [], server.cpu_times()
    began = time.monotonic()
    for thread in threads:
        thread.start()
    while any(thread.is_alive() for thread in threads):
        memory.append(server.memory_info().rss / 2**20)
        time.sleep(1)
    spent = server.cpu_times()
    took = time.monotonic() - began
    share = (spent.user + spent.system - busy.user - busy.system) / took
    told(f"{rooms} rooms, {seconds:.0f} s each: {sum(bool(one.fault) for one in streams)} faults")
    for one in streams:
        if one.fault:
            told(f"  {one.fault}")
    _say("acknowledged after", [wait for one in streams for wait in one.acknowledged])
    _say("seconds behind, looked at each second", [behind for one in streams for behind in one.behind])
    _say("from the end to the draft", [one.kept_s for one in streams])
    half = len(memory) // 2
    told(
        f"memory before {before:.0f} MiB, most in the first half {max(memory[:half]):.0f},"
        f" in the second {max(memory[half:]):.0f}"
    )
    told(f"{share:.2f} cores; all over after {took:.0f} s")


class _Streaming:
    """One room's page, without a page: sends a sound in real time and ends the examination."""

    def __init__(self, desk: Desk, visit: KeptVisit, sound: NDArray[np.int16], seconds: float) -> None:
        self._desk, self._visit = desk, visit
        self._sound = np.resize(sound, round(seconds * SAMPLE_RATE_HZ))
        self.acknowledged: list[float] = []
        self.behind: list[float] = []
        self.kept_s = 0.0
        self.fault = ""
        self._sent: dict[int, float] = {}
        self._safe = 0
        self._over = threading.Event()

    def run(self) -> None:
        """From the sign-in to the draft."""
        try:
            with httpx2.Client(base_url=self._desk.address, timeout=60) as client:
                self._examine(client)
        except (OSError, ConnectionClosed, httpx2.HTTPError) as error:
            self.fault = f"{type(error).__name__}: {error}"

    def _examine(self, client: httpx2.Client) -> None:
        token = _token(client.get("/sign-in").text)
        client.post("/sign-in", data={"login": "vet", "password": PASSWORD, "form_token": token})
        token = _token(client.get(f"/room?patient={self._visit.patient_id}").text)
        cookie = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
        address = f"ws://127.0.0.1:{self._desk.port}/room/{self._visit.id}/sound"
        with connect(address, additional_headers={"Cookie": cookie}) as line:
            reader = threading.Thread(target=self._read, args=(line,), daemon=True)
            reader.start()
            about = {"stream": "b-1", "rate_hz": SAMPLE_RATE_HZ, "source": "a measurement", "over": False}
            line.send(json.dumps(about))
            began = time.monotonic()
            for first in range(0, len(self._sound), _PIECE):
                samples = self._sound[first : first + _PIECE]
                reached = first + len(samples)
                time.sleep(max(0.0, began + reached / SAMPLE_RATE_HZ - time.monotonic()))
                self._sent[reached] = time.monotonic()
                line.send(write_piece(Piece(first, samples)))
            line.send(json.dumps(about | {"over": True}))
            ended = time.monotonic()
            until = ended + 30
            while self._safe < len(self._sound):
                if time.monotonic() > until:
                    raise TimeoutError(f"{self._safe} of {len(self._sound)} samples acknowledged")
                time.sleep(0.01)
            client.post(f"/room/{self._visit.id}/end", headers={"X-Form-Token": token}).raise_for_status()
            if not self._over.wait(600):
                raise TimeoutError("no draft")
            self.kept_s = time.monotonic() - ended

    def _read(self, line: Any) -> None:
        looked = 0.0
        for message in line:
            answer = json.loads(message)
            now = time.monotonic()
            if "safe" in answer:
                for reached in [one for one in list(self._sent) if one <= answer["safe"]]:
                    self.acknowledged.append(now - self._sent.pop(reached))
                self._safe = answer["safe"]
            news = answer.get("news", {})
            if "waits_s" in news and now - looked >= 1:
                looked = now
                self.behind.append(news["waits_s"])
            if news.get("room", {}).get("state") == "ended":
                self._over.set()
                return


def told(line: str) -> None:
    """Say something at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def _token(page: str) -> str:
    return page.split('name="form_token" value="')[1][:64]


def _say(what: str, values: list[float]) -> None:
    if not values:
        told(f"{what}: nothing was measured")
        return
    ordered = sorted(values)
    late = ordered[min(len(ordered) - 1, round(0.95 * len(ordered)))]
    told(f"{what}: median {statistics.median(values):.2f}, 95 % {late:.2f}, most {ordered[-1]:.2f} s")


if __name__ == "__main__":
    main()
