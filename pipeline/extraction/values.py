"""Measured values in the flow of the talk: which ones the patient has today, and what they put in focus."""

from __future__ import annotations

from bisect import bisect_left

from pipeline.extraction.answers import Answers
from pipeline.extraction.concepts import Cue
from pipeline.extraction.drafts import CARRYING, Focus
from pipeline.extraction.measuring import Reading
from pipeline.extraction.mentions import mentions_within
from pipeline.extraction.model import SpeechAct
from pipeline.extraction.segments import Segment
from pipeline.extraction.tokens import COMMA_MARKS


class Values(Answers):
    """Measured values in the flow of the talk: which ones the patient has today, and what they put in focus."""

    def _take_reading(self, reading: Reading, segment: Segment, index: int) -> None:
        row = self.lexicon.measurements[reading.kind]
        if (
            segment.act in CARRYING
            or segment.act is SpeechAct.INTENTION
            or self._given_as_result(reading, segment)
        ):
            reading.past = reading.past or self._value_is_past(reading, segment)
            self.out.readings.append((reading, segment))
            self.out.mentioned.add(row.system)
            self.negation = None
            if structure := self.lexicon.words["measuring"]["structures"].get(reading.kind):
                self.focus = Focus(row.system, structure, (structure,), None, segment.sentence)
        self.focus.sentence = segment.sentence

    def _value_is_past(self, reading: Reading, segment: Segment) -> bool:
        """A word of the past beside the value, with no other value between."""
        readings = self.analysis.readings
        at = bisect_left(readings, reading.start, key=lambda r: r.start)
        start = max(segment.start, readings[at - 1].end if at else 0)
        end = min(segment.end, readings[at + 1].start if at + 1 < len(readings) else segment.end)
        end = min(end, reading.compared_at or end)
        now = [cue.start for cue in self._cues("now", start, end)]
        following = readings[at + 1] if at + 1 < len(readings) else None
        for cue in self._cues("past", start, end):
            first, last = sorted((cue.start, reading.start))
            elsewhere = (
                self.norms[cue.start - 1] in self.rules.comparing
                or self._dates_what_precedes(cue, reading, readings[at - 1].end if at else -1)
                or (following is not None and cue.start >= reading.end and self._dates_next(cue, following))
            )
            if not elsewhere and not any(first <= token <= last for token in now):
                return True
        opening = self.past_opening
        return (
            opening is not None
            and opening < reading.start
            and not any(cue.start > opening for cue in self._cues("now", opening, reading.start))
        )

    def _dates_what_precedes(self, cue: Cue, reading: Reading, previous_end: int) -> bool:
        """ "Nails trimmed last week body condition five": said right after something else, the past is of that."""
        if cue.start >= reading.start:
            return False
        before = mentions_within(self.analysis.mentions, cue.start - 4, cue.start)
        described = bool(before) and before[-1].end == cue.start and cue.end == reading.start
        return cue.start == previous_end or described

    def _dates_next(self, cue: Cue, following: Reading) -> bool:
        """ "5.6 kilos, previously 5.9": said right before the next value, unless that is said to be of now.

        "Twenty two kilos and in January only nineteen": what a joining word parts from the value before dates the next.
        """
        dated_now = self.cues.get("now", self.no_cues).starting_at(following.end) is not None
        before = self.norms[cue.start - 1] if cue.start else ""
        reach = 5 if before in COMMA_MARKS or before in self.rules.joining else 2
        return 0 <= following.start - cue.end <= reach and not dated_now

    def _given_as_result(self, reading: Reading, segment: Segment) -> bool:
        """A value with a patient's name for it stands although the sentence plans or asks ("vaccinated today, weight 12.4")."""
        words = self.norms[segment.start : segment.end]
        score = bool(self.lexicon.measurements[reading.kind].out_of)
        if reading.name is None and not score:
            return False
        scored = score and segment.act in (SpeechAct.PLAN, SpeechAct.TEACHING)
        if scored and any(w in ("him", "her", "he", "she") for w in words):
            return True
        cue = segment.act_cue
        if segment.act is SpeechAct.TEACHING:
            # "Weight thirty two kilos, ideal would be twenty eight": what follows the value teaches.
            bound = reading.comparator not in (None, "~")
            return cue is not None and not bound and reading.end < cue.start < segment.end
        return segment.act is SpeechAct.PLAN and (
            reading.out_of is not None or cue is None or cue.start > reading.end or cue.end < segment.start
        )
