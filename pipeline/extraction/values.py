"""Measured values in the flow of the talk: which ones the patient has today, and what they put in focus."""

from __future__ import annotations

from bisect import bisect_left

from pipeline.extraction.answers import Answers
from pipeline.extraction.drafts import CARRYING, Focus
from pipeline.extraction.measuring import Reading
from pipeline.extraction.model import SpeechAct
from pipeline.extraction.segments import Segment


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
        previous_end = readings[at - 1].end if at else -100
        for cue in self._cues("past", start, end):
            first, last = sorted((cue.start, reading.start))
            of_previous = cue.start < reading.start and cue.start == previous_end
            if not of_previous and not any(first <= token <= last for token in now):
                return True
        opening = self.past_opening
        return opening is not None and not any(
            cue.start > opening for cue in self._cues("now", opening, reading.start)
        )

    def _given_as_result(self, reading: Reading, segment: Segment) -> bool:
        """A value with a patient's name for it stands although the sentence plans or asks ("vaccinated today, weight 12.4")."""
        words = self.norms[segment.start : segment.end]
        scored = reading.name is not None and reading.out_of is not None
        if (
            scored
            and segment.act in (SpeechAct.PLAN, SpeechAct.TEACHING)
            and any(w in ("him", "her", "he", "she") for w in words)
        ):
            return True
        return (
            reading.name is not None
            and segment.act is SpeechAct.PLAN
            and (
                reading.out_of is not None
                or segment.act_cue is None
                or segment.act_cue.start > reading.end
                or segment.act_cue.end < segment.start
            )
        )
