"""The command that scores the understanding of texts against annotated dictations, alone and beside other programs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from rich.table import Table
from rich.text import Text

from lexicon import SYSTEMS
from pipeline.cli.border import CallError
from pipeline.cli.figures import figures_table, percent
from pipeline.cli.screen import output, printable, write_json
from pipeline.evaluation import PHENOMENA, Gold, Score, read_gold, score_all, without_marks
from pipeline.evaluation.peers import (
    ALL,
    PLAIN,
    Answers,
    Passage,
    compare,
    own_answers,
    passages,
    questions,
    read_answers,
)
from pipeline.evaluation.phenomena import SET_ASIDE
from pipeline.evaluation.score import Tally
from pipeline.extraction import extract
from pipeline.extraction.model import Statements
from pipeline.speech import Transcript


@dataclass(frozen=True)
class _Scored:
    """A folder of dictations with its figures, and those of the same texts without marks and capitals."""

    folder: Path
    score: Score
    unmarked: Score


def evaluate(folder: Path, *, list_errors: bool, as_json: bool) -> None:
    """Score a folder of dictations, or each folder in it apart. Raises CallError, GoldError."""
    scored = [_score(part) for part in _parts(folder)]
    if as_json:
        write_json([_figures(part) for part in scored])
        return
    console = output()
    for part in scored:
        console.print(_summary(part))
        console.print(_by_system(part.score))
        console.print(_by_phenomenon(part.score))
        if list_errors:
            for error in part.score.errors:
                console.print(Text(printable(error)), soft_wrap=True)
        elif part.score.errors:
            console.print(Text(f"{len(part.score.errors)} differences; see them with --errors.", style="dim"))


def write_questions(folder: Path, file: Path) -> None:
    """Write what other programs are asked, as JSON lines. Raises CallError, GoldError, OSError."""
    file.write_text(questions(_all(folder)), encoding="utf-8")


def compare_with(folder: Path, files: Sequence[Path]) -> None:
    """Show other programs' answers about the same words beside ours. Raises CallError, GoldError."""
    others = [read_answers(file) for file in files]
    short = passages(_all(folder))
    ours = own_answers(short, _understand)
    console = output()
    for marks in (True, False):
        console.print(_beside(short, (ours, *others), marks=marks))
    console.print(_speeds((ours, *others)))
    for other in others:
        console.print(Text(printable(f"{other.engine}: {other.settings}"), style="dim"))


def _understand(text: str) -> Statements:
    return extract(Transcript.from_text(text))


def _parts(folder: Path) -> list[Path]:
    """Give the folder itself if it holds dictations, or else those in it that do."""
    if not folder.is_dir():
        raise CallError(f"There is no folder {folder}. Name a folder such as tests/gold/dev.")
    parts = [part for part in (folder, *sorted(folder.iterdir())) if any(part.glob("*.toml"))]
    if not parts:
        raise CallError(
            f"{folder} holds no annotated dictation (*.toml). Name a folder such as tests/gold/dev."
        )
    return parts


def _all(folder: Path) -> list[Gold]:
    return [gold for part in _parts(folder) for gold in read_gold(part)]


def _score(folder: Path) -> _Scored:
    golds = read_gold(folder)
    unmarked = [without_marks(gold) for gold in golds]
    return _Scored(
        folder,
        score_all(golds, lambda gold: _understand(gold.text)),
        score_all(unmarked, lambda gold: _understand(gold.text)),
    )


def _summary(part: _Scored) -> Table:
    title = f"{part.score.dictations} dictations, {part.score.facts} facts in {part.folder}"
    table = figures_table("figure", "as given", "without marks", title=title)
    rows = zip(_rows(part.score), _rows(part.unmarked), strict=True)
    for (name, given), (_, unmarked) in rows:
        table.add_row(name, given, unmarked)
    return table


def _rows(score: Score) -> list[tuple[str, str]]:
    rows = []
    for name, tally in _tallies(score).items():
        rows.append((f"{name}: precision", percent(tally.precision)))
        rows.append((f"{name}: recall", percent(tally.recall)))
        rows.append((f"{name}: F1", percent(tally.f1)))
    for attribute in ATTRIBUTES:
        rows.append((f"{attribute.replace('_', ' ')} right", percent(score.share(attribute))))
    asked = score.systems_asked
    told = percent(score.systems_right / asked) if asked else "none asked"
    rows.append(("missing systems told right", told))
    rows.append(("present taken for absent, or the reverse", str(score.flips)))
    rows.append(("talk that became a finding", f"{score.leaks} of {score.set_aside}"))
    rows.append(("wrong facts that nobody is asked to look at", str(score.silent)))
    rows.append(("right findings that somebody is asked to look at", str(score.needless)))
    return rows


ATTRIBUTES = ("side", "severity", "grade", "size", "reported_by", "when")
"""What is compared of a finding that was found, beside its meaning."""


def _tallies(score: Score) -> dict[str, Tally]:
    return {"findings": score.findings, "measurements": score.measurements, "plan items": score.plan}


def _by_system(score: Score) -> Table:
    named = {system.replace("_", " "): score.by_system.get(system, Tally()) for system in SYSTEMS}
    return _tally_table("system", named)


def _by_phenomenon(score: Score) -> Table:
    named = {name: score.by_phenomenon.get(name, Tally()) for name in PHENOMENA}
    return _tally_table("phenomenon", {name: tally for name, tally in named.items() if tally != Tally()})


def _tally_table(first: str, tallies: dict[str, Tally]) -> Table:
    table = figures_table(first, "right", "missed", "extra", "precision", "recall", "F1")
    for name, tally in tallies.items():
        counts = (str(tally.right), str(tally.missed), str(tally.extra))
        table.add_row(name, *counts, percent(tally.precision), percent(tally.recall), percent(tally.f1))
    return table


def _figures(part: _Scored) -> dict[str, Any]:
    return {
        "folder": str(part.folder),
        "as_given": _score_figures(part.score),
        "without_marks": _score_figures(part.unmarked),
    }


def _score_figures(score: Score) -> dict[str, Any]:
    return {
        "dictations": score.dictations,
        "facts": score.facts,
        **{name.replace(" ", "_"): _tally_figures(tally) for name, tally in _tallies(score).items()},
        "attributes_right": {name: round(score.share(name), 4) for name in ATTRIBUTES},
        "systems_told_right": {"right": score.systems_right, "of": score.systems_asked},
        "flips": score.flips,
        "leaks": {"leaked": score.leaks, "of": score.set_aside},
        "silent": score.silent,
        "needless": score.needless,
        "by_system": {name: _tally_figures(tally) for name, tally in sorted(score.by_system.items())},
        "by_phenomenon": {
            name: _tally_figures(score.by_phenomenon[name])
            for name in PHENOMENA
            if name in score.by_phenomenon
        },
    }


def _tally_figures(tally: Tally) -> dict[str, float]:
    shares = {"precision": tally.precision, "recall": tally.recall, "f1": tally.f1}
    return {
        "right": tally.right,
        "missed": tally.missed,
        "extra": tally.extra,
        **{name: round(share, 4) for name, share in shares.items()},
    }


def _beside(short: Sequence[Passage], everyone: Sequence[Answers], *, marks: bool) -> Table:
    """Shares of right answers; ours a second time for the words alone that it took for findings."""
    counts = [compare(short, answers, marks=marks) for answers in everyone]
    found = compare(short, everyone[0], marks=marks, found_only=True)
    engines = [answers.engine for answers in everyone]
    title = f"right answers, {'with' if marks else 'without'} punctuation"
    table = figures_table(
        "phenomenon", "words", engines[0], f"{engines[0]}, of those found", *engines[1:], title=title
    )
    for name in (ALL, PLAIN, *PHENOMENA):
        if name not in counts[0]:
            continue
        shares = [percent(count[name].recall) for count in counts]
        # Talk set aside is right when nothing was found: there a share of the found says nothing.
        of_found = "" if name in SET_ASIDE.values() else percent(found.get(name, Tally()).recall)
        first = counts[0][name]
        table.add_row(name, str(first.right + first.missed), shares[0], of_found, *shares[1:])
    return table


def _speeds(everyone: Sequence[Answers]) -> Table:
    ours = everyone[0]
    table = figures_table(
        "speed on one core",
        "words/s",
        "rostral is",
        *(f"{n:,} words" for n in ours.seconds_by_length),
        "growth",
    )
    for answers in everyone:
        seconds = list(answers.seconds_by_length.values())
        growth = [later / earlier for earlier, later in pairwise(seconds)]
        table.add_row(
            answers.engine,
            f"{answers.words_per_second:,.0f}",
            f"x {ours.words_per_second / answers.words_per_second:.1f}",
            *(f"{one:.2f} s" for one in seconds),
            " ".join(f"x {one:.2f}" for one in growth),
        )
    return table
