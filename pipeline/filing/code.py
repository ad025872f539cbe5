"""The square code on a record: which record, which version, which checksum, for a reader at hand."""

from __future__ import annotations

import io

import segno

from pipeline.store.model import SignedVersion


def code_text(version: SignedVersion) -> str:
    """What the code says, as one line: "rostral record=… version=… sha256=…"."""
    return f"rostral record={version.record_id} version={version.version} sha256={version.sha256}"


def record_code(version: SignedVersion) -> str:
    """Draw the code (ISO/IEC 18004, a quarter of it may be lost) as SVG with the empty rim that readers need."""
    out = io.BytesIO()
    code = segno.make_qr(code_text(version), error="q")
    code.save(out, kind="svg", border=4, xmldecl=False, svgns=True, dark="#22252a", omitsize=True, nl=False)
    return out.getvalue().decode("utf-8")
