"""What the documents say is so: commands, options, settings, examples; and no file names a place of its own."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import tomllib
from pathlib import Path

import pytest
import typer

from lexicon import load_lexicon
from lexicon.schema import FindingConcept
from pipeline.cli import app
from pipeline.evaluation import read_gold, score_all
from pipeline.extraction import extract
from pipeline.extraction.model import Finding
from pipeline.record import Patient
from pipeline.settings import DEBUG_VARIABLE, PREFIX, Settings
from pipeline.speech import Transcript

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
DOCUMENTS = README + DEVELOPERS + (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def example(document: str, mark: str) -> str:
    """Give the code block below a mark such as `<!-- example: patient -->`."""
    found = re.search(rf"<!-- {mark} -->\n```\w*\n(.*?)```", document, re.DOTALL)
    assert found is not None, f"no block is marked {mark!r}"
    return found[1]


def commands() -> dict[str, set[str]]:
    """List the commands with their options, as the program itself has them: "lexicon find", say."""
    found: dict[str, set[str]] = {}
    waiting: list[tuple[str, object]] = [("", typer.main.get_command(app))]
    while waiting:
        name, command = waiting.pop()
        below = getattr(command, "commands", {})
        waiting += [(f"{name} {word}".strip(), inner) for word, inner in below.items()]
        found[name] = {option for parameter in getattr(command, "params", ()) for option in parameter.opts}
    return found


def test_commands_and_options_exist() -> None:
    """Whatever a document tells to type can be typed."""
    known = commands()
    lines = re.findall(r"(?:`|^|bin/)rostral ([a-z][^`\n]*)", DOCUMENTS, re.MULTILINE)
    assert len(lines) > 10
    for line in lines:
        words = re.sub(r"\s+#.*", "", line).split()
        name = " ".join(words[:2]) if " ".join(words[:2]) in known else words[0]
        assert name in known, f"rostral {line}"
        options = {word for word in words if word.startswith("--") and word != "--help"}
        assert options <= known[name], f"rostral {line}"


def test_every_command_is_told() -> None:
    assert [name for name in commands() if name and f"rostral {name}" not in README + DEVELOPERS] == []


def test_every_setting_is_told_with_its_default() -> None:
    """A row of the README's table for each environment variable, and no row for what is none."""
    rows = dict(re.findall(rf"^\| `({PREFIX}\w+)` \| (.*?) \|", README, re.MULTILINE))
    expected = {f"{PREFIX}{name.upper()}" for name in Settings.model_fields} | {DEBUG_VARIABLE}
    assert set(rows) == expected
    for name, field in Settings.model_fields.items():
        if field.default is not None:
            default = int(field.default) if isinstance(field.default, bool) else field.default
            assert rows[f"{PREFIX}{name.upper()}"] == f"`{default}`"


def test_the_patient_of_the_readme_is_one() -> None:
    assert Patient.model_validate_json(example(README, "example: patient")).species == "cat"


def test_the_finding_of_the_readme_is_what_comes_out() -> None:
    shown = Finding.model_validate(json.loads(example(README, "example: finding")))
    text = re.search(r'Of "(Ears next[^"]*)"', README)
    assert text is not None
    assert extract(Transcript.from_text(text[1])).findings[0] == shown


def test_the_gold_figures_are_what_comes_out() -> None:
    """Each figure of the dictations that the rules are tuned on, within one percentage point of now.

    Counts are shares of what they count among. The other dictations are scored by hand, so that nothing
    here tempts to tune on them.
    """
    table = re.search(r"<!-- figures: gold -->\n((?: *\|.*\n)+)", README)
    assert table is not None
    rows = [[cell.strip() for cell in line.strip().strip("|").split("|")] for line in table[1].splitlines()]
    told = {row[0]: [float(number) for number in re.findall(r"[\d.]+", row[1])] for row in rows[2:]}
    golds = read_gold(ROOT / "tests" / "gold" / "dev")
    score = score_all(golds, lambda gold: extract(Transcript.from_text(gold.text)))
    annotated = sum(len(gold.findings) for gold in golds)
    now = {
        f"{name}: precision / recall": [100 * tally.precision, 100 * tally.recall]
        for name, tally in (
            ("findings", score.findings),
            ("measurements", score.measurements),
            ("plan items", score.plan),
        )
    }
    assert {name: told.pop(name) for name in now} == {name: pytest.approx(now[name], abs=1.0) for name in now}
    (flips,) = told.pop("present taken for absent, or the reverse")
    assert 100 * flips / annotated == pytest.approx(100 * score.flips / annotated, abs=1.0)
    leaks, asides = told.pop("talk that became a finding")
    assert asides == score.set_aside
    assert 100 * leaks / asides == pytest.approx(100 * score.leaks / asides, abs=1.0)
    (silent,) = told.pop("wrong facts that nobody is asked to look at")
    assert 100 * silent / score.facts == pytest.approx(100 * score.silent / score.facts, abs=1.0)
    assert told == {}


def test_the_row_of_the_guide_is_one() -> None:
    """The example of a finding has right columns, and builds on what the lexicon knows."""
    (row,) = tomllib.loads(example(DEVELOPERS, "example: finding row"))["finding"]
    concept = FindingConcept.model_validate(
        {key: tuple(v) if isinstance(v, list) else v for key, v in row.items()}
    )
    lexicon = load_lexicon()
    assert concept.structure in lexicon.structures
    for composition in concept.composed_of:
        structure, finding = composition.split(" + ")
        assert structure in lexicon.structures
        assert finding in lexicon.findings


def test_files_that_are_named_exist() -> None:
    """A guide that names files long gone misleads."""
    named = set(re.findall(r"`((?:pipeline|lexicon|models|tests|audio_samples)/[\w./]+)`", DOCUMENTS))
    named -= {f"lexicon/{folder}/SYSTEM.toml" for folder in ("findings", "structures")}  # one for each system
    assert len(named) > 15
    assert [name for name in sorted(named) if not (ROOT / name).exists()] == []


def test_both_lines_stand_ready() -> None:
    """What the check runs: one line each, for the demo and for the tests."""
    assert example(README, "line: try").strip().endswith("rostral demo")
    assert example(README, "line: test").strip().endswith("pytest")


# Hosts of package registries, and folders of one machine. In pieces, so that this file itself is free of them.
REGISTRY = re.compile(
    "|".join(
        (r"pypi\." + "org", "pythonhosted" + r"\.org", r"registry\." + "npmjs", "--(?:extra-)?index" + "-url")
    )
)
MACHINE = re.compile(r"(?<![\w.])/(?:" + "home|Users|root|work|opt" + r")/\w")


def test_no_file_names_a_registry_or_a_folder_of_one_machine() -> None:
    """Where packages come from, and where the project lies, is the affair of the machine that installs it."""
    git = shutil.which("git")
    if git is None or not (ROOT / ".git").exists():
        pytest.skip("what is committed can only be listed in a git clone")
    listed = subprocess.run([git, "ls-files", "-z"], cwd=ROOT, check=True, capture_output=True, text=True)
    for name in listed.stdout.split("\0"):
        file = ROOT / name
        if not name or file.suffix in (".flac", ".ogg", ".otf") or not file.exists():
            continue
        text = file.read_text(encoding="utf-8")
        for pattern in (REGISTRY, MACHINE):
            found = pattern.search(text)
            assert found is None, f"{name} holds {found[0]!r}"
