"""Wrong calls and bad input: an exit code and one line that says what to do, never a traceback."""

from __future__ import annotations

import json
import wave
from pathlib import Path

import numpy as np
import pytest
import typer
from commands import SAMPLES, Process, Run, one_line
from typer.testing import CliRunner

from pipeline.cli.border import BorderGroup
from pipeline.settings import DEBUG_VARIABLE

TEXT = SAMPLES / "cat_terse.txt"
SOUND = SAMPLES / "cat_terse.flac"


def write_wav(path: Path, samples: np.ndarray[tuple[int], np.dtype[np.int16]]) -> Path:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16_000)
        file.writeframes(samples.tobytes())
    return path


def silence(path: Path) -> Path:
    return write_wav(path, np.zeros(160_000, dtype=np.int16))


def white_noise(path: Path) -> Path:
    noise = np.random.default_rng(7).normal(0.0, 0.1, 160_000)
    return write_wav(path, (noise * 32_767).clip(-32_768, 32_767).astype(np.int16))


def test_a_text_file_named_wav_is_refused(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "notes.wav"
    file.write_text("Ears clean, no wax.", encoding="utf-8")
    result = run("exam", file)
    assert result.exit_code == 1
    assert result.stdout == ""
    assert str(file) in one_line(result.stderr)


def test_an_empty_file_is_refused(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "empty.wav"
    file.touch()
    result = run("exam", file, "--json")
    assert result.exit_code == 1
    assert result.stdout == ""
    assert "0 bytes" in one_line(result.stderr)


@pytest.mark.parametrize("make", [silence, white_noise])
def test_ten_seconds_without_speech_give_an_empty_record(run: Run, tmp_path: Path, make: object) -> None:
    """Done, not failed: the record says that nothing was said, and one line on standard error says why."""
    assert callable(make)
    result = run("exam", make(tmp_path / "sound.wav"), "--model", "tiny.en", "--json")
    assert result.exit_code == 0
    record = json.loads(result.stdout)
    assert record["transcript"]["text"] == ""
    assert record["findings"] == record["measurements"] == record["plan"] == []
    assert {review["state"] for review in record["systems"]} == {"not_mentioned"}
    assert "The recording" in one_line(result.stderr)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["exam"], "Missing argument"),
        (["exam", "nothing.wav"], "no file nothing.wav"),
        (["exam", SOUND, "--patient", "nobody.json"], "no patient file nobody.json"),
        (["exam", SOUND, "--patient", SAMPLES], "is a folder"),
        (["exam", SOUND, "--visit", "birthday"], "vaccination, sick, recheck"),
        (["exam", SAMPLES], "is a folder. Give one sound file"),
        (["transcribe", SAMPLES], "is a folder. Give one sound file"),
        (["bench", SAMPLES], "is a folder. Give one sound file"),
        (["extract", SAMPLES], "is a folder"),
        (["exam", SOUND, "--date", "31/12/2025"], "YYYY-MM-DD"),
        (["extract", TEXT, "--date", "20200101"], "YYYY-MM-DD"),
        (["extract", TEXT, "--date", "2020-W01-1"], "YYYY-MM-DD"),
        (["extract", TEXT, "--date", "2020-02-30"], "YYYY-MM-DD"),
        (["exam", SOUND, "--device", "abacus"], "--device"),
        (["exam", SOUND, "--colour"], "No such option"),
        (["extract", "nothing.txt"], "no text file nothing.txt"),
        (["extract", TEXT, "--visit", "birthday"], "health_check"),
        (["demo", "unicorn"], "dog_chatty"),
        (["evaluate", "nowhere"], "no folder nowhere"),
        (["lexicon"], "A command is missing. See: rostral lexicon --help"),
        (["foretell"], "No such command"),
    ],
)
def test_a_wrong_call_ends_with_code_2(run: Run, arguments: list[object], said: str) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert said in one_line(result.stderr)
    if arguments != ["lexicon"]:  # called without its command it shows its help
        assert result.stdout == ""


def test_a_folder_without_dictations_is_a_wrong_call(run: Run, tmp_path: Path) -> None:
    result = run("evaluate", tmp_path)
    assert result.exit_code == 2
    assert f"{tmp_path} holds no annotated dictation" in one_line(result.stderr)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ('{"name": "Moss", "specis": "cat"}', "no field 'specis'; did you mean 'species'?"),
        ('{"name": "Moss"}', "the field 'species' is missing"),
        ('{"name": "Moss", "species": "cat", "neutered": "perhaps"}', "'neutered' cannot be \"perhaps\""),
        ('{"name": "Moss", "species": "cat", "sex": "tom"}', "'male' or 'female'"),
        ('{"name": "Moss", "species": "cat", "age_months": -3}', "'age_months' cannot be -3"),
        ('{"name": "Moss", "species": "cat", "birth_date": "3 May"}', "'birth_date' cannot be"),
        (
            '{"name": "Moss", "species": "cat", "birth_date": "2020-05-03", "age_months": 3}',
            "give birth_date or age_months, not both",
        ),
        (
            '{"name": "Moss", "species": "cat", "owner": {"nam": "Ms Fell"}}',
            "no field 'owner.nam'; did you mean 'name'?",
        ),
        ('{"name": "Moss", "species": ', "line 1, column"),
        ('{"name": "Moss", "species": "cat", "neutered": "yes"}', "'neutered' cannot be \"yes\""),
        ('{"name": "Moss", "species": "cat", "age_months": "60"}', "'age_months' cannot be \"60\""),
        ('{"name": " ", "species": "cat"}', "the field 'name' cannot be \" \""),
        ('{"name": "Moss", "species": "\\t"}', "the field 'species' cannot be"),
        ('{"name": "Moss", "name": "Wren", "species": "cat"}', "the field 'name' twice"),
        (
            '{"name": "Moss", "species": "cat", "owner": {"phone": "1", "phone": "2"}}',
            "the field 'phone' twice",
        ),
        ('{"name": "Moss", "species": "cat", "weight_kg": Infinity}', "'weight_kg' cannot be Infinity"),
        ('{"name": "Moss", "species": "cat", "weight_kg": NaN}', "'weight_kg' cannot be NaN"),
        ('{"name": "\\ud800", "species": "cat"}', "it is no JSON: "),
        ('{"name": "Moss", "species": "cat", "age_months": ' + "9" * 3000 + "}", "999 …: "),
        ('{"name": "Moss", "species": "cat", "age_months": ' + "9" * 6000 + "}", "a number too long"),
        ("[" * 100_000, "nested too deep"),
        ('["Moss"]', "one object"),
        ("\udcff", "UTF-8"),
    ],
)
def test_a_wrong_patient_file_is_named_with_its_field(
    run: Run, tmp_path: Path, content: str, said: str
) -> None:
    file = tmp_path / "patient.json"
    file.write_bytes(content.encode("utf-8", errors="surrogateescape"))
    result = run("extract", TEXT, "--patient", file)
    assert result.exit_code == 2
    assert result.stdout == ""
    line = one_line(result.stderr)
    assert str(file) in line
    assert said in line


def test_a_text_that_is_no_utf8_is_refused(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "latin.txt"
    file.write_bytes("38,6 °C".encode("latin-1"))
    result = run("extract", file)
    assert result.exit_code == 1
    assert "UTF-8" in one_line(result.stderr)


def test_a_model_that_is_not_there_is_named(run: Run) -> None:
    result = run("transcribe", SOUND, "--model", "./no-such-folder")
    assert result.exit_code == 1
    assert "no-such-folder" in one_line(result.stderr)


def test_a_wrong_variable_is_named(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ROSTRAL_BEAM_SIZE", "many")
    result = run("transcribe", SOUND)
    assert result.exit_code == 2
    assert "ROSTRAL_BEAM_SIZE" in one_line(result.stderr)


def test_a_reader_that_leaves_early_gets_no_complaint(process: Process) -> None:
    """`rostral schema | head -1` ends quietly."""
    import subprocess  # noqa: PLC0415 - a pipe between two processes, which the fixture does not make
    import sys  # noqa: PLC0415

    command = f"'{sys.executable}' -m pipeline.cli schema | head -c 1"
    result = subprocess.run(["bash", "-c", command], capture_output=True, check=False, cwd=SAMPLES.parent)
    assert result.stdout == b"{"
    assert result.stderr == b""


# The border itself, around a command that fails on purpose.


def failing(error: BaseException) -> typer.Typer:
    app = typer.Typer(cls=BorderGroup, pretty_exceptions_enable=False)
    app.callback()(lambda: None)

    @app.command()
    def fail() -> None:
        raise error

    return app


def test_an_unexpected_error_is_one_line_that_asks_for_a_report() -> None:
    result = CliRunner().invoke(failing(ZeroDivisionError("by nothing")), ["fail"])
    assert result.exit_code == 1
    line = one_line(result.stderr)
    assert "ZeroDivisionError: by nothing" in line
    assert DEBUG_VARIABLE in line


def test_an_unexpected_error_shows_its_place_when_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(DEBUG_VARIABLE, "1")
    result = CliRunner().invoke(failing(ZeroDivisionError("by nothing")), ["fail"])
    assert isinstance(result.exception, ZeroDivisionError)


def test_a_stop_by_the_user_ends_with_code_130() -> None:
    result = CliRunner().invoke(failing(KeyboardInterrupt()), ["fail"])
    assert result.exit_code == 130
    assert one_line(result.stderr) == "rostral: Stopped."
