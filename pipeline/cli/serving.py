"""The command that opens the desk for browsers."""

from __future__ import annotations

import ipaddress
import secrets
import socket
import ssl
from dataclasses import dataclass
from pathlib import Path

import uvicorn
from platformdirs import user_data_path

from pipeline.cli.border import CallError, WorkError
from pipeline.cli.keeping import open_database, usual_recordings
from pipeline.cli.screen import output, remark
from pipeline.desk import Desk, DeskOptions, create_app
from pipeline.settings import Settings
from pipeline.store import Database, any_account

_CLOSING_S = 5
_WRONG_CERTIFICATE = {
    "KEY_VALUES_MISMATCH": "the key is another certificate's",
    "NO_START_LINE": "there is no PEM block in one of them",
}
"""What OpenSSL calls a fault, and how it is told."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where the desk is reached. `proxy` is the address of a machine in front that speaks TLS and is believed."""

    host: str
    port: int
    certificate: Path | None = None
    key: Path | None = None
    proxy: str | None = None

    @property
    def secure(self) -> bool:
        """Whether browsers reach it over TLS."""
        return self.certificate is not None or self.proxy is not None


def serve(settings: Settings, place: Place, data: Path | None) -> None:
    """Open the desk and keep it open until it is stopped."""
    with open_database(settings, new=True) as database:
        data = data or user_data_path("rostral", appauthor=False)
        run(database, settings, place, data, usual_recordings(settings))


def run(database: Database, settings: Settings, place: Place, data: Path, recordings: Path) -> None:
    """Serve a database that is open. Raises CallError, WorkError."""
    certificate, believed = _certificate(place), _believed(place)
    code = None if any_account(database) else secrets.token_hex(4)
    app = create_app(Desk(database, DeskOptions(data, recordings, settings, set_up_code=code)))
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=place.proxy is not None,
        forwarded_allow_ips=believed,
        timeout_graceful_shutdown=_CLOSING_S,
        ws="websockets-sansio",
        ssl_certfile=certificate,
        ssl_keyfile=place.key,
    )
    listening = _listen(place)
    address = f"{'https' if place.certificate else 'http'}://{_shown(place, listening)}"
    if not place.secure and not _only_here(place.host):
        remark(
            "Others can reach this over the network, and without TLS they can read along; browsers give no"
            " microphone to such a page. Give --certificate and --key, or put a proxy in front (--proxy)."
        )
    console = output()
    console.print(f"Rostral's desk: {address}", soft_wrap=True)
    if code is not None:
        console.print(f"Nobody can sign in yet. Set it up: {address}/set-up?code={code}", soft_wrap=True)
    console.print("Ctrl-C closes it.")
    uvicorn.Server(config).run(sockets=[listening])


def _listen(place: Place) -> socket.socket:
    try:
        family, kind, proto, _, where = socket.getaddrinfo(place.host, place.port, type=socket.SOCK_STREAM)[0]
        made = socket.socket(family, kind, proto)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind(where)
        # Whoever follows the address that is printed next waits for the desk, and is not refused.
        made.listen()
    except OSError as error:
        raise WorkError(
            f"{place.host} port {place.port} cannot be opened: {error.strerror or error}. Another program may"
            " hold it: give another --port, or an address of this machine with --host."
        ) from None
    return made


class _LockedError(Exception):
    """The key asks for a passphrase."""


def _certificate(place: Place) -> Path | None:
    """The certificate, once it and its key fit."""
    if place.certificate is None:
        if place.key is not None:
            raise CallError("--key needs --certificate: give both, in PEM form.")
        return None
    for option, file in (("certificate", place.certificate), ("key", place.key)):
        if file is not None and not file.is_file():
            raise CallError(f"--{option}: there is no file {file}.")
    key = place.key or place.certificate
    try:
        # Asked for a passphrase at the terminal, the desk would not come up by itself after a power cut.
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        context.load_cert_chain(place.certificate, place.key, password=_locked)
    except _LockedError:
        raise CallError(
            f"The key in {key} is locked with a passphrase, and nobody could type it when the desk starts by"
            f" itself. Write it out unlocked, for this user's eyes alone: openssl pkey -in {key} -out FILE"
        ) from None
    except ssl.SSLError as error:
        why = _WRONG_CERTIFICATE.get(error.reason, "one of them is not in PEM form, or lacks its part")
        raise CallError(
            f"--certificate {place.certificate} and its key in {key} do not work together: {why}."
        ) from None
    except OSError as error:
        raise CallError(f"--certificate or --key cannot be read: {error.strerror or error}.") from None
    return place.certificate


def _locked() -> str:
    raise _LockedError


def _believed(place: Place) -> str:
    """The address of the proxy that is believed; what is no address would be believed of nobody, or of all."""
    if place.proxy is None:
        return ""
    try:
        return str(ipaddress.ip_network(place.proxy))
    except ValueError:
        raise CallError(
            f"--proxy takes the address of the machine in front, 10.0.0.2 say, not {place.proxy!r}."
        ) from None


def _shown(place: Place, listening: socket.socket) -> str:
    port = listening.getsockname()[1]
    return f"[{place.host}]:{port}" if ":" in place.host else f"{place.host}:{port}"


def _only_here(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
