"""An examination in a real browser with a spoken sample as its microphone: through a lost network, a killed desk, a reload."""

from __future__ import annotations

import re
import wave
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from browsers import SHOTS, chromium, enter, faults, picture, serving
from desks import PASSWORD, Practice, signed
from examining import (
    LONG_MS,
    Cable,
    Heard,
    as_microphone,
    begin,
    end,
    heard_seconds,
    listening,
    on_the_table,
    own_process,
    paused,
    port_of,
    recorded,
)
from playwright.sync_api import Browser, BrowserContext, Page, expect

from pipeline.capture import CaptureError, SoundFile, Source
from pipeline.store import record_line, record_of

SAMPLE = "dog_incomplete.ogg"


@pytest.fixture(scope="module")
def browser(samples: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A browser that hears the beginning of a dictation."""
    with chromium(as_microphone(samples / SAMPLE, tmp_path_factory.mktemp("sound"), 40)) as opened:
        yield opened


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    with browser.new_context(viewport={"width": 1366, "height": 900}) as opened:
        opened.set_default_timeout(LONG_MS)
        yield opened


@pytest.fixture
def address(practice: Practice) -> Iterator[str]:
    with serving(practice.desk) as place:
        yield place


def test_from_the_table_to_the_file(practice: Practice, address: str, context: BrowserContext) -> None:
    """Choose, talk, end; correct two facts, answer the questions, sign as a vet, file as a nurse."""
    before = record_line(practice.database, practice.people["vet"], signed(practice).id)
    page = enter(context, address, "vet")
    page.goto(f"{address}/room")
    page.get_by_role("searchbox").fill("bram")
    page.keyboard.press("Enter")
    page.get_by_role("link", name=re.compile("Bramley.*Cass Orrin")).click()
    expect(page.get_by_text("Redness of the ear (left)")).to_be_visible()
    page.get_by_role("radio", name="Vaccination").check()
    page.get_by_role("button", name="To the table").click()
    expect(page.locator("#go")).to_be_enabled()
    page.click("#go")
    listening(page)
    expect(page.locator(".value", has_text="Weight").filter(has_text="18.8")).to_be_visible(timeout=LONG_MS)
    expect(page.locator("#systems [data-system=general]")).to_contain_text("abnormal", timeout=LONG_MS)
    expect(page.locator(".figure g[data-system=nose] .word")).to_have_text("normal", timeout=LONG_MS)
    heard_seconds(page, 38)
    page.click("#go")
    paused(page)
    page.wait_for_function("document.getElementById('line_text').textContent === 'Sound is safe'")
    end(page)
    record = page.url.rsplit("/", 1)[1]
    expect(page.locator("#player")).to_be_visible()
    weight = page.locator(".fact", has_text="Weight").first
    weight.get_by_role("button", name=re.compile("Change")).click()
    page.locator("form.edit [name=value]").fill("18.9")
    page.keyboard.press("Enter")
    expect(page.locator(".fact", has_text="Weight 18.9 kg")).to_be_visible()
    other = page.locator("#s_general .fact").first
    other.get_by_role("button", name=re.compile("Change")).click()
    page.locator("form.edit [name=severity][value=severe]").check()
    page.locator("form.edit button.main").click()
    expect(page.locator("#s_general .fact", has_text="changed by Ines Halloran")).to_have_count(1)
    page.locator("#certain").click()
    answer_all(page)
    page.fill("#password", PASSWORD)
    page.get_by_role("button", name="Sign", exact=True).click()
    page.wait_for_url(re.compile("signed=1"))
    page.goto(f"{address}/me")
    page.locator("details.self summary").click()
    page.get_by_role("button", name="Sign out", exact=True).click()
    nurse = enter(context, address, "nurse")
    nurse.goto(f"{address}/filing/{record}")
    nurse.get_by_role("checkbox").check()
    nurse.get_by_role("button", name="Mark as filed").click()
    nurse.wait_for_url(re.compile("filed=1"))
    kept = record_of(practice.database, practice.people["vet"], record)
    assert kept.state == "filed"
    assert record_line(practice.database, practice.people["vet"], record).patient_id == before.patient_id


def answer_all(page: Page) -> None:
    """Answer every question with the reason that it was looked at."""
    asked = page.locator(".notices > .notice", has=page.locator("[data-ask], [data-confirm]"))
    while page.locator("#h_answer", has_text="stop").count():
        waiting = page.locator(".notices > .notice").count()
        first = asked.first
        reason = first.locator("[data-ask]")
        if reason.count():
            reason.first.click()
            page.locator("form.ask input").fill("looked at")
            page.keyboard.press("Enter")
        else:
            first.locator("[data-confirm]").click()
        expect(page.locator(".notices > .notice")).not_to_have_count(waiting)


def test_no_sound_is_lost_when_the_desk_is_killed(practice: Practice, context: BrowserContext) -> None:
    """SIGKILL in mid-examination: what the sound thread made is on the disk, every sample once."""
    visit, heard = on_the_table(practice), Heard(context)
    with own_process(practice) as desk:
        page = enter(context, desk.address, "vet")
        begin(page, desk.address, visit)
        heard_seconds(page, 6)
        desk.kill()
        expect(page.locator("#line_text")).to_contain_text("kept here", timeout=LONG_MS)
        desk.start()
        expect(page.locator("#line[data-is=on]")).to_have_count(1, timeout=LONG_MS)
        heard_seconds(page, 14)
        desk.kill()
        expect(page.locator("#line_text")).to_contain_text("kept here", timeout=LONG_MS)
        desk.start()
        heard_seconds(page, 20)
        page.keyboard.press("Space")
        paused(page)
        end(page)
    assert heard.is_all_of(recorded(practice, visit))


def test_no_sound_is_lost_when_the_network_is(
    practice: Practice, address: str, context: BrowserContext
) -> None:
    """Twenty seconds without a network: the page says so, goes on, and sends all of it when the network is back."""
    visit, heard, cable = on_the_table(practice), Heard(context), Cable(port_of(address))
    page = enter(context, cable.address, "vet")
    begin(page, cable.address, visit)
    heard_seconds(page, 5)
    cable.cut()
    expect(page.locator("#line_text")).to_contain_text("No connection: 20 seconds are kept", timeout=LONG_MS)
    assert faults(page) == []
    picture(page, "room_away")
    cable.mend()
    expect(page.locator("#line[data-is=on]")).to_have_count(1, timeout=LONG_MS)
    heard_seconds(page, 26)
    page.keyboard.press("Space")
    paused(page)
    end(page)
    assert heard.is_all_of(recorded(practice, visit))
    cable.close()


def test_an_examination_can_be_ended_while_the_network_is_away(
    practice: Practice, address: str, context: BrowserContext
) -> None:
    """It ends when all sound is there."""
    visit, heard, cable = on_the_table(practice), Heard(context), Cable(port_of(address))
    page = enter(context, cable.address, "vet")
    begin(page, cable.address, visit)
    heard_seconds(page, 5)
    cable.cut()
    expect(page.locator("#line_text")).to_contain_text("kept here", timeout=LONG_MS)
    page.click("#end")
    page.click("#end_now")
    expect(page.locator("#room[data-state=ending]")).to_have_count(1)
    cable.mend()
    page.wait_for_url("**/records/*", timeout=LONG_MS)
    assert heard.is_all_of(recorded(practice, visit))
    cable.close()


def test_sound_that_comes_after_the_end_can_be_saved(
    practice: Practice, address: str, browser: Browser, context: BrowserContext
) -> None:
    """Somebody else ends the examination while this page has no network: what came too late is offered as a file."""
    visit, heard, cable = on_the_table(practice), Heard(context), Cable(port_of(address))
    page = enter(context, cable.address, "vet")
    begin(page, cable.address, visit)
    heard_seconds(page, 5)
    cable.cut()
    expect(page.locator("#line_text")).to_contain_text("kept here", timeout=LONG_MS)
    with browser.new_context() as elsewhere:
        elsewhere.set_default_timeout(LONG_MS)
        other = enter(elsewhere, address, "nurse")
        other.goto(f"{address}/room/{visit.id}")
        expect(other.locator("#end")).to_be_enabled(timeout=LONG_MS)
        expect(other.locator("#missing li").first).to_be_visible(timeout=LONG_MS)
        end(other)
    cable.mend()
    expect(page.locator("#late")).to_be_visible(timeout=LONG_MS)
    assert faults(page) == []
    picture(page, "room_late")
    page.goto(f"{cable.address}/room")
    page.get_by_role("link", name="to that room").click()
    expect(page.locator("#late")).to_be_visible(timeout=LONG_MS)
    with page.expect_download(timeout=LONG_MS) as saved:
        page.click("#save")
    with wave.open(str(saved.value.path())) as late:
        sound = np.frombuffer(late.readframes(late.getnframes()), "<i2")
    # What the desk had written and not yet acknowledged is in both.
    kept = recorded(practice, visit)
    both = len(kept) + len(sound) - heard.length
    assert both >= 0
    assert heard.is_all_of(np.concatenate([kept, sound[both:]]))
    page.click("#drop")
    page.wait_for_url("**/records/*", timeout=LONG_MS)
    cable.close()


def test_a_reload_loses_nothing_that_was_kept(
    practice: Practice, address: str, context: BrowserContext
) -> None:
    """The page is loaded again in mid-examination, once with sound that waits: it goes on with the same recording."""
    visit, heard, cable = on_the_table(practice), Heard(context), Cable(port_of(address))
    page = enter(context, cable.address, "vet")
    begin(page, cable.address, visit)
    heard_seconds(page, 5)
    page.reload()
    expect(page.locator("#go_label")).to_have_text("Go on", timeout=LONG_MS)
    page.keyboard.press("F9")
    listening(page)
    heard_seconds(page, 9)
    cable.cut()
    expect(page.locator("#line_text")).to_contain_text("kept here", timeout=LONG_MS)
    cable.mend()
    page.reload()
    expect(page.locator("#go")).to_be_enabled(timeout=LONG_MS)
    page.keyboard.press("Space")
    listening(page)
    heard_seconds(page, 14)
    page.keyboard.press("Space")
    paused(page)
    end(page)
    assert heard.is_all_of(recorded(practice, visit))
    folder = practice.desk.options.recordings / visit.id
    assert [one.name for one in sorted(folder.iterdir()) if one.is_dir()] == ["001"]
    cable.close()


def test_a_device_that_forgot_what_it_sent_mixes_nothing_up(
    practice: Practice, address: str, context: BrowserContext
) -> None:
    """After a loss of power the browser's store can be some seconds old: what is said then is a recording of its own."""
    visit, heard = on_the_table(practice), Heard(context)
    page = enter(context, address, "vet")
    begin(page, address, visit)
    heard_seconds(page, 5)
    page.keyboard.press("Space")
    paused(page)
    page.wait_for_function("document.getElementById('line_text').textContent === 'Sound is safe'")
    page.evaluate("""async () => {
        const asked = indexedDB.open("rostral-room");
        await new Promise((go) => (asked.onsuccess = go));
        const store = asked.result.transaction("streams", "readwrite").objectStore("streams");
        const cursor = store.openCursor();
        await new Promise((go) => (cursor.onsuccess = go));
        const { value } = cursor.result;
        cursor.result.update({ ...value, next: value.next - 32000 });
        await new Promise((go) => (store.transaction.oncomplete = go));
    }""")
    page.reload()
    expect(page.locator("#go")).to_be_enabled(timeout=LONG_MS)
    page.keyboard.press("Space")
    listening(page)
    heard_seconds(page, 10)
    page.keyboard.press("Space")
    paused(page)
    end(page)
    assert heard.is_all_of(recorded(practice, visit))
    expect(page.locator("#player")).to_be_visible()
    folder = practice.desk.options.recordings / visit.id
    assert [one.name for one in sorted(folder.iterdir()) if one.is_dir()] == ["001", "002"]


def test_hand_foot_and_headset(practice: Practice, address: str, context: BrowserContext) -> None:
    """Space, any other key, the headset's button and Enter on the control do the same; a held key does it once."""
    context.add_init_script("""
        window.handlers = {};
        const set = MediaSession.prototype.setActionHandler;
        MediaSession.prototype.setActionHandler = function (name, handler) {
          window.handlers[name] = handler;
          set.call(this, name, handler);
        };
    """)
    visit = on_the_table(practice)
    page = enter(context, address, "nurse")
    begin(page, address, visit)
    page.keyboard.press("F9")
    paused(page)
    page.keyboard.press("b")
    listening(page)
    page.evaluate("handlers.pause({ action: 'pause' })")
    paused(page)
    assert page.evaluate("navigator.mediaSession.playbackState") == "paused"
    page.evaluate("handlers.play({ action: 'play' })")
    listening(page)
    assert {"play", "pause", "stop"} <= set(page.evaluate("Object.keys(handlers)"))
    page.keyboard.down("PageDown")
    page.keyboard.down("PageDown")
    paused(page)
    page.keyboard.up("PageDown")
    page.locator("#go").focus()
    page.keyboard.press("Enter")
    listening(page)
    # Keys that work other controls, or move the focus, do not reach it.
    page.keyboard.press("Tab")
    page.keyboard.press("Escape")
    page.get_by_text("Settings").focus()
    page.keyboard.press("Enter")
    foot = page.get_by_role("checkbox", name=re.compile("Any key"))
    expect(foot).to_be_visible()
    assert faults(page) == []
    foot.focus()
    page.keyboard.press("Space")
    expect(foot).not_to_be_checked()
    page.locator("#end").focus()
    page.keyboard.press("F9")
    expect(page.locator("#room[data-state=on]")).to_have_count(1)
    page.keyboard.press("Enter")
    expect(page.get_by_role("dialog")).to_be_visible()
    expect(page.locator("#missing_list li", has_text="Eyes")).to_have_count(1)
    expect(page.get_by_role("button", name="Go on examining")).to_be_focused()
    assert faults(page) == []
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_url("**/records/*", timeout=LONG_MS)


def test_the_desks_own_microphone_listens_in_place_of_the_browsers(
    practice: Practice, context: BrowserContext, samples: Path
) -> None:
    """Chosen under Settings; the one control lets it rest. What is missing is said aloud at the end, when that is wanted."""
    context.add_init_script("""
        window.said = [];
        speechSynthesis.speak = (words) => window.said.push(words.text);
    """)
    visit = on_the_table(practice)
    with serving(practice.desk, lambda: SoundFile(samples / SAMPLE, speed=2)) as address:
        page = enter(context, address, "vet")
        page.goto(f"{address}/room/{visit.id}")
        expect(page.locator("#go")).to_be_enabled(timeout=LONG_MS)
        page.get_by_text("Settings").click()
        page.get_by_role("checkbox", name=re.compile("desk's own computer")).click()
        listening(page)
        page.get_by_role("checkbox", name=re.compile("Say aloud")).check()
        page.get_by_text("Settings").click()
        expect(page.locator(".value", has_text="Weight")).to_be_visible(timeout=LONG_MS)
        page.locator("#go").focus()
        page.keyboard.press("F9")
        expect(page.locator("#room[data-state=ready]")).to_have_count(1, timeout=LONG_MS)
        page.click("#end")
        expect(page.get_by_role("dialog")).to_be_visible()
        page.wait_for_function(
            "said.some((one) => one.startsWith('Still missing: ') && one.includes('Eyes'))"
        )
        page.click("#end_now")
        page.wait_for_url("**/records/*", timeout=LONG_MS)


def test_a_desk_without_a_microphone_says_so(practice: Practice, context: BrowserContext) -> None:
    def none() -> Source:
        raise CaptureError("No microphone was found. Plug one in.")

    visit = on_the_table(practice)
    with serving(practice.desk, none) as place:
        page = enter(context, place, "vet")
        page.goto(f"{place}/room/{visit.id}")
        expect(page.locator("#go")).to_be_enabled(timeout=LONG_MS)
        page.get_by_text("Settings").click()
        page.get_by_role("checkbox", name=re.compile("desk's own computer")).click()
        expect(page.locator("#faults")).to_contain_text("Plug one in", timeout=LONG_MS)
        expect(page.get_by_role("checkbox", name=re.compile("desk's own computer"))).not_to_be_checked()


def test_one_page_of_a_browser_records(practice: Practice, address: str, context: BrowserContext) -> None:
    """A second tab shows what is heard and says that another one records; when that is closed it takes over."""
    visit = on_the_table(practice)
    page = enter(context, address, "vet")
    begin(page, address, visit)
    other = context.new_page()
    other.goto(f"{address}/room/{visit.id}")
    expect(other.locator("#length")).not_to_have_text("0:00", timeout=LONG_MS)
    expect(other.locator("#go")).to_be_disabled()
    expect(other.locator("#doing")).to_contain_text("another tab")
    page.close()
    expect(other.locator("#go_label")).to_have_text("Go on", timeout=LONG_MS)
    expect(other.locator("#go")).to_be_enabled()


def top(page: Page, what: str) -> float:
    return float(page.eval_on_selector(what, "one => one.getBoundingClientRect().top"))


def bottom(page: Page, what: str) -> float:
    return float(page.eval_on_selector(what, "one => one.getBoundingClientRect().bottom"))


@pytest.mark.parametrize("look", ["light", "dark", "contrast"])
def test_the_pages_of_the_room_are_for_everybody(
    practice: Practice, address: str, browser: Browser, look: str
) -> None:
    """No violation of axe-core's rules, nothing wider than a narrow screen, no error in the console."""
    known = record_line(practice.database, practice.people["vet"], signed(practice).id)
    visit, told = on_the_table(practice), []
    with browser.new_context(viewport={"width": 1366, "height": 900}) as context:
        context.add_cookies([{"name": "rostral_look", "value": look, "url": address}])
        page = enter(context, address, "vet")
        page.on("console", lambda said: told.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: told.append(str(error)))
        places = {"room_choose": "/room?words=bram", "room_begin": f"/room?patient={known.patient_id}"}
        for name, place in places.items():
            page.goto(address + place)
            assert faults(page) == [], name
            picture(page, f"{name}_{look}")
        begin(page, address, visit)
        expect(page.locator(".value", has_text="Weight")).to_be_visible(timeout=LONG_MS)
        assert faults(page) == []
        picture(page, f"room_{look}")
        for width, height in ((1366, 900), (1024, 768), (768, 1024), (390, 844), (320, 640)):
            page.set_viewport_size({"width": width, "height": height})
            page.evaluate("scrollTo(0, 0)")
            if height > 640:
                # All that is missing is seen above the control, without scrolling.
                assert bottom(page, "#missing") <= top(page, ".control"), (width, height)
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            assert faults(page) == []
            page.screenshot(path=SHOTS / f"room_{look}_{width}.png")
        end(page)
    assert told == []
