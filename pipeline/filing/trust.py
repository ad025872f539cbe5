"""Which servers are believed to be who they say they are."""

from __future__ import annotations

import ssl
from pathlib import Path

from pipeline.filing.errors import FilingError


def trusting(authorities: Path | None) -> ssl.SSLContext:
    """What this machine trusts, and the authorities of a file (PEM) beside: a practice's own server may have its own.

    Raises FilingError for a file that holds none.
    """
    context = ssl.create_default_context()
    if authorities is not None:
        try:
            context.load_verify_locations(authorities.expanduser())
        except (OSError, ssl.SSLError) as error:
            raise FilingError(
                f"The file {authorities} of trusted authorities cannot be used: {error.strerror or error}."
                " Name a file of certificates in PEM form."
            ) from None
    return context


def distrust(error: BaseException | None) -> str | None:
    """Why a certificate was not believed, if that is what stands behind an error; null if not."""
    while error is not None:
        if isinstance(error, ssl.SSLCertVerificationError):
            return error.verify_message or "it cannot be verified"
        error = error.__cause__ or error.__context__
    return None
