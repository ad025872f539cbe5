"""The desk on a port of this machine, and the system's Chromium that looks at it."""

from __future__ import annotations

import os
import shutil
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from desks import PASSWORD
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from pipeline.capture import Source
from pipeline.desk import Desk, create_app

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
SHOTS = Path(os.environ.get("ROSTRAL_SHOTS") or Path(__file__).parents[2] / "build") / "desk-pictures"
"""Where pictures of pages are kept: in a folder named by the variable ROSTRAL_SHOTS, else in `build`, which git ignores."""

ARGUMENTS = (
    "--no-sandbox",
    "--use-fake-ui-for-media-stream",
    "--use-fake-device-for-media-stream",
    "--autoplay-policy=no-user-gesture-required",
)


@contextmanager
def serving(desk: Desk, microphone: Callable[[], Source] | None = None) -> Iterator[str]:
    """The address of a desk that runs in a thread; `microphone` gives the one of its own computer."""
    app = create_app(desk)
    if microphone is not None:
        app.state.rooms.microphone = microphone
    listening = socket.create_server(("127.0.0.1", 0))
    config = uvicorn.Config(app, log_level="critical", ws="websockets-sansio", lifespan="on")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(30)
        listening.close()


@contextmanager
def chromium(*arguments: str) -> Iterator[Browser]:
    """The system's browser; without one the test is skipped, with how to install it."""
    if CHROMIUM is None:
        pytest.skip("no Chromium here; on Debian and Ubuntu: apt-get install chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=[*ARGUMENTS, *arguments])
        try:
            yield browser
        finally:
            browser.close()


def enter(context: BrowserContext, address: str, login: str) -> Page:
    """A page of somebody who signed in."""
    page = context.new_page()
    page.goto(f"{address}/sign-in")
    page.fill("#login", login)
    page.fill("#password", PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url(f"{address}/")
    return page


def faults(page: Page) -> list[str]:
    """What axe-core finds against WCAG 2.2 A and AA and its own good practice: rule and element."""
    found = Axe().run(page).response["violations"]
    return [f"{one['id']}: {node['html'][:200]}" for one in found for node in one["nodes"]]


def picture(page: Page, name: str) -> None:
    """Keep how a page looks, all of it."""
    page.evaluate("scrollTo(0, 0)")
    SHOTS.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=SHOTS / f"{name}.png", full_page=True)
