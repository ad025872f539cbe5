"""Sends a finished file to an owner through the practice's own mail server (RFC 5321, RFC 5322)."""

from __future__ import annotations

import smtplib
import ssl
from contextlib import suppress
from email.message import EmailMessage
from email.utils import localtime
from typing import Literal

from pydantic import Field

from pipeline.filing.errors import AwayError, FilingError
from pipeline.filing.trust import distrust
from pipeline.speech.model import Frozen

_TIMEOUT_S = 30.0
_PASSING, _LASTING = 400, 500
_LOOPBACK = ("127.0.0.1", "::1", "localhost")


class MailServer(Frozen):
    """The practice's mail server. Without encryption only on the same machine."""

    host: str
    port: int
    security: Literal["starttls", "tls", "none"]
    user: str | None = None
    password: str | None = Field(default=None, repr=False)
    sender: str


class Letter(Frozen):
    """What goes out. `identifier` makes the Message-ID: a letter sent twice is seen to be one."""

    identifier: str
    to: str
    subject: str
    text: str
    file_name: str
    data: bytes


def send_mail(server: MailServer, letter: Letter, trusted: ssl.SSLContext) -> None:
    """Send a letter. Raises AwayError, or FilingError for what waiting does not mend.

    Their messages never hold the owner's address: they are kept in the trail.
    """
    if server.security == "none" and server.host not in _LOOPBACK:
        raise FilingError(
            f"The mail server {server.host} would get the letter unencrypted: set starttls or tls."
        )
    try:
        message = _written(server, letter)
        connection = _connected(server, trusted)
        try:
            if server.user and server.password:
                connection.login(server.user, server.password)
            connection.send_message(message)
        finally:
            with suppress(
                smtplib.SMTPException, OSError
            ):  # whatever its farewell: a letter that was taken is sent
                connection.quit()
    except smtplib.SMTPRecipientsRefused as error:
        codes = [code for code, _ in error.recipients.values()]
        said = ", ".join(str(code) for code in codes)
        raise _refused(server, f"it refused the owner's address ({said})", max(codes)) from None
    except smtplib.SMTPResponseException as error:
        raise _refused(server, f"it answered {error.smtp_code}", error.smtp_code) from None
    except smtplib.SMTPNotSupportedError:
        raise _refused(
            server, "it does not offer what is set (encryption, or signing in)", _LASTING
        ) from None
    except (smtplib.SMTPException, OSError) as error:
        why = distrust(error)
        if why is not None:
            raise FilingError(
                f"The mail server {server.host} shows a certificate that this machine does not trust ({why}): nothing was"
                " sent. Have it mended, or name the file of its authority in ROSTRAL_AUTHORITIES."
            ) from None
        raise _refused(server, f"it cannot be used ({type(error).__name__})", _PASSING) from None
    except (ValueError, UnicodeError):
        raise FilingError("The owner's e-mail address or the sender's is none: correct it.") from None


def _connected(server: MailServer, trusted: ssl.SSLContext) -> smtplib.SMTP:
    if server.security == "tls":
        return smtplib.SMTP_SSL(server.host, server.port, timeout=_TIMEOUT_S, context=trusted)
    connection = smtplib.SMTP(server.host, server.port, timeout=_TIMEOUT_S)
    if server.security == "starttls":
        try:
            connection.starttls(context=trusted)
        except BaseException:
            connection.close()
            raise
    return connection


def _written(server: MailServer, letter: Letter) -> EmailMessage:
    message = EmailMessage()
    message["From"] = server.sender
    message["To"] = letter.to
    message["Date"] = localtime()
    message["Subject"] = " ".join(letter.subject.split())
    message["Message-ID"] = f"<{letter.identifier}@rostral.invalid>"
    message.set_content(letter.text)
    kind = "pdf" if letter.file_name.endswith(".pdf") else "octet-stream"
    message.add_attachment(letter.data, maintype="application", subtype=kind, filename=letter.file_name)
    return message


def _refused(server: MailServer, why: str, code: int) -> FilingError:
    """What a server that answers so did: codes from 500 on are final (RFC 5321, section 4.2.1)."""
    kind = FilingError if code >= _LASTING else AwayError
    return kind(f"The mail server {server.host} did not take the letter: {why}.")
