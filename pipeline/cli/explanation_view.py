"""Shows how a text was understood: each clause with what it does, what was found in it, and what was set aside and why."""

from __future__ import annotations

from rich.text import Text

from lexicon import Lexicon
from pipeline.cli.finding_words import FindingWords
from pipeline.cli.page import Page, Shapes, one_line
from pipeline.cli.screen import printable
from pipeline.extraction.explain import ClauseExplanation, Explanation, Fact, Scope, Words
from pipeline.extraction.model import SpeechAct
from pipeline.extraction.segments import Ground
from pipeline.record.wording import value_text

_COLUMN = 14
_STYLES = {
    SpeechAct.OBSERVATION: "bold green",
    SpeechAct.REPORT: "bold cyan",
    SpeechAct.PLAN: "bold blue",
    SpeechAct.INTENTION: "yellow",
    SpeechAct.TEACHING: "yellow",
    SpeechAct.QUESTION: "yellow",
    SpeechAct.CHATTER: "dim",
    SpeechAct.OTHER_ANIMAL: "yellow",
}
_TERM_STYLES = {"part": "underline", "finding": "bold underline", "quality": "bold underline"}
# What stands before and after the words that a cue reaches.
_EFFECTS = {
    "denies": ("denies", ""),
    "doubts": ("makes", "a possibility"),
    "dates": ("puts", "before today"),
    "sides": ("gives the side of", ""),
}


def explanation_lines(explanation: Explanation, lexicon: Lexicon, width: int, shapes: Shapes) -> list[Text]:
    """Lay out an explanation in lines of at most `width` columns; everything can be read without colours."""
    view = _View(lexicon, width, shapes)
    for clause in explanation.clauses:
        view.clause(clause)
    return view.page.lines


class _View:
    def __init__(self, lexicon: Lexicon, width: int, shapes: Shapes) -> None:
        self.page = Page(width, shapes)
        self._lexicon = lexicon
        self._findings = FindingWords(lexicon)

    def clause(self, clause: ClauseExplanation) -> None:
        """Show one clause, its own words first."""
        act = clause.act.value.replace("_", " ")
        self.page.hang(Text(act.upper(), style=_STYLES[clause.act]), self._said(clause), _COLUMN)
        if clause.why != Ground.DEFAULT.value:
            self._note(self._why(clause))
        for fact in clause.facts:
            self._point(self._fact(fact))
        for scope in clause.scopes:
            self._note(self._scope(scope))
        for measurement in clause.measurements:
            label = self._lexicon.measurements[measurement.kind].label
            self._point(Text(f"{label}: {value_text(measurement)}"))
        for item in clause.plan:
            self._point(Text(f"plan, {item.kind.replace('_', ' ')}: ").append(one_line(item.text)))
        for why in dict.fromkeys(aside.why for aside in clause.set_aside):
            words = ", ".join(self._quoted(aside.words) for aside in clause.set_aside if aside.why == why)
            self._note(Text("set aside: ", style="yellow").append(f"{words} ({why})", style="default"))

    def _said(self, clause: ClauseExplanation) -> Text:
        """The clause as it was said, its terms and the deciding cue marked in it."""
        text = Text(printable(clause.words.text))
        for term in clause.terms:
            self._mark(text, clause.words, term.words, _TERM_STYLES[term.kind])
        if clause.cue is not None:
            self._mark(text, clause.words, clause.cue, "reverse")
        return text

    @staticmethod
    def _mark(text: Text, clause: Words, words: Words, style: str) -> None:
        start = max(0, words.start_char - clause.start_char)
        text.stylize(style, start, max(start, words.end_char - clause.start_char))

    def _why(self, clause: ClauseExplanation) -> Text:
        if clause.cue is None:
            return Text(f"why: {clause.why}", style="dim")
        return Text(f"why: {clause.why}, {self._quoted(clause.cue)} ({clause.cue_group})", style="dim")

    def _fact(self, fact: Fact) -> Text:
        text = Text(f"{fact.finding.system.replace('_', ' ')}: ").append_text(
            self._findings.phrase(fact.finding)
        )
        if fact.side_from == "carried over":
            text.append(" (side carried over)", style="dim")
        self.page.quote(text, fact.finding.evidence)
        return text

    def _scope(self, scope: Scope) -> Text:
        before, after = _EFFECTS[scope.does]
        words = f"{self._quoted(scope.cue)} {before} {self._quoted(scope.reaches)} {after}"
        return Text(words.rstrip(), style="magenta")

    def _quoted(self, words: Words) -> str:
        shapes = self.page.shapes
        return f"{shapes.opening}{one_line(words.text)}{shapes.closing}"

    def _point(self, text: Text) -> None:
        self.page.hang(Text(" " * (_COLUMN - 2)).append(self.page.shapes.bullet), text, _COLUMN)

    def _note(self, text: Text) -> None:
        self.page.flow(_COLUMN, text)
