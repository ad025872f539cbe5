"""What kind of talk a clause is: only what is observed or reported becomes a finding."""

from __future__ import annotations

import pytest
from marked import disagreements
from said import hear

from pipeline.extraction.model import SpeechAct

# Common practice, no source: how vets explain, show, look and report. English generics: bare nouns, indefinites, simple present.
TALK = {
    "general truths without a word that announces them": """
        A [cherry eye|none] is a red lump in the corner of the eye.
        So a [murmur|none] is just a whoosh between the beats.
        [Gum disease|none] starts with a red line along the gum and ends with wobbly teeth.
        [Fleas|none] leave these little black specks, you wet them and they go red.
        [Glaucoma|none] is high pressure in the eye, it goes [red|none] and cloudy and it's painful.
        A [slipped disc|none] pinches the cord and the back legs go wobbly.
        That's how an [abscess|none] starts, a little puncture and then a hot swelling.
        A [luxating patella|none], that's when the kneecap pops out of its groove.
        What happens with [pancreatitis|none] is they get a sore belly and stop eating.
        The drops will clear the [redness|none].
        I mentioned [luxation|none] to them.
    """,
    "findings that sound like general truths": """
        A [lump|present] is palpable over the neck.
        [Pancreatitis|possible] is possible.
        Gums [pink|@mouth] if a bit [tacky|@mouth mild].
        I can see a bit of [tartar|mild].
        Can hear a faint [murmur|trace].
        Lenses [cloudy|@eyes] like in most old dogs.
    """,
    "what is shown": """
        Can you see this [swelling|present]?
        Do you see how [pale|@mouth] these gums are?
        I want you to feel this [lump|present].
        What I can see is a [corneal ulcer|left] in the left eye.
        If you look at the left eye there's an [ulcer|left @eyes].
        I'd call that a grade two [murmur|grade=2].
    """,
    "looking, and what comes of it": """
        Let's see, bit of [tartar|mild] on that canine there.
        Let's have a listen to the heart, it's a [grade three murmur|grade=3].
        I'm feeling a [lump|left] on the left flank.
        If I press here he [flinches|present].
        He's [sore|@abdomen] in the belly when I press.
        I press the lymph nodes one by one and the left one is [enlarged|left].
        I'm checking the ears for [mites|none], wax, anything like that.
        When I open the mouth, the [gums are pink|@mouth].
    """,
    "questions and their answers": """
        Any [licking|owner] at home? Loads.
        Has she been [sick|owner] at all? Once, on Saturday.
        Has he been [coughing|owner absent]? No.
        Is she [eating well|owner]? Yeah.
        Any [vomiting|none] at all?
        Is that [sore|none]? Good boy.
    """,
    "who tells": """
        The breeder has also noticed some [coughing|owner].
        Mrs. Ahern says he's been [sneezing|owner].
        Dad's convinced he's [limping|owner].
    """,
}


def cases() -> list[object]:
    """Give each dictation with the kind of talk it shows."""
    return [
        pytest.param(line.strip(), id=f"{name}: {line.strip()}")
        for name, block in TALK.items()
        for line in block.splitlines()
        if line.strip()
    ]


@pytest.mark.parametrize("dictation", cases())
def test_only_observations_and_reports_become_findings(dictation: str) -> None:
    """Findings come out as marked, and none out of other talk."""
    assert disagreements(dictation) == []


def test_every_clause_has_its_act() -> None:
    """Talk that makes no finding is kept with what it does."""
    statements = hear(
        "I check here for swellings. Spaniels get waxy ears. Any coughing? Good boy. "
        "His brother had mites. Recheck in two weeks. Owner says he itches. Coat is glossy."
    )
    assert [clause.act for clause in statements.clauses] == [
        SpeechAct.INTENTION,
        SpeechAct.TEACHING,
        SpeechAct.QUESTION,
        SpeechAct.CHATTER,
        SpeechAct.OTHER_ANIMAL,
        SpeechAct.PLAN,
        SpeechAct.REPORT,
        SpeechAct.OBSERVATION,
    ]
