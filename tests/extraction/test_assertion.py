"""There or not, which side, now or then, said by whom: dictations with the answer marked (see marked.py).

Sentences are ours. What the published rules of NegEx and ConText say about a trigger stands in a table of its
own with the source named; the rest is how vets talk: common practice, no source.
"""

from __future__ import annotations

import negspacy.negation  # noqa: F401  (registers the component "negex")
import pytest
from marked import disagreements, parse
from negspacy.termsets import termset
from said import hear, unpunctuated
from spacy.lang.en import English
from spacy.language import Language

# Read with punctuation and without.
SPOKEN = {
    "negation": """
        No [discharge|absent] from the nose.
        There is no [heart murmur|absent].
        I can't hear a [murmur|absent].
        I don't see any [fleas|absent].
        She is not [lame|absent].
        No sign of [fleas|absent].
        No evidence of [ear mites|absent].
        Nothing to suggest [pain|absent].
        Without any [crackles|absent].
        Never any [coughing|absent] in here.
        Free of [crackles|absent].
        He isn't [dehydrated|absent].
    """,
    "negation over a list": """
        No [heat|absent], [swelling|absent] or [crepitus|absent] in the hock.
        No [coughing|absent], [sneezing|absent] or [nasal discharge|absent].
        No [vomiting|absent owner] or [diarrhoea|absent owner].
        No [crackles|absent] or [wheezes|absent].
        No [murmur|absent] and no [arrhythmia|absent].
        Neither [crackles|absent] nor [wheezes|absent].
        No [fleas|absent], no [ticks|absent], no [lumps|absent].
    """,
    "the end of a negation": """
        No [wax|absent] but there is [ear discharge|present].
        No [murmur|absent] but a [gallop|present].
        No [crackles|absent], however there is a [wheeze|present].
        No [heart murmur|absent], lungs [clear|present].
        No [ear discharge|absent] apart from some [wax|present].
        Not [lame|absent] but quite [stiff|present].
        No [fleas|absent] although there is [flea dirt|present].
    """,
    "pseudo-negation": """
        Not only [gingivitis|present] but also [tartar|present].
        No change in the [lump|present].
        The [lump|present] has not changed.
        The [lump|present] is no bigger.
        The [cough|present] has not gone away.
    """,
    "negation afterwards": """
        [Fleas|absent] not seen.
        [Murmur|absent] none.
        [Ear discharge|absent] none seen.
        [Crackles|absent] not heard.
        [Lameness|absent] not evident.
        [Murmur|absent] not audible today.
    """,
    "a denied list ends": """
        Liver not [palpable beyond the ribs|absent], [kidneys small|present] and [knobbly|present].
        No [lice|absent], [hair loss|left] on the left flank.
        Not [lame|absent] today, bit [stiff behind|mild].
        Proprioception [delayed|right] on the right.
    """,
    "one head for two": """
        No [nasal|absent @nose] or [ocular discharge|absent @eyes].
    """,
    "a denial doubted": """
        I'm not convinced that the left hip isn't a bit [sore|possible mild left].
        I can't be certain but the spleen feels a bit [big|possible mild].
        Hard to say whether there's an [effusion|possible right] in the right stifle.
        I think there's a [lump|possible] under the skin.
        The spleen is [big|present], maybe six centimetres.
    """,
    "then and now": """
        The [murmur|present] we heard last year is still there.
        He's not as [lame|present] as he was last week.
        She was [limping|past] on Friday, [sound|present] today.
    """,
    "gone since": """
        The [cough|past] has resolved.
        The [diarrhoea|past owner] has cleared up.
        The [limp|past] has gone.
    """,
    "doubt": """
        Possible [heart murmur|possible].
        There might be a [murmur|possible].
        I suspect [gingivitis|possible].
        Query [ear mites|possible].
        I think there may be a [cataract|possible left] in the left eye.
        Can't rule out a [gallop|possible].
        Maybe a little [crepitus|possible mild left] in the left stifle.
        [Pancreatitis|possible] is possible.
        [Ear discharge|possible] cannot be ruled out.
    """,
    "past": """
        Last year he had an [ear infection|past].
        [Ear infection|past] six months ago.
        He had a [seizure|past owner] in January.
        History of [pancreatitis|past owner].
        Previously [lame|past left] on the left fore.
        She used to [cough|past].
    """,
    "owner": """
        Owner says he's been [coughing|owner].
        Owner reports no [vomiting|absent owner].
        Mum says she is [scratching|owner].
        You said she was [sneezing|owner].
        Owner has noticed some [limping|owner].
    """,
    "relatives and companions": """
        His brother had a [murmur|none].
        Her sister has [cataracts|none].
        The other dog at home has [fleas|none].
        Her litter mate had an [umbilical hernia|none].
    """,
    "ellipsis": """
        I listen for [extra sounds|absent], and hers has none.
        I listen for a [murmur|absent] and can't hear it.
        Checking for [fleas|absent], none.
        I'm feeling for any [lumps|absent] and I can't find any.
        Looking for [cataracts|absent], there are none.
        Now the heart. I listen for [extra sounds|absent], and hers has none.
    """,
    "teaching": """
        Cavaliers get [heart murmurs|none].
        Older dogs often have [cataracts|none].
        If there were [crackles|none] I would worry.
        With [gingivitis|none] you would see red gums.
        Labradors are prone to [ear infections|none].
        [Dental disease|none] can lead to heart disease.
        A [murmur|none] would sound like a whoosh.
    """,
    "intention": """
        I'm checking for [fleas|none].
        I look for [discharge|none] in the corner of the eye.
        Just to see if there is any [heart murmur|none].
        I'm feeling for [lumps|none] now.
    """,
    "plan": """
        If the [vomiting|none] comes back call us.
        Watch for [coughing|none] and ring us.
        Recheck the [lump|none] in six months.
    """,
    "side": """
        Left ear is [red|left @ears].
        The right ear has [wax|right @ears].
        Both ears are [clean|both @ears].
        [Cataract|left @eyes] in the left eye.
        [Lump|right] on the right flank.
        [Swelling|left] of the left hock.
        Eyes are [clear|@eyes], ears [clean|@ears].
        Left ear [clean|left], right ear [red|right].
        Not just the left, both ears are [red|both].
    """,
    "grades and sizes": """
        Grade two out of six [murmur|grade=2/6 @cardiovascular].
        [Murmur|grade=3/6] three over six.
        A grade two [murmur|grade=2].
        A [murmur|grade=4/6], grade four of six.
        Grade two [patellar luxation|grade=2 left] on the left.
        [Lump|size=30 left] of two by three centimetres on the left flank.
        A two centimetre [lump|size=20] on the chest.
        A five millimetre [mass|size=5].
    """,
    "severity": """
        Mild [gingivitis|mild @mouth].
        Moderate [tartar|moderate].
        Severe [dental disease|severe].
        A bit of [wax|mild].
        A trace of [discharge|trace @nose] from the nose.
        A lot of [tartar|marked].
    """,
    "praise in passing": """
        Good boy, a bit of [wax|mild @ears].
        Good girl, gums [pink|@mouth].
        What a good lad, [tartar|@mouth] on the upper molars.
    """,
    "exceptions": """
        Nothing apart from [tartar|present].
        No findings other than [ear discharge|present].
        Ears [clean|@ears] except for a little [wax|mild].
    """,
    "normal": """
        The ears are [all right|@ears].
        Gums [pink|@mouth].
        Lungs [clear|@respiratory].
        Abdomen [soft|@abdomen].
        Lymph nodes [normal|@lymph_nodes].
        She is [bright|@general].
    """,
    "nose to tail": """
        Nose is [clean|@nose], no [discharge|absent @nose].
        Ears, left is a bit [waxy|left mild @ears], right is [clean|right @ears].
        Heart sounds [normal|@cardiovascular], no [murmur|absent], no [arrhythmia|absent].
        Abdomen [soft|@abdomen], [non painful|@abdomen], no [masses|absent @abdomen] felt.
        A small soft mobile [lump|left size=10 @skin] over the left ribs about one centimetre.
        Left hind [lame|left grade=2/5], two out of five.
        [Pain on extension|left @musculoskeletal] of the left hip.
        Small [umbilical hernia|present], reducible.
        [Nuclear sclerosis|both @eyes] in both eyes.
        Proprioception [normal|@neurological] in all four limbs.
        [Menace response present|both @eyes] both sides.
        The [lump|left] on the left flank hasn't changed since last time.
        Incisors [fine|@mouth], molars have a [spur|left @mouth] on the left lower.
        [Swelling|left] and [heat|left] over the left carpus but no [pain|absent left].
        Gums are [pink|@mouth] but a bit [tacky|mild @mouth].
        Right eye [ulcer|right withdrawn;left], no wait, it's the left eye.
        Sorry, not the left eye, the right eye has the [ulcer|right @eyes].
        She's [lost some muscle over the back legs|present].
    """,
    "corrections": """
        Left ear [red|left withdrawn;right] sorry, right ear.
        Left ear is [red|left withdrawn], scratch that.
    """,
}

# Pauses carry the meaning, so these are read as written only.
POINTED = {
    "results of each side": """
        [Fluorescein uptake|absent right;left] negative on the right, positive on the left.
    """,
    "doubt": """
        A [murmur|possible], not sure.
        A [murmur|possible], hard to say.
    """,
    "negation over a list": """
        No [heat|absent], no [swelling|absent], no [crepitus|absent]. The left stifle has an [effusion|left].
        No [ocular discharge|absent] or [redness|absent @eyes]. Ears [clean|@ears].
        No [murmur|absent]. [Arrhythmia|present].
        Nose: no [discharge|absent @nose], no [crusting|absent @nose].
    """,
    "the end of a negation": """
        No [discharge|absent @nose] from the nose, a small [scar|present] though.
        No [wax|absent], a bit of [ear discharge|mild].
        No [fleas|absent]. [Flea dirt|present] though.
        No [redness|absent], old [scar|present].
    """,
    "negation afterwards": """
        [Discharge|absent]: none.
        [Murmur|absent]? No.
        [Fleas|absent]? None.
    """,
    "questions": """
        Any [coughing|none] at home?
        Has he been [vomiting|none]?
        Is there any [discharge|none]?
        Has she been [vomiting|absent owner]? No.
        Is he [scratching|none]? Let me see.
    """,
    "ellipsis": """
        Heart next. I listen for [extra sounds|absent]. None today.
        Looking for [fleas|absent]. She has not got any.
        Looking for [fleas|absent]. I don't see any.
        Looking for [fleas|present]. There is one.
        [Murmur|past;absent] last year. Can't hear it today.
    """,
    "teaching": """
        Spaniels get [ear infections|none]. They start with a [smell|none]. His ears are [clean|@ears].
        [Gingivitis|none] is when the gums are red. Hers are [pink|@mouth].
        Pugs often have [corneal ulcers|none], his corneas are [clear|@eyes].
    """,
    "plan": """
        Plan: treat the [ear infection|none] and recheck in two weeks.
        If she [vomits|none] again, call.
    """,
    "side carry-over": """
        Left ear. Bit of [wax|left mild @ears], no [smell|left absent @ears]. Right ear [clean|right @ears].
        Left eye: [cataract|left]. Right eye [clear|right].
        Ears. The left one's [fine|left @ears], the right a bit [sore|right mild @ears].
    """,
    "past": """
        [Murmur|past;absent] last time, none today.
        Last year the eyes were [fine|past @eyes], today [cataract|left @eyes] in the left eye.
    """,
    "corrections": """
        Left, sorry, right ear [red|right].
        Left ear [red|left withdrawn]. Scratch that.
        Left ear [red|left withdrawn]. Right ear [swollen|right withdrawn]. Scratch both of those.
        No [murmur|absent withdrawn;present], hold on, there is one.
        Grade two [murmur|grade=2 withdrawn;grade=3], sorry, grade three.
        A two centimetre [lump|size=20 withdrawn;size=30], correction, three centimetres.
    """,
}

# Sources: chapmanbe/negex on GitHub, the files NegExTerms and genConText: the trigger lists of the authors of
# NegEx and ConText. The sentences, those of the three worked cases too, are ours.
PUBLISHED = {
    "worked case: the scope ends at 'but' (NegEx termination terms)": """
        No [heat|absent], [swelling|absent] or [crepitus|absent], but the right is [thicker|right].
    """,
    "worked case: pseudo terms (NegEx)": """
        No change in the [lump|present].
        Ears next. Not only the left, both are [red|both @ears].
    """,
    "worked case: hypothetical and experiencer (ConText)": """
        If she [vomits|none] again, call.
        His brother had a [murmur|none].
    """,
    "negation before (NegEx)": """
        No [murmur|absent].
        He is not [lame|absent].
        Without [discharge|absent] from the eyes.
        The owner denies [vomiting|absent owner].
        Absence of [crackles|absent].
        Negative for [ear mites|absent].
        Free of [cataracts|absent].
        No evidence of [cataracts|absent].
        No sign of [lameness|absent].
        No signs of [pain|absent].
        With no [ear discharge|absent].
    """,
    "negation after (NegEx)": """
        [Fleas|absent] not seen.
        [Ear discharge|absent] is absent.
        [Ear mites|absent] were ruled out.
        [Cataracts|absent] are not seen.
    """,
    "pseudo-negation (NegEx)": """
        No increase in the [lump|present].
        No significant change in the [lump|present].
        Not certain if that is a [murmur|possible].
        Not necessarily [gingivitis|present].
    """,
    "termination (NegEx)": """
        No [crackles|absent], however a [wheeze|present].
        No [fleas|absent] although there is [flea dirt|present].
        No [ear discharge|absent] except a bit of [wax|mild].
        No [ear discharge|absent] apart from some [wax|present].
        No [fleas|absent], still some [scabs|present].
    """,
    "historical (ConText)": """
        History of [pancreatitis|past owner].
        Prior [ear infection|past].
    """,
    "hypothetical (ConText)": """
        Return if the [diarrhoea|none] gets worse.
        Look out for [limping|none].
        Come back for a check if she is [coughing|none].
    """,
    "experiencer (ConText)": """
        Her sister had [cataracts|none].
        The mother had a [heart murmur|none].
    """,
}


def _cases(table: dict[str, str]) -> list[object]:
    return [
        pytest.param(line.strip(), id=f"{group}: {line.strip()}")
        for group, lines in table.items()
        for line in lines.strip().splitlines()
    ]


@pytest.mark.parametrize("marked", [*_cases(SPOKEN), *_cases(POINTED)])
def test_a_dictation_is_read_as_marked(marked: str) -> None:
    """Every finding stands where it is marked, as it is marked, and nothing else is found."""
    wrong = disagreements(marked)
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("marked", _cases(SPOKEN))
def test_a_dictation_without_punctuation_is_read_as_marked(marked: str) -> None:
    """The same words without marks and capitals."""
    wrong = disagreements(marked, punctuation=False)
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("marked", _cases(PUBLISHED))
def test_published_trigger_behaviour(marked: str) -> None:
    """Triggers of the authors' lists do here what their rules say."""
    wrong = disagreements(marked)
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("marked", ["[red|prezent]", "[red", "red]", "[red|]", "a | b", " "])
def test_a_malformed_mark_is_an_error(marked: str) -> None:
    """A mark that tests nothing must not pass."""
    with pytest.raises(ValueError, match=r"malformed|unknown|empty"):
        parse(marked)


# Sentences on which the rules of NegEx are right, to compare with negspacy: (sentence, target, negated).
PLAIN = [
    ("No discharge.", "discharge", True),
    ("There is no murmur.", "murmur", True),
    ("No evidence of ear mites.", "ear mites", True),
    ("No signs of pain.", "pain", True),
    ("He has a cough.", "cough", False),
    ("Free of cataracts.", "cataracts", True),
    ("Without crackles.", "crackles", True),
    ("Absence of wheezes.", "wheezes", True),
    ("Negative for ear mites.", "ear mites", True),
    ("He is not lame.", "lame", True),
    ("The skin is not itchy.", "itchy", True),
    ("No vomiting.", "vomiting", True),
    ("No diarrhoea.", "diarrhoea", True),
    ("No lumps.", "lumps", True),
    ("No tartar.", "tartar", True),
    ("No cataracts.", "cataracts", True),
    ("No ticks.", "ticks", True),
    ("No gingivitis.", "gingivitis", True),
    ("There is no nasal discharge.", "nasal discharge", True),
    ("There is no crepitus.", "crepitus", True),
    ("No sign of lameness.", "lameness", True),
    ("I did not hear a murmur.", "murmur", True),
    ("No heat, swelling or crepitus.", "crepitus", True),
    ("No crackles or wheezes.", "wheezes", True),
    ("No fleas but there is flea dirt.", "flea dirt", False),
    ("No murmur, however there is a gallop.", "gallop", False),
    ("There is a murmur.", "murmur", False),
    ("Mild gingivitis.", "gingivitis", False),
    ("Heavy tartar.", "tartar", False),
    ("There is a lump on the left flank.", "lump", False),
    ("Nasal discharge on the left.", "Nasal discharge", False),
    ("The right eye has a cataract.", "cataract", False),
    ("There are fleas.", "fleas", False),
    ("No change in the lump.", "lump", False),
    ("Not only gingivitis.", "gingivitis", False),
    ("There are crackles on the right.", "crackles", False),
]


CLINICAL_TERMS = termset("en_clinical").get_patterns()  # type: ignore[no-untyped-call]


@pytest.fixture(scope="module")
def negex() -> Language:
    """Set up the reference library negspacy with its clinical terms, on blank English with given targets."""
    nlp = English()
    nlp.add_pipe("sentencizer")
    ruler = nlp.add_pipe("entity_ruler")
    ruler.add_patterns([{"label": "FINDING", "pattern": target} for _, target, _ in PLAIN])  # type: ignore[attr-defined]
    nlp.add_pipe("negex", config={"neg_termset": CLINICAL_TERMS})
    return nlp


@pytest.mark.parametrize(("said", "target", "negated"), PLAIN)
def test_plain_negation_agrees_with_negspacy(negex: Language, said: str, target: str, negated: bool) -> None:
    """On plain sentences the reference library and this program give the one right answer."""
    theirs = {entity.text: entity._.negex for entity in negex(said).ents}
    at = said.rindex(target)
    ours = [
        finding.assertion == "absent"
        for finding in hear(said).findings
        if any(piece.start_char < at + len(target) and at < piece.end_char for piece in finding.evidence)
    ]
    assert theirs[target] == negated
    assert ours == [negated]


def test_there_are_enough_plain_sentences() -> None:
    """A comparison needs numbers."""
    assert len(PLAIN) >= 30


@pytest.mark.parametrize(
    ("said", "systems"),
    [
        ("I couldn't examine the mouth.", ["mouth"]),
        ("Could not look in his mouth, he would not let me.", ["mouth"]),
        ("Mouth not examined.", ["mouth"]),
        ("She wouldn't let me look at the ears.", ["ears"]),
        ("Abdomen too painful to examine.", ["abdomen"]),
        ("Unable to assess the eyes.", ["eyes"]),
    ],
)
@pytest.mark.parametrize("punctuation", [True, False])
def test_what_could_not_be_examined_is_said(said: str, systems: list[str], punctuation: bool) -> None:
    """A declined examination is a statement of its own and no finding."""
    statements = hear(said if punctuation else unpunctuated(said))
    assert list(dict.fromkeys(refusal.system for refusal in statements.not_examined)) == systems
    assert [f for f in statements.findings if f.nature == "abnormal" and f.assertion != "absent"] == []


@pytest.mark.parametrize(
    "said",
    [
        "Good boy.",
        "Who's a lovely girl then.",
        "Hello, nice to see you.",
        "Let's have a look at you.",
        "How has she been?",
        "He's such a good boy, aren't you.",
        "Right, let's start at the nose.",
        "Okay, moving on to the heart.",
        "Thank you for bringing him in.",
        "Sorry about the cold hands.",
        "The weather is terrible today.",
        "Who is a stinky boy.",
        "Do not worry about the smell.",
    ],
)
def test_small_talk_is_no_finding(said: str) -> None:
    """Praise, greetings and weather state nothing about the patient."""
    assert [(f.concept, f.assertion) for f in hear(said).findings] == []
