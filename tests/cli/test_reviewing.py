"""The life of a record on the command line: kept, reviewed, signed, amended, filed, found and compared."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from commands import Run, one_line
from hands import as_intruder
from sqlalchemy import update

from pipeline.store import Database
from pipeline.store.tables import record_version

VET, NURSE = "Ines Halloran", "Tobin Marsh"
FIRST = "Left ear red, no discharge. Eyes clear. Heart rate one eighty. Weight four kilos. Recheck the ear in ten days."


def dictated(run: Run, patient: str, said: str, day: str) -> str:
    """Keep what was said as a draft and give its identifier."""
    made = run(
        "extract", "-", "--keep", patient, "--date", day, "--visit", "recheck", "--as", VET, given=said
    )
    assert made.exit_code == 0, made.stderr
    lines: list[dict[str, Any]] = json.loads(run("record", "list", "--json", "--as", VET).stdout)
    return str(lines[0]["id"])


def answered(run: Run, record: str) -> None:
    """Answer every notice of a draft."""
    run("record", "accept", record, "--certain", "--as", VET)
    keys = [line.split()[0] for line in run("record", "facts", record, "--as", VET).stdout.splitlines() if
            line.split()[1:2] in (["warning"], ["critical"])]  # fmt: skip
    for key in keys:
        assert run("record", "acknowledge", record, key, "--because", "not today", "--as", VET).exit_code == 0


@pytest.fixture
def signed(juniper: str, run: Run) -> str:
    """A signed record of last year."""
    record = dictated(run, juniper, FIRST, "2025-06-16")
    answered(run, record)
    done = run("record", "sign", record, "--as", VET)
    assert done.exit_code == 0, done.stderr
    return record


def test_a_record_is_reviewed_signed_amended_and_filed(signed: str, run: Run) -> None:
    assert run("record", "correct", signed, "f1", "side=right", "--as", VET).exit_code == 1
    assert "version 1 stays" in run("record", "amend", signed, "--as", VET).stdout
    facts = json.loads(run("record", "facts", signed, "--json", "--as", VET).stdout)
    ear = next(f["id"] for f in facts["review"]["findings"] if f["value"]["concept"] == "ear_redness")
    assert run("record", "correct", signed, ear, "side=right", "--as", NURSE).exit_code == 0
    shown = run("record", "facts", signed, "--as", VET).stdout
    assert "understood" in shown
    assert NURSE in shown
    assert "Say why" in one_line(run("record", "sign", signed, "--as", VET).stderr)
    assert run("record", "sign", signed, "--because", "wrong side", "--as", VET).exit_code == 0
    versions = [
        json.loads(run("record", "show", signed, "--version", number, "--json", "--as", NURSE).stdout)
        for number in (1, 2)
    ]
    sides = [
        next(f["side"] for f in one["record"]["findings"] if f["concept"] == "ear_redness")
        for one in versions
    ]
    assert sides == ["left", "right"]
    assert [one["reason"] for one in versions] == [None, "wrong side"]
    assert run("record", "file", signed, "--note", "folder of 2025", "--as", NURSE).exit_code == 0
    trail = json.loads(run("record", "trail", signed, "--json", "--as", NURSE).stdout)
    actions = [one["action"] for one in trail]
    assert [actions.count(name) for name in ("sign", "amend", "file")] == [2, 1, 1]
    assert {one["by"] for one in trail if one["action"] == "view"} == {VET, NURSE}


def test_a_nurse_cannot_sign_and_notices_stop_a_signature(juniper: str, run: Run) -> None:
    record = dictated(run, juniper, "Temperature forty one point nine. Eyes clear.", "2025-06-16")
    assert "Only a vet" in one_line(run("record", "sign", record, "--as", NURSE).stderr)
    refused = run("record", "sign", record, "--as", VET)
    assert refused.exit_code == 1
    assert "Temperature 41.9" in one_line(refused.stderr)
    assert "critical" in run("record", "facts", record, "--as", VET).stdout


def test_last_years_record_is_found_and_compared(signed: str, juniper: str, run: Run) -> None:
    record = dictated(
        run, juniper, "Eyes clear. Weight three point eight kilos. Grade two of six murmur.", "2026-06-14"
    )
    assert "last examination" in " ".join(run("record", "facts", record, "--as", VET).stdout.split())
    compared = json.loads(run("record", "compare", record, "--json", "--as", VET).stdout)
    assert compared["earlier"]["id"] == signed
    assert {(one["course"], one["system"]) for one in compared["findings"]} == {
        ("new", "cardiovascular"),
        ("not_named", "ears"),
    }
    (weight,) = (one for one in compared["values"] if one["kind"] == "weight")
    assert weight["percent"] == -5.0
    assert "-5.0 %" in run("record", "compare", record, "--as", VET).stdout
    answered(run, record)
    assert run("record", "sign", record, "--as", VET).exit_code == 0
    hits = json.loads(run("find", "murm", "--of", "record", "--json", "--as", VET).stdout)
    assert [hit["id"] for hit in hits] == [record]
    history = run("patient", "history", juniper, "--of", "weight", "--as", VET).stdout
    assert "-0.2 (-5.0 %)" in history
    assert json.loads(run("patient", "history", juniper, "--json", "--as", VET).stdout)["dates_said"] == []


def test_every_change_of_a_review_has_its_command(juniper: str, run: Run) -> None:
    record = dictated(run, juniper, "Both ears red. Small lump on the left flank. Eyes clear.", "2025-06-16")
    facts = json.loads(run("record", "facts", record, "--json", "--as", VET).stdout)["review"]
    ears = next(f["id"] for f in facts["findings"] if f["value"]["system"] == "ears")
    eyes = next(f["id"] for f in facts["findings"] if f["value"]["system"] == "eyes")
    for words in (
        ("split", ears, "--into", "side=left severity=mild", "--into", "side=right severity=severe"),
        ("reject", eyes, "--because", "not looked at"),
        ("restore", eyes),
        ("accept", eyes),
        ("add", "finding", "system=ears", "concept=ear_wax", "side=left"),
        ("add", "measurement", "kind=weight", "value=4.1"),
        ("add", "plan", "text=recheck in a week", "kind=recheck", "due=2025-06-23"),
        ("correct", "p1", "state=declined", "due="),
        ("normal", "nose"),
        ("not-examined", "mouth", "--because", "would not open"),
    ):  # fmt: skip
        command, *rest = words
        done = run("record", command, record, *rest, "--as", VET)
        assert done.exit_code == 0, (words, done.stderr)
    review = json.loads(run("record", "facts", record, "--json", "--as", VET).stdout)["review"]
    assert {f["value"]["severity"] for f in review["findings"] if f["made_from"] == [ears]} == {
        "mild",
        "severe",
    }
    assert (review["plan"][0]["value"]["state"], review["plan"][0]["value"]["due"]) == ("declined", None)
    made = [f["id"] for f in review["findings"] if f["made_from"] == [ears]]
    assert run("record", "merge", record, *made, "--set", "side=both", "--as", VET).exit_code == 0


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("correct", "f1", "colour=red"), "The fields are"),
        (("correct", "f1", "side=top"), "side cannot be"),
        (("correct", "f1", "side"), "FIELD=VALUE"),
        (("correct", "x1", "side=left"), "no fact"),
        (("add", "wish", "a=b"), "no fact of kind"),
        (("normal", "eers"), "system cannot be"),
        (("acknowledge", "zz", "--because", "x"), "No notice"),
        (("accept",), "--certain"),
    ],
)
def test_a_wrong_change_is_told_with_what_is_right(
    juniper: str, run: Run, words: tuple[str, ...], says: str
) -> None:
    record = dictated(run, juniper, "Left ear red.", "2025-06-16")
    command, *rest = words
    result = run("record", command, record, *rest, "--as", VET)
    assert result.exit_code == 2
    assert says in one_line(result.stderr)


def test_operations_of_a_file_are_applied_all_or_none_and_to_the_revision_read(
    juniper: str, run: Run
) -> None:
    record = dictated(run, juniper, "Left ear red. Eyes clear.", "2025-06-16")
    both = json.dumps([{"do": "accept", "fact": "f1"}, {"do": "accept", "fact": "f9"}])
    assert run("record", "apply", record, "-", "--as", VET, given=both).exit_code == 1
    before = json.loads(run("record", "facts", record, "--json", "--as", VET).stdout)
    assert not before["review"]["findings"][0]["confirmed"]
    one = json.dumps({"do": "accept", "fact": "f1"})
    revision = before["revision"]
    assert run("record", "apply", record, "-", "--revision", revision, "--as", VET, given=one).exit_code == 0
    again = run("record", "apply", record, "-", "--revision", revision, "--as", VET, given=one)
    assert again.exit_code == 1
    assert "not lost" in one_line(again.stderr)


def test_a_record_that_was_written_as_json_is_kept(juniper: str, tmp_path: Path, run: Run) -> None:
    made = run("extract", "-", "--json", "--date", "2025-03-02", given="Left ear red.")
    file = tmp_path / "record.json"
    file.write_text(made.stdout, encoding="utf-8")
    kept = run("record", "keep", file, juniper, "--as", VET)
    assert kept.exit_code == 0, kept.stderr
    shown = json.loads(run("record", "show", kept.stdout.strip(), "--json", "--as", VET).stdout)
    assert shown["state"] == "draft"
    assert shown["record"]["visit"]["on"] == "2025-03-02"
    file.write_text('{"transcript": 3}', encoding="utf-8")
    wrong = run("record", "keep", file, juniper, "--as", VET)
    assert wrong.exit_code == 2
    assert "transcript" in one_line(wrong.stderr)


def test_the_audit_names_what_other_hands_did_and_ends_with_1(
    signed: str, books: str | Path, run: Run
) -> None:
    assert "All is as it was written." in run("check", "--audit").stdout
    database = Database(books)
    as_intruder(database, update(record_version).values(signed_name="Perrin Vale"))
    database.close()
    found = run("check", "--audit")
    assert found.exit_code == 1
    assert f"Version 1 of record {signed}" in found.stdout
    assert "1 fault" in one_line(found.stderr)
    told = json.loads(run("check", "--audit", "--json").stdout)
    assert (len(told["faults"]), told["versions"]) == (1, 1)
