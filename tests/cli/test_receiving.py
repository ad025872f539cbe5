"""`rostral receive`: the record comes back from our own FHIR documents, and from no other."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from commands import Run, one_line
from signed import LEXICON, sample

from pipeline.filing.fhir import Release, fhir_document
from pipeline.filing.outgoing import outgoing


@pytest.mark.parametrize("release", ["R4B", "R5"])
def test_the_same_record_comes_back(run: Run, tmp_path: Path, release: Release) -> None:
    version, file = sample("cat_terse"), tmp_path / "document.json"
    file.write_text(fhir_document(outgoing([version]), release, LEXICON), encoding="utf-8")
    done = run("receive", file)
    assert done.exit_code == 0, done.stderr
    assert json.loads(done.stdout) == version.record.model_dump(mode="json")
    assert f"FHIR {release}" in done.stderr


def changed(text: str) -> str:
    return text.replace('"final"', '"amended"', 1)


def of_another(_: str) -> str:
    return json.dumps({"resourceType": "Bundle", "type": "document", "entry": [{"resource": {}}]})


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda text: text[: len(text) // 2], "no FHIR document in JSON"),
        (of_another, "no document that Rostral wrote"),
        (changed, "says two things: its"),
        (lambda _: "{}", "it has to be one Bundle"),
    ],
    ids=["torn", "another program's", "changed", "no bundle"],
)
def test_what_is_not_taken_is_told_in_one_line(
    run: Run, tmp_path: Path, spoil: Callable[[str], str], said: str
) -> None:
    file = tmp_path / "document.json"
    file.write_text(spoil(fhir_document(outgoing([sample("cat_terse")]), "R4B", LEXICON)), encoding="utf-8")
    done = run("receive", file)
    assert done.exit_code == 1
    assert done.stdout == ""
    assert said in one_line(done.stderr)
    assert str(file) in done.stderr


def test_a_file_that_is_not_there_is_told(run: Run, tmp_path: Path) -> None:
    done = run("receive", tmp_path / "none.json")
    assert done.exit_code == 2
    assert "There is no FHIR document" in one_line(done.stderr)
