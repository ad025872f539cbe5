"""Servers on this machine that documents are handed to: for FHIR and for mail, in the clear or with TLS, obliging or not."""

from __future__ import annotations

import contextlib
import json
import socket
import ssl
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

from aiosmtpd.controller import Controller

from lexicon import load_lexicon
from pipeline.filing.fhir import read_fhir_document


@dataclass
class FhirServer:
    """What a FHIR server did and is to do. It answers what `answers` still holds, then takes what it gets."""

    address: str = ""
    answers: list[int] = field(default_factory=list)
    taken: list[tuple[str | None, str]] = field(default_factory=list)
    """Token and document of each that it holds."""
    says: str = "{}"
    """What stands in a refusal."""
    vanishes: int = 0
    """How often it takes a document and goes away without an answer."""
    heeds: bool = True
    """Whether it looks at conditions of a creation."""
    searches: bool = True
    asked: threading.Event = field(default_factory=threading.Event)
    goes_on: threading.Event = field(default_factory=threading.Event)
    """While this is not set, it thinks about a document that it took."""

    def holds(self, identifier: str) -> list[int]:
        """Places of the documents of that identifier."""
        documents = [json.loads(body)["identifier"] for _, body in self.taken]
        return [at for at, one in enumerate(documents) if f"{one['system']}|{one['value']}" == identifier]


class _Answering(BaseHTTPRequestHandler):
    server: _Http

    def do_GET(self) -> None:
        """Search for documents by their identifier."""
        state = self.server.state
        if not state.searches:
            return self._answer(404)
        [identifier] = parse_qs(urlsplit(self.path).query)["identifier"]
        found = [{"fullUrl": f"{state.address}/Bundle/{at}"} for at in state.holds(identifier)]
        return self._answer(200, json.dumps({"resourceType": "Bundle", "type": "searchset", "entry": found}))

    def do_POST(self) -> None:
        """Create a document, on the condition that there is none of its identifier."""
        state = self.server.state
        body = self.rfile.read(int(self.headers["Content-Length"])).decode()
        code = state.answers.pop(0) if state.answers else 201
        if code != 201:
            state.asked.set()
            return self._answer(code, state.says)
        read_fhir_document(body, load_lexicon())
        [identifier] = parse_qs(self.headers["If-None-Exist"])["identifier"]
        held = state.holds(identifier) if state.heeds else []
        if not held:
            state.taken.append((self.headers["Authorization"], body))
        state.asked.set()
        state.goes_on.wait(120)
        if state.vanishes:
            state.vanishes -= 1
            self.close_connection = True
            self.connection.shutdown(socket.SHUT_RDWR)
            return None
        at = held[0] if held else len(state.taken) - 1
        return self._answer(200 if held else 201, "", f"{self.path}/{at}")

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing."""

    def _answer(self, code: int, body: str = "", location: str | None = None) -> None:
        with contextlib.suppress(OSError):  # whoever asked may be gone
            self.send_response(code)
            if location is not None:
                self.send_header("Location", location)
            self.send_header("Content-Length", str(len(body.encode())))
            self.end_headers()
            self.wfile.write(body.encode())


class _Http(ThreadingHTTPServer):
    daemon_threads = True
    state: FhirServer

    def handle_error(self, request: object, client_address: object) -> None:
        """Say nothing: those who ask may die."""


@contextlib.contextmanager
def fhir_server(tls: ssl.SSLContext | None = None, port: int = 0) -> Iterator[FhirServer]:
    """A FHIR server on this machine."""
    with _Http(("127.0.0.1", port), _Answering) as running:
        if tls is not None:
            running.socket = tls.wrap_socket(running.socket, server_side=True)
        scheme = "https" if tls is not None else "http"
        running.state = FhirServer(f"{scheme}://127.0.0.1:{running.server_address[1]}/fhir")
        running.state.goes_on.set()
        thread = threading.Thread(target=running.serve_forever)
        thread.start()
        try:
            yield running.state
        finally:
            running.state.goes_on.set()
            running.shutdown()
            thread.join()


@dataclass
class Postbox:
    """A mail server that keeps letters, once it has answered what `answers` still holds to a recipient."""

    port: int = 0
    letters: list[bytes] = field(default_factory=list)
    answers: list[str] = field(default_factory=list)
    after: list[str] = field(default_factory=list)
    """What it answers to letters that it keeps all the same."""

    async def handle_RCPT(  # noqa: N802 - the server's name for it
        self, server: object, session: object, envelope: Any, address: str, options: object
    ) -> str:
        """Take or refuse a recipient."""
        if self.answers:
            return f"{self.answers.pop(0)} {address}"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(  # noqa: N802 - as above
        self, server: object, session: object, envelope: Any
    ) -> str:
        """Take a letter."""
        self.letters.append(envelope.content)
        return self.after.pop(0) if self.after else "250 OK"


@contextlib.contextmanager
def mail_server(tls: ssl.SSLContext | None = None) -> Iterator[Postbox]:
    """A mail server on this machine; with TLS it takes letters only after STARTTLS."""
    box = Postbox()
    options: dict[str, Any] = {"tls_context": tls, "require_starttls": True} if tls is not None else {}
    controller = _started(box, options)
    try:
        yield box
    finally:
        controller.stop()


def _started(box: Postbox, options: dict[str, Any]) -> Controller:
    """Start it on a free port: it must be told one, and another program may take that meanwhile."""
    while True:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            box.port = free.getsockname()[1]
        controller = Controller(box, hostname="127.0.0.1", port=box.port, **options)
        try:
            controller.start()
        except OSError:
            continue
        return controller
