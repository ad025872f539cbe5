"""`rostral serve` over TLS as a process of its own: with a certificate, and behind a proxy that speaks it."""

from __future__ import annotations

import re
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest
import trustme
from browsers import chromium
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    PrivateFormat,
    load_pem_private_key,
)
from desks import PASSWORD, Practice
from playwright.sync_api import expect
from served import serve
from typer.testing import CliRunner

from pipeline.cli import app

PASSPHRASE = b"alder lane"
A_YEAR = "max-age=31536000"
OVER_TLS = {"X-Forwarded-Proto": "https", "X-Forwarded-For": "10.0.0.9"}


class Papers:
    """An authority that the practice made for itself, and files of its certificates."""

    def __init__(self, folder: Path) -> None:
        self.authority = trustme.CA()
        self.folder = folder
        issued = self.authority.issue_cert("localhost", "127.0.0.1")
        self.certificate, self.key = folder / "desk.pem", folder / "desk.key"
        issued.cert_chain_pems[0].write_to_path(self.certificate)
        issued.private_key_pem.write_to_path(self.key)

    def trusting(self) -> ssl.SSLContext:
        """What a computer knows that trusts this authority alone."""
        context = ssl.create_default_context()
        self.authority.configure_trust(context)
        return context

    def locked_key(self) -> Path:
        """The same key with a passphrase."""
        key = load_pem_private_key(self.key.read_bytes(), None)
        file = self.folder / "locked.key"
        locked = BestAvailableEncryption(PASSPHRASE)
        file.write_bytes(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, locked))
        return file

    def other_key(self) -> Path:
        file = self.folder / "other.key"
        self.authority.issue_cert("elsewhere.example").private_key_pem.write_to_path(file)
        return file


@pytest.fixture
def papers(tmp_path: Path) -> Papers:
    return Papers(tmp_path)


@contextmanager
def visitor(
    address: str, *, trusting: ssl.SSLContext | None = None, forwarded: dict[str, str] | None = None
) -> Iterator[httpx.Client]:
    """A client that goes to the desk and to nothing in between."""
    verify = trusting or ssl.create_default_context()
    with httpx.Client(
        base_url=address, verify=verify, headers=forwarded, trust_env=False, timeout=60
    ) as client:
        yield client


def signed_in(client: httpx.Client) -> httpx.Response:
    """Sign in as the page's form does."""
    shown = client.get("/sign-in")
    token = re.search(r'name="form_token" value="([0-9a-f]{64})"', shown.text)
    assert token, shown.text
    return client.post("/sign-in", data={"form_token": token[1], "login": "nurse", "password": PASSWORD})


def cookies(answer: httpx.Response) -> dict[str, str]:
    """The cookies that an answer sets, by name, with what browsers are told about each."""
    told = [one.partition("=") for one in answer.headers.get_list("set-cookie")]
    return {name: rest.partition(";")[2].lower() for name, _, rest in told if not rest.startswith('""')}


def test_with_a_certificate_all_of_it_goes_over_tls(practice: Practice, papers: Papers) -> None:
    """Cookies come back over TLS and to this host alone; browsers are told to ask over TLS for a year."""
    given = ("--certificate", papers.certificate, "--key", papers.key)
    with serve(practice, *given) as desk:
        assert desk.address.startswith("https://127.0.0.1:")
        assert desk.told == ""
        with visitor(desk.address, trusting=papers.trusting()) as client:
            answer = signed_in(client)
            assert (answer.status_code, answer.headers["location"]) == (303, "/")
            assert answer.headers["strict-transport-security"].startswith(A_YEAR)
            [(name, about)] = cookies(answer).items()
            assert name == "__Host-rostral_sign_in"
            assert {"secure", "httponly", "samesite=strict", "path=/"} <= {
                part.strip() for part in about.split(";")
            }
            assert "Tobin Marsh" in client.get("/").text
        with visitor(desk.address) as stranger, pytest.raises(httpx.ConnectError):
            stranger.get("/sign-in")
        # The port speaks nothing else: no page comes, and none that could be read along.
        plain = desk.address.replace("https://", "http://")
        with visitor(plain) as careless, pytest.raises(httpx.RemoteProtocolError):
            careless.get("/sign-in")


def test_a_browser_signs_in_over_tls_and_may_use_a_microphone(practice: Practice, papers: Papers) -> None:
    with (
        serve(practice, "--certificate", papers.certificate, "--key", papers.key) as desk,
        chromium() as browser,
        browser.new_context(ignore_https_errors=True) as context,
    ):
        page = context.new_page()
        page.goto(f"{desk.address}/sign-in")
        page.fill("#login", "nurse")
        page.fill("#password", PASSWORD)
        page.keyboard.press("Enter")
        page.wait_for_url(f"{desk.address}/")
        expect(page.get_by_role("heading", name="Good to see you, Tobin Marsh")).to_be_visible()
        assert page.evaluate("isSecureContext && 'mediaDevices' in navigator")
        held = {one["name"]: one for one in context.cookies()}
        assert held["__Host-rostral_sign_in"]["secure"]
        page.get_by_text("Tobin Marsh", exact=True).click()
        page.get_by_role("button", name="Sign out").click()
        page.wait_for_url(re.compile("/sign-in"))
        assert "__Host-rostral_sign_in" not in {one["name"] for one in context.cookies()}


def test_behind_a_proxy_the_proxy_says_whether_it_is_tls(practice: Practice) -> None:
    with serve(practice, "--proxy", "127.0.0.1") as desk:
        assert desk.told == ""
        with visitor(desk.address, forwarded=OVER_TLS) as client:
            answer = signed_in(client)
            # The client does not send such a cookie over its own plain line; the names are what a browser would get.
            assert answer.headers["strict-transport-security"].startswith(A_YEAR)
            assert {"__Host-rostral_browser", "__Host-rostral_sign_in"} & set(cookies(client.get("/sign-in")))
        with visitor(desk.address, forwarded={"X-Forwarded-Proto": "http"}) as client:
            assert "strict-transport-security" not in client.get("/sign-in").headers


def test_nobody_else_is_believed_to_be_a_proxy(practice: Practice) -> None:
    for given in ((), ("--proxy", "10.9.8.7")):
        with (
            serve(practice, *given) as desk,
            visitor(desk.address, forwarded=OVER_TLS) as client,
        ):
            answer = signed_in(client)
            assert answer.status_code == 303
            assert "strict-transport-security" not in answer.headers
            assert list(cookies(answer)) == ["rostral_sign_in"]


def test_without_tls_a_desk_for_others_is_warned_about(practice: Practice) -> None:
    with serve(practice, "--host", "0.0.0.0") as desk:  # noqa: S104 - that is what is warned about
        assert "without TLS they can read along" in desk.told


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (lambda papers: ("--certificate", papers.folder / "none.pem"), "--certificate: there is no file"),
        (lambda papers: ("--certificate", papers.folder), "--certificate: there is no file"),
        (
            lambda papers: ("--certificate", papers.certificate, "--key", papers.folder / "none"),
            "--key: there is",
        ),
        (lambda papers: ("--key", papers.key), "--key needs --certificate"),
        (lambda papers: ("--certificate", papers.certificate), "is not in PEM form, or lacks its part"),
        (
            lambda papers: ("--certificate", papers.certificate, "--key", papers.other_key()),
            "the key is another certificate's",
        ),
        (
            lambda papers: ("--certificate", papers.certificate, "--key", papers.locked_key()),
            "is locked with a passphrase",
        ),
        (
            lambda papers: ("--certificate", papers.folder / "desk.key", "--key", papers.key),
            "do not work together",
        ),
        (lambda papers: ("--proxy", "*"), "--proxy takes the address"),
        (lambda papers: ("--proxy", "the proxy"), "--proxy takes the address"),
    ],
)
def test_what_does_not_fit_is_told_in_one_line(
    practice: Practice,
    papers: Papers,
    given: Callable[[Papers], tuple[object, ...]],
    told: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Nobody is asked for a passphrase at a terminal, and nothing is served."""
    monkeypatch.setenv("ROSTRAL_DATABASE", practice.database.shown)
    ended = CliRunner().invoke(app, ["serve", "--port", "0", *map(str, given(papers))])
    assert ended.exit_code == 2
    assert ended.stdout == ""
    [line] = ended.stderr.splitlines()
    assert told in line
