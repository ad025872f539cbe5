"""Sends a finished file to an owner through the practice's own mail server (RFC 5321, RFC 5322)."""

from __future__ import annotations

import smtplib
import ssl
from email.message import EmailMessage
from typing import Literal

from pydantic import Field

from pipeline.filing.errors import FilingError
from pipeline.speech.model import Frozen

_TIMEOUT_S = 30.0
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


def send_mail(server: MailServer, letter: Letter) -> None:
    """Send a letter. Raises FilingError, whose message never holds the owner's address: it is kept in the trail."""
    if server.security == "none" and server.host not in _LOOPBACK:
        raise FilingError(
            f"The mail server {server.host} would get the letter unencrypted: set starttls or tls."
        )
    try:
        message = _written(server, letter)
        with _connected(server) as connection:
            if server.user and server.password:
                connection.login(server.user, server.password)
            connection.send_message(message)
    except smtplib.SMTPRecipientsRefused as error:
        codes = ", ".join(str(code) for code, _ in error.recipients.values())
        raise _refused(server, f"it refused the owner's address ({codes})") from None
    except smtplib.SMTPResponseException as error:
        raise _refused(server, f"it answered {error.smtp_code}") from None
    except (smtplib.SMTPException, OSError) as error:
        raise _refused(server, f"it cannot be used ({type(error).__name__})") from None
    except (ValueError, UnicodeError):
        raise FilingError("The owner's e-mail address or the sender's is none: correct it.") from None


def _connected(server: MailServer) -> smtplib.SMTP:
    context = ssl.create_default_context()
    if server.security == "tls":
        return smtplib.SMTP_SSL(server.host, server.port, timeout=_TIMEOUT_S, context=context)
    connection = smtplib.SMTP(server.host, server.port, timeout=_TIMEOUT_S)
    if server.security == "starttls":
        try:
            connection.starttls(context=context)
        except BaseException:
            connection.close()
            raise
    return connection


def _written(server: MailServer, letter: Letter) -> EmailMessage:
    message = EmailMessage()
    message["From"] = server.sender
    message["To"] = letter.to
    message["Subject"] = " ".join(letter.subject.split())
    message["Message-ID"] = f"<{letter.identifier}@rostral.invalid>"
    message.set_content(letter.text)
    kind = "pdf" if letter.file_name.endswith(".pdf") else "octet-stream"
    message.add_attachment(letter.data, maintype="application", subtype=kind, filename=letter.file_name)
    return message


def _refused(server: MailServer, why: str) -> FilingError:
    return FilingError(
        f"The mail server {server.host} did not take the letter: {why}. Try again once this is solved."
    )
