"""The sound of a record at the desk: heard where a fact was said, and a fact said again."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from browsers import chromium, enter, faults, picture, serving
from desks import Practice, draft
from playwright.sync_api import Browser, expect

from pipeline.capture import read_audio
from pipeline.exam import hear, understand
from pipeline.record import Patient, Visit
from pipeline.speech import Recogniser
from pipeline.store import (
    KeptRecord,
    add_patient,
    add_recording,
    keep_record,
    keep_sound,
    open_visit,
    recordings_of,
)


@pytest.fixture
def spoken(practice: Practice, samples: Path, tiny_recogniser: Recogniser) -> KeptRecord:
    """A draft of a real recording, which is kept."""
    database, vet, at = practice.database, practice.people["vet"], practice.clock()
    patient = json.loads((samples / "dog_incomplete.patient.json").read_text(encoding="utf-8"))
    animal = Patient.model_validate(patient | {"owner": None})
    kept = add_patient(database, vet, animal, None, at)
    opened = open_visit(database, vet, kept.id, "vaccination", at)
    file = samples / "dog_incomplete.ogg"
    sound = read_audio(file)
    path, sha256 = keep_sound(file, practice.desk.options.recordings)
    recording = add_recording(database, vet, opened.id, path, sha256, sound.duration_s, at)
    visit = Visit(kind="vaccination", on=opened.on)
    understood = understand(hear(sound, tiny_recogniser, animal, visit), animal, visit)
    return keep_record(database, vet, opened.id, understood, at, recording_id=recording.id)


def test_the_recording_comes_as_it_was_kept_and_in_parts(
    practice: Practice, spoken: KeptRecord, samples: Path
) -> None:
    """RFC 9110, 14.2: a range is answered with 206 and these bytes."""
    browser = practice.browser("nurse")
    whole = (samples / "dog_incomplete.ogg").read_bytes()
    assert browser.get(f"/records/{spoken.id}/sound").content == whole
    some = browser.get(f"/records/{spoken.id}/sound", headers={"range": "bytes=1000-1999"})
    assert (some.status_code, some.content) == (206, whole[1000:2000])


def test_the_outline_follows_the_sound_and_the_words_their_times(
    practice: Practice, spoken: KeptRecord, samples: Path
) -> None:
    """Compared with the loudness that numpy finds."""
    given = practice.browser("vet").get(f"/records/{spoken.id}/sound.json").json()
    sound = read_audio(samples / "dog_incomplete.ogg")
    assert given["duration_s"] == pytest.approx(sound.duration_s)
    peaks = np.array(given["peaks"]) / 1000
    loud = np.array([np.abs(part).max() for part in np.array_split(sound.pcm.astype(int), len(peaks))])
    assert np.corrcoef(peaks, loud)[0, 1] > 0.8
    starts = [start for _, start, _ in given["words"]]
    assert starts == sorted(starts)
    assert len(starts) > 50


def test_a_record_that_was_typed_has_no_sound(practice: Practice) -> None:
    kept = draft(practice)
    browser = practice.browser("vet")
    assert browser.get(f"/records/{kept.id}/sound").status_code == 404
    assert 'id="player"' not in browser.get(f"/records/{kept.id}").text


def test_an_altered_recording_is_not_played(practice: Practice, spoken: KeptRecord) -> None:
    [kept] = recordings_of(practice.database, practice.people["vet"], spoken.visit_id)
    file = practice.desk.options.recordings / kept.path
    file.chmod(0o644)
    file.write_bytes(file.read_bytes()[:-1] + b"x")
    answer = practice.browser("vet").get(f"/records/{spoken.id}/sound")
    assert answer.status_code == 400
    assert "altered or damaged" in answer.text


def again(practice: Practice, kept: KeptRecord, kind: str, said: bytes) -> tuple[int, dict[str, object]]:
    browser = practice.browser("vet")
    headers = {"x-form-token": browser.token(), "accept": "application/json"}
    address = f"/records/{kept.id}/again?kind={kind}"
    answer = browser.post(address, content=said, headers=headers)
    return answer.status_code, answer.json()


def test_what_is_said_again_fills_the_form(practice: Practice, spoken: KeptRecord, samples: Path) -> None:
    """A stretch of the same dictation stands for the second saying; nothing is kept by it."""
    import av  # noqa: PLC0415 - writes the stretch as a browser would

    sound = read_audio(samples / "dog_incomplete.ogg")
    file = practice.desk.options.data / "again.ogg"
    file.parent.mkdir(parents=True, exist_ok=True)
    words = practice.browser("vet").get(f"/records/{spoken.id}/sound.json").json()["words"]
    at = next(start for text, start, _ in words if text.lower().startswith("weight"))
    piece = sound.pcm[int((at - 0.3) * 16000) : int((at + 1.9) * 16000)]
    with av.open(str(file), "w") as made:
        stream = made.add_stream("libopus", rate=16000, layout="mono")
        frame = av.AudioFrame.from_ndarray(piece[None, :], format="s16", layout="mono")
        frame.sample_rate = 16000
        for packet in (*stream.encode(frame), *stream.encode(None)):
            made.mux(packet)
    status, given = again(practice, spoken, "measurement", file.read_bytes())
    assert status == 200, given
    fields = given["fields"]
    assert isinstance(fields, dict)
    assert fields["kind"] == "weight"
    assert fields["value"].startswith("18.8")


def test_what_is_no_sound_is_refused_in_words(practice: Practice, spoken: KeptRecord) -> None:
    for said in (b"", b"no sound at all" * 50):
        status, given = again(practice, spoken, "finding", said)
        assert status == 422
        assert str(given["message"]).endswith(".")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as opened:
        yield opened


@pytest.mark.parametrize("look", ["light", "dark"])
def test_a_fact_is_heard_at_its_moment(
    practice: Practice, spoken: KeptRecord, browser: Browser, look: str
) -> None:
    with (
        serving(practice.desk) as address,
        browser.new_context(
            viewport={"width": 1366, "height": 900},
            color_scheme=look,  # type: ignore[arg-type]
        ) as context,
    ):
        page = enter(context, address, "vet")
        page.goto(f"{address}/records/{spoken.id}")
        expect(page.locator("#player")).to_be_visible()
        moment = page.locator(".fact .hear").nth(3)
        start = float(moment.get_attribute("data-from") or 0)
        moment.focus()
        page.keyboard.press("Enter")
        clock = page.locator("#clock")
        expect(clock).to_contain_text(f"{int(start) // 60}:{int(start) % 60:02d}")
        expect(page.locator("#spoken mark")).to_be_visible()
        assert faults(page) == []
        picture(page, f"review_sound_{look}")
