"""How findings are shown: the words of the record with who said it, when, and how surely."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.text import Text

from lexicon import Lexicon
from pipeline.cli.screen import printable
from pipeline.extraction.model import SURE_ENOUGH, Finding
from pipeline.record.phrases import RANK_OF_ABSENCE, finding_text, is_plain_absence, listing, rank


class FindingWords:
    """Says findings with the labels of the lexicon."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lexicon = lexicon

    def phrases(self, findings: Sequence[Finding]) -> Iterator[Text]:
        """Say abnormal findings first, then normal, absent, reported, past and withdrawn ones."""
        plain_absent = [f for f in findings if is_plain_absence(f, self._lexicon)]
        rest = sorted((f for f in findings if f not in plain_absent), key=rank)
        for finding in (f for f in rest if rank(f) <= RANK_OF_ABSENCE):
            yield self.phrase(finding)
        if plain_absent:
            labels = list(dict.fromkeys(f.label for f in plain_absent))
            yield Text(f"no {listing(labels)}", style="dim")
        for finding in (f for f in rest if rank(f) > RANK_OF_ABSENCE):
            yield self.phrase(finding)

    def phrase(self, finding: Finding) -> Text:
        """Say one finding, with who said it, when, how surely, where and how much."""
        before = [
            word
            for word, holds in (
                ("withdrawn", finding.superseded),
                ("owner", finding.reported_by == "owner"),
                ("earlier", finding.when == "past"),
            )
            if holds
        ]
        phrase = Text()
        if before:
            phrase.append(f"{', '.join(before)}: ", style="dim")
        phrase.append(printable(finding_text(finding, self._lexicon)), style=_style(finding))
        if finding.confidence <= SURE_ENOUGH and not finding.superseded:
            phrase.append(" UNSURE", style="bold yellow")
        return phrase


def _style(finding: Finding) -> str:
    if finding.superseded:
        return "dim strike"
    if finding.counts_as_abnormal:
        return "bold red" if finding.assertion == "present" and finding.reported_by == "vet" else "yellow"
    return "dim" if finding.assertion == "absent" else ""
