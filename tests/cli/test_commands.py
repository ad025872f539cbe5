"""What the commands print, from the real chain on real samples."""

from __future__ import annotations

import json
import re
import wave
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from commands import ROOT, SAMPLES, Process, Run
from typer.testing import Result

from pipeline.capture import SAMPLE_RATE_HZ, read_audio
from pipeline.cli.examining import sample_names
from pipeline.extraction.explain import Explanation
from pipeline.record import SCHEMA_VERSION, ExamRecord
from pipeline.record.schema import record_schema
from pipeline.speech import Transcript

COMMITTED_SCHEMA = ROOT / "pipeline" / "record" / "record.schema.json"
ESCAPE = "\x1b"


def evidence_in(value: Any) -> Iterator[dict[str, Any]]:
    """Every piece of evidence anywhere in a record."""
    if isinstance(value, dict):
        if {"text", "start_char", "end_char", "start_s", "heard"} == set(value) - {"end_s"}:
            yield value
        for inner in value.values():
            yield from evidence_in(inner)
    if isinstance(value, list):
        for inner in value:
            yield from evidence_in(inner)


def checked_record(result: Result) -> dict[str, Any]:
    """Read the record, which has to be all of standard output, fit the schema, and quote exactly."""
    assert result.exit_code == 0, result.stderr
    record: dict[str, Any] = json.loads(result.stdout)
    jsonschema.Draft202012Validator(record_schema()).validate(record)
    text = record["transcript"]["text"]
    for evidence in evidence_in({key: value for key, value in record.items() if key != "transcript"}):
        assert text[evidence["start_char"] : evidence["end_char"]] == evidence["text"]
    for fact in (*record["findings"], *record["measurements"]):
        assert fact["evidence"]
    return record


@pytest.fixture
def beginning(tmp_path: Path) -> Path:
    """Cut the first twenty seconds off a sample, where the whole would only take longer."""
    samples = read_audio(SAMPLES / "cat_terse.flac").pcm[: 20 * SAMPLE_RATE_HZ]
    file = tmp_path / "beginning.wav"
    with wave.open(str(file), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(SAMPLE_RATE_HZ)
        sound.writeframes(samples.tobytes())
    return file


def assert_times_fit(record: dict[str, Any]) -> None:
    """Check that each piece of evidence has the times of the words it quotes."""
    words = [word for utterance in record["transcript"]["utterances"] for word in utterance["words"]]
    for evidence in evidence_in([record["findings"], record["measurements"], record["plan"]]):
        quoted = [
            word
            for word in words
            if word["start_char"] < evidence["end_char"] and evidence["start_char"] < word["end_char"]
        ]
        assert evidence["start_s"] == quoted[0]["start_s"]
        assert evidence["end_s"] == quoted[-1]["end_s"]


def test_exam_gives_a_valid_record_with_evidence_in_words_and_time(run: Run) -> None:
    """The main job, with the standard model on a whole sample."""
    options = ("--patient", SAMPLES / "cat_terse.patient.json", "--visit", "pre_anaesthetic", "--json")
    record = checked_record(run("exam", SAMPLES / "cat_terse.flac", *options, "--date", "2026-03-02"))
    assert record["visit"] == {"kind": "pre_anaesthetic", "on": "2026-03-02"}
    assert record["transcript"]["model"] == "base"
    assert record["findings"]
    assert record["measurements"]
    assert_times_fit(record)


def test_exam_takes_another_model(run: Run, beginning: Path) -> None:
    record = checked_record(run("exam", beginning, "--model", "tiny.en", "--json"))
    assert record["transcript"]["model"] == "tiny.en"
    assert record["patient"] is None
    assert_times_fit(record)


def test_transcribe_prints_lines_with_times_or_a_transcript(run: Run, beginning: Path) -> None:
    readable = run("transcribe", beginning, "--model", "tiny.en")
    assert readable.exit_code == 0
    lines = readable.stdout.splitlines()
    assert all(re.match(r"\[\d+:\d\d\.\d\] \S", line) for line in lines)
    transcript = Transcript.model_validate_json(
        run("transcribe", beginning, "--model", "tiny.en", "--json").stdout
    )
    spoken = [transcript.text[one.start_char : one.end_char] for one in transcript.utterances]
    assert [line.split("] ", 1)[1] for line in lines] == spoken


@pytest.mark.parametrize("name", sample_names())
def test_extract_makes_a_valid_record_of_every_sample_text(run: Run, name: str) -> None:
    patient = SAMPLES / f"{name}.patient.json"
    result = run("extract", SAMPLES / f"{name}.txt", "--patient", patient, "--date", "2026-03-02", "--json")
    record = checked_record(result)
    assert record["patient"]["name"] == json.loads(patient.read_text(encoding="utf-8"))["name"]
    assert ExamRecord.model_validate(record).model_dump(mode="json") == record


def test_extract_keeps_the_text_as_it_came(run: Run, tmp_path: Path) -> None:
    """Line ends and odd characters stay, so that offsets fit the caller's own file."""
    text = "Ears\r\nclean,  no wax.\r\nTemp 38.6 °C, fine “today”.\r\n"
    file = tmp_path / "dictation.txt"
    file.write_bytes(text.encode("utf-8"))
    assert checked_record(run("extract", file, "--json"))["transcript"]["text"] == text
    assert checked_record(run("extract", "-", "--json", given=text.encode()))["transcript"]["text"] == text


EXPLAINED = "Left ear, no smell. Spaniels get waxy ears. Recheck in two weeks."


def test_explain_shows_acts_reach_and_what_was_set_aside(run: Run) -> None:
    """Each clause with what it does, in words that need no colour, and without any in a pipe."""
    result = run("extract", "-", "--explain", given=EXPLAINED)
    assert result.exit_code == 0, result.stderr
    lines = [" ".join(line.split()) for line in result.stdout.splitlines()]
    assert ESCAPE not in result.stdout
    assert "TEACHING Spaniels get waxy ears" in lines
    assert "why: its own words, “Spaniels” (teaching_breeds)" in lines
    assert "“no” denies “smell”" in lines
    assert "set aside: “waxy ears” (said of animals, diseases or times in general)" in " ".join(lines)


def test_explain_as_json_is_a_document_of_its_own(run: Run) -> None:
    """It fits its model; the record's document stays as it is without --explain."""
    result = run("extract", "-", "--explain", "--json", given=EXPLAINED)
    explanation = Explanation.model_validate_json(result.stdout)
    assert [clause.act for clause in explanation.clauses[-2:]] == ["teaching", "plan"]
    assert explanation.text == EXPLAINED
    checked_record(run("extract", "-", "--json", given=EXPLAINED))


def test_extract_of_nothing_says_so(run: Run) -> None:
    result = run("extract", "-", given="  \n")
    assert result.exit_code == 0
    assert "text is empty" in result.stderr
    assert "No speech was understood" in result.stdout


def test_visit_and_date_reach_the_record(run: Run) -> None:
    options = ("--visit", "pre-anaesthetic", "--date", "2026-03-02", "--json")
    result = run("extract", "-", *options, given="Recheck in ten days.")
    record = checked_record(result)
    assert record["visit"] == {"kind": "pre_anaesthetic", "on": "2026-03-02"}
    assert record["plan"][0]["due"] == "2026-03-12"


@pytest.mark.parametrize("width", [80, 120])
def test_in_a_pipe_the_view_is_plain_and_fits(run: Run, monkeypatch: pytest.MonkeyPatch, width: int) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    for name in sample_names():
        result = run(
            "extract", SAMPLES / f"{name}.txt", "--patient", SAMPLES / f"{name}.patient.json", "--talk"
        )
        assert result.exit_code == 0
        assert ESCAPE not in result.stdout
        assert max(map(len, result.stdout.splitlines())) <= width


def test_no_color_is_honoured(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """https://no-color.org: set and not empty, it takes the colours away; bold may stay."""
    colour = re.compile(r"\x1b\[[\d;]*\b3[0-7]m")
    monkeypatch.setenv("FORCE_COLOR", "1")
    text = SAMPLES / "cat_terse.txt"
    assert colour.search(run("extract", text).stdout)
    monkeypatch.setenv("NO_COLOR", "1")
    assert not colour.search(run("extract", text).stdout)


def test_an_ascii_terminal_gets_the_same_facts(process: Process) -> None:
    text = process("extract", SAMPLES / "cat_terse.txt", "--date", "2026-03-02", PYTHONIOENCODING="ascii")
    assert text.returncode == 0
    assert "ABNORMAL" in text.stdout.decode("ascii")
    document = process("extract", SAMPLES / "cat_terse.txt", "--json", PYTHONIOENCODING="ascii")
    spoken = (SAMPLES / "cat_terse.txt").read_bytes().decode("utf-8")
    assert json.loads(document.stdout.decode("ascii"))["transcript"]["text"] == spoken


def test_the_committed_schema_is_current(run: Run) -> None:
    """After a wanted change: raise SCHEMA_VERSION and write what `rostral schema` prints over the copy."""
    printed = run("schema").stdout
    assert printed == COMMITTED_SCHEMA.read_text(encoding="utf-8")
    schema = json.loads(printed)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$id"].endswith(f":{SCHEMA_VERSION}")
    assert schema["properties"]["schema_version"]["const"] == SCHEMA_VERSION


def test_lexicon_find_tells_meaning_and_table(run: Run) -> None:
    known = run("lexicon", "find", "heart", "murmur")
    assert known.exit_code == 0
    assert "finding of cardiovascular" in known.stdout
    assert "lexicon/findings/cardiovascular.toml" in known.stdout
    unknown = run("lexicon", "find", "jingavitis")
    assert unknown.exit_code == 1
    assert unknown.stdout == ""
    assert "gingivitis" in unknown.stderr


def test_lexicon_find_tells_the_way_to_a_meaning(run: Run) -> None:
    """Also of a phrase that no table holds: a rule, a composition."""
    assert "comparative of 'itchy'" in run("lexicon", "find", "itchier").stdout
    composed = run("lexicon", "find", "thickened left ear canal").stdout
    assert "composed: ear canal + thickening" in composed
    assert "canal_hyperplasia" in composed
    assert "with 'that' between" in run("lexicon", "find", "scratching at that ear").stdout


def test_own_terms_are_shown_and_their_faults_end_with_one_line(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the practice added is told by check and find; a fault in it is told by any command."""
    terms = tmp_path / "terms.toml"
    monkeypatch.setenv("ROSTRAL_TERMS", str(terms))
    terms.write_text('[[wording]]\nof = "ear_wax"\nterms = ["brown sugar ear"]\n', encoding="utf-8")
    assert f"1 wording, 0 findings, 0 structures from {terms}" in run("check").stdout
    assert f"{terms}, wording 1 (ear_wax)" in run("lexicon", "find", "brown sugar ear").stdout
    terms.write_text('[[wording]]\nof = "ear_waks"\nterms = ["zz"]\n', encoding="utf-8")
    for command in (("extract", "-"), ("lexicon", "find", "wax")):
        failed = run(*command, given="Ears clean.")
        assert failed.exit_code == 1
        assert failed.stdout == ""
        assert f"{terms}, wording 1 (ear_waks)" in failed.stderr
        assert failed.stderr.count("\n") == 1


def test_evaluate_prints_scores_and_every_error_when_asked(run: Run, tmp_path: Path) -> None:
    (tmp_path / "one.toml").write_text(
        'style = "terse"\nspecies = "dog"\nvisit = "health_check"\ntext = "Ears clean, no fleas."\n'
        'findings = [{ words = "clean", system = "eyes", nature = "normal" }]\n',
        encoding="utf-8",
    )
    result = run("evaluate", tmp_path)
    assert result.exit_code == 0
    assert "1 dictations, 1 facts" in result.stdout
    assert "--errors" in result.stdout
    assert "MISS" in run("evaluate", tmp_path, "--errors").stdout


def test_evaluate_counts_an_invented_denial_as_silent(run: Run, tmp_path: Path) -> None:
    """What nobody annotated and nobody is asked to look at is silent, a denial as well as an abnormality."""
    (tmp_path / "one.toml").write_text(
        'style = "terse"\nspecies = "dog"\nvisit = "health_check"\ntext = "Ears clean, no fleas."\n'
        'findings = [{ words = "clean", system = "ears", nature = "normal" }]\n',
        encoding="utf-8",
    )
    shown = run("evaluate", tmp_path).stdout
    assert re.search(r"findings: recall +100\.0 %", shown)
    assert re.search(r"wrong facts that nobody is asked to look at +1 +1 *\n", shown)


def test_evaluate_shows_each_folder_of_a_folder_apart(run: Run, tmp_path: Path) -> None:
    """Figures of texts for tuning and of unseen ones are never one number; `--json` gives all of them."""
    for half in ("dev", "test"):
        (tmp_path / half).mkdir()
        (tmp_path / half / "one.toml").write_text(
            'style = "terse"\nspecies = "dog"\nvisit = "sick"\ntext = "No wax or mites. Eyes bright."\n'
            "findings = [\n"
            '  { words = "wax", system = "ears", assertion = "absent" },\n'
            '  { words = "mites", system = "ears", assertion = "absent" },\n]\n',
            encoding="utf-8",
        )
    shown = run("evaluate", tmp_path).stdout
    assert shown.count("1 dictations, 2 facts in") == 2
    assert re.search(r"denied in a list +1 +0 +0 +100\.0 %", shown)
    figures = json.loads(run("evaluate", tmp_path, "--json").stdout)
    assert [Path(part["folder"]).name for part in figures] == ["dev", "test"]
    assert figures[0]["as_given"]["by_phenomenon"]["absent"]["recall"] == 1.0
    assert figures[0]["as_given"]["findings"]["extra"] == 1  # nobody annotated the bright eyes


def test_evaluate_compares_with_the_answers_of_another_program(run: Run, tmp_path: Path) -> None:
    """Questions go out, answers come back, and one table shows both programs by phenomenon and speed."""
    gold = tmp_path / "gold"
    gold.mkdir()
    (gold / "one.toml").write_text(
        'style = "terse"\nspecies = "dog"\nvisit = "sick"\ntext = "No wax."\n'
        'findings = [{ words = "wax", system = "ears", assertion = "absent" }]\n',
        encoding="utf-8",
    )
    asked, answers = tmp_path / "questions.jsonl", tmp_path / "answers.json"
    assert run("evaluate", gold, "--questions", asked).exit_code == 0
    keys = [json.loads(line)["key"] for line in asked.read_text(encoding="utf-8").splitlines()]
    states = {key: ["present"] for key in keys}
    answers.write_text(
        json.dumps({"engine": "echo 1", "states": states, "words_per_second": 10}), encoding="utf-8"
    )
    shown = run("evaluate", gold, "--peers", answers).stdout
    assert re.search(r"denied|absent +1 +100\.0 % +100\.0 % +0\.0 %", shown)
    assert "echo 1" in shown


def test_evaluate_names_a_bad_file(run: Run, tmp_path: Path) -> None:
    (tmp_path / "bad.toml").write_text('style = "terse"\n', encoding="utf-8")
    result = run("evaluate", tmp_path)
    assert result.exit_code == 1
    assert "bad.toml" in result.stderr


def test_check_names_everything_that_is_needed(run: Run) -> None:
    result = run("check", "--model", "tiny.en")
    assert result.exit_code == 0, result.stderr
    for name in ("model tiny.en", "lexicon", "cache folder", "microphone library", "versions"):
        assert name in result.stdout


def test_check_fails_where_something_is_missing(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocked = tmp_path / "file"
    blocked.touch()
    monkeypatch.setenv("ROSTRAL_CACHE", str(blocked))
    result = run("check", "--model", str(tmp_path / "nowhere"))
    assert result.exit_code == 1
    assert "cache folder" in result.stderr
    assert "nowhere" in result.stderr


def test_demo_shows_words_record_and_other_samples(run: Run) -> None:
    result = run("demo", "cat_terse", "--model", "tiny.en")
    assert result.exit_code == 0, result.stderr
    assert result.stdout.startswith("What was said in cat_terse")
    assert "NOSE TO TAIL" in result.stdout
    for name in sample_names():
        assert name in result.stdout


def test_bench_measures_every_stage(run: Run, beginning: Path) -> None:
    result = run("bench", beginning, "--runs", "1", "--model", "tiny.en")
    assert result.exit_code == 0, result.stderr
    for figure in (
        "command start",
        "typed sample to record",
        "dictation of two minutes understood",
        "2,000 words in one recording, one core",
        "speech recognised",
        "share of real time",
        "words per second",
        "peak memory",
    ):
        assert figure in result.stdout


def test_the_command_itself_shows_help_and_version(process: Process) -> None:
    assert b"exam" in process().stdout
    assert re.fullmatch(rb"rostral \d+\.\d+\.\d+\S*\s*", process("--version").stdout)
