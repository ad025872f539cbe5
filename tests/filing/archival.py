"""What ISO 19005 and ISO 14289-1 ask of a file, as far as two independent readers can tell.

No full validator of these standards is in the package registries that this project uses. What stands here was written from
memory of the standards, clause by clause, and is less than such a validator checks: it does not compare glyph widths or judge
whether tags are well chosen. The typesetter refuses many faults by itself.
"""

from __future__ import annotations

import io
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pikepdf
import pytest

_FORBIDDEN_ACTIONS = {"/JavaScript", "/Launch", "/Sound", "/Movie", "/ResetForm", "/ImportData", "/Rendition"}
_DRAWING = {"Tj", "TJ", "'", '"', "Do", "f", "f*", "F", "S", "s", "B", "B*", "b", "b*", "sh", "EI"}
_POPPLER = "this test reads documents with Poppler: install poppler-utils (Debian) or poppler"


def opened(pdf: bytes) -> pikepdf.Pdf:
    return pikepdf.open(io.BytesIO(pdf))


def assert_archival(pdf: bytes, part: str, language: str = "en-GB") -> None:
    """Hold a file against the clauses named beside each check."""
    file = opened(pdf)
    root: Any = file.Root
    # 19005-3, 6.1.2: a header of PDF 1.n and a comment of bytes above 127 after it.
    head, comment = pdf.split(b"\n", 2)[:2]
    assert head.startswith(b"%PDF-1.7")
    assert comment[:1] == b"%"
    assert all(byte > 127 for byte in comment[1:5])
    # ISO 32000-1, the syntax of the file: by qpdf, inside pikepdf.
    assert file.check_pdf_syntax() == []
    # 6.1.3: no encryption, an identifier in the trailer.
    assert not file.is_encrypted
    assert len(file.trailer["/ID"]) == 2
    # 6.6.4 and 14289-1, 5: the file says what it is.
    with file.open_metadata() as said:
        assert (said["pdfaid:part"], said["pdfaid:conformance"]) == (part, "A")
        assert said["pdfuaid:part"] == "1"
        # 6.6.3: what stands in both places agrees. 14289-1, 7.1: a title.
        assert said["dc:title"] == str(file.docinfo["/Title"])
    # 14289-1, 7.1: the title is shown, not the file's name.
    assert bool(root.ViewerPreferences.DisplayDocTitle)
    # 6.7.2, 6.7.4: tagged, in a language.
    assert bool(root.MarkInfo.Marked)
    assert str(root.Lang) == language
    assert len(list(elements(root.StructTreeRoot))) > 5
    assert_all_is_tagged(file)
    # 6.2.3, 6.2.4: colours of devices need an output intent with its profile.
    intents = [intent for intent in root.OutputIntents if intent.S == "/GTS_PDFA1"]
    assert len(intents) == 1
    assert len(intents[0].DestOutputProfile.read_bytes()) > 100
    # 6.5: nothing runs.
    assert "/OpenAction" not in root
    assert "/AA" not in root
    for thing in file.objects:
        if isinstance(thing, pikepdf.Dictionary):
            assert str(thing.get("/S", "")) not in _FORBIDDEN_ACTIONS
    # 6.2.11.4.1: all faces are in the file. 6.2.11.7: every glyph leads back to its character.
    found = list(fonts(file))
    assert found
    for font in found:
        inner: Any = font.DescendantFonts[0] if font.Subtype == "/Type0" else font
        descriptor = inner.FontDescriptor
        assert any(key in descriptor for key in ("/FontFile", "/FontFile2", "/FontFile3")), font.BaseFont
        assert "/ToUnicode" in font
    # 14289-1, 7.3: pictures have a text for those who do not see them.
    for element in elements(root.StructTreeRoot):
        if element.S == "/Figure":
            assert str(element.Alt).strip()


def assert_all_is_tagged(file: pikepdf.Pdf) -> None:
    """ISO 14289-1, 7.1: whatever is drawn is either tagged or said to be no content (a line, a page's head)."""
    for page in file.pages:
        depth = 0
        for instruction in pikepdf.parse_content_stream(page):
            operands: Any = instruction.operands
            name = str(instruction.operator)
            if name in ("BDC", "BMC"):
                depth += 1
                marked = (
                    name == "BDC" and isinstance(operands[1], pikepdf.Dictionary) and "/MCID" in operands[1]
                )
                assert marked or depth > 1 or str(operands[0]) == "/Artifact"
            elif name == "EMC":
                depth -= 1
            elif name in _DRAWING:
                assert depth > 0, name
        assert depth == 0


def assert_attached(pdf: bytes, name: str) -> bytes:
    """Give an attachment that is described as ISO 19005-3 asks, 6.8 and annex E."""
    file = opened(pdf)
    spec: Any = next(spec for spec in file.Root.AF if str(spec.UF) == name)
    assert str(spec.F) == name
    assert spec.AFRelationship in ("/Source", "/Data", "/Alternative", "/Supplement", "/Unspecified")
    assert str(spec.EF.F.Subtype) == "/application/json"
    return file.attachments[name].get_file().read_bytes()


def fonts(file: pikepdf.Pdf) -> Iterator[Any]:
    """All faces of a file; descendants come with theirs."""
    for thing in file.objects:
        is_font = isinstance(thing, pikepdf.Dictionary) and thing.get("/Type") == "/Font"
        if is_font and not str(thing.get("/Subtype", "")).startswith("/CIDFont"):
            yield thing


def elements(element: Any) -> Iterator[Any]:
    """All tags below one, in reading order."""
    children = element.get("/K")
    if children is None:
        return
    for child in children if isinstance(children, pikepdf.Array) else [children]:
        if isinstance(child, pikepdf.Dictionary) and "/S" in child:
            yield child
            yield from elements(child)


def poppler(tool: str, pdf: bytes, folder: Path, *options: str) -> str:
    """What a program of Poppler prints of a file. Skips where there is none."""
    path = shutil.which(tool)
    if path is None:
        pytest.skip(_POPPLER)
    file = folder / "document.pdf"
    file.write_bytes(pdf)
    words = [path, *(option.replace("DOCUMENT", str(file)) for option in options)]
    done = subprocess.run(words, capture_output=True, text=True, check=True, encoding="utf-8")
    return done.stdout


def text_of(pdf: bytes, folder: Path) -> str:
    """The text as Poppler finds it, on one line, without the places where long words may break."""
    text = poppler("pdftotext", pdf, folder, "-enc", "UTF-8", "DOCUMENT", "-")
    return " ".join(text.replace("\u200b", "").split())
