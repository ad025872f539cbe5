"""The tables load, hold what a first edition must hold, and a mistake in them is named with file and row."""

from __future__ import annotations

import shutil
from collections import Counter
from pathlib import Path

import pytest

import lexicon
from lexicon import Lexicon, LexiconError, load_lexicon
from lexicon.loader import normal_form, plural, spellings
from lexicon.schema import SYSTEMS

SHIPPED = Path(lexicon.__file__).parent
LEXICON = load_lexicon()
BY_TERM = {entry.term: entry for entry in LEXICON.entries if not entry.in_focus}


@pytest.fixture
def tables(tmp_path: Path) -> Path:
    """Copy the shipped tables, free to break."""
    root = tmp_path / "tables"
    shutil.copytree(SHIPPED, root, ignore=shutil.ignore_patterns("*.py", "__pycache__"))
    return root


def append(path: Path, text: str) -> None:
    path.write_text(f"{path.read_text(encoding='utf-8')}\n{text}\n", encoding="utf-8")


# --- what the shipped tables hold ----------------------------------------------------


def test_the_edition_is_large_enough() -> None:
    """The second edition: 900 findings and parts, and 4,000 wordings that a person wrote; those made by rule not counted."""
    assert len(LEXICON.findings) + len(LEXICON.structures) >= 900
    assert sum(not entry.rule for entry in LEXICON.entries) >= 4000


@pytest.mark.parametrize("system", SYSTEMS)
def test_every_system_has_findings_and_parts(system: str) -> None:
    """All thirteen systems can be spoken of: parts to name and something wrong to say."""
    findings = [finding for finding in LEXICON.findings.values() if finding.system == system]
    assert len(findings) >= 8
    assert any(finding.nature == "abnormal" for finding in findings)
    assert any(structure.system == system for structure in LEXICON.structures.values())


def test_there_are_thirteen_systems() -> None:
    """The order of every view of a record."""
    assert len(SYSTEMS) == len(set(SYSTEMS)) == 13


def test_every_finding_has_names() -> None:
    """A clinical label, plain words for the owner, and at least one spoken form."""
    for finding in LEXICON.findings.values():
        assert finding.label.strip(), finding.id
        assert finding.plain.strip(), finding.id
        spoken = (*finding.terms, *finding.predicates, *finding.focus_terms, *finding.focus_predicates)
        assert spoken or finding.composed_of, f"{finding.id} can never be said"


def test_every_structure_has_names() -> None:
    """The same for parts of the body."""
    for structure in LEXICON.structures.values():
        assert structure.label.strip(), structure.id
        assert structure.plain.strip(), structure.id
        assert structure.terms or structure.focus_terms, structure.id


def test_every_composition_is_known() -> None:
    """A finding of any part, or of the same system, leads on a part to a concept; all three exist."""
    assert LEXICON.composed
    for (structure, general), concept in LEXICON.composed.items():
        assert structure in LEXICON.structures
        assert LEXICON.findings[general].system in ("any", LEXICON.findings[concept].system)
        assert concept in LEXICON.findings


def test_parts_of_parts_end_somewhere() -> None:
    """No part is, over others, a part of itself."""
    for structure in LEXICON.structures.values():
        seen = set()
        at: str | None = structure.id
        while at is not None:
            assert at not in seen, f"{structure.id} is part of itself"
            seen.add(at)
            at = LEXICON.structures[at].part_of


def test_requirements_and_ranges_name_known_kinds() -> None:
    """What is asked for can be measured; ranges are in order and say where they come from."""
    for requirement in LEXICON.requirements:
        assert set(requirement.measurements) <= set(LEXICON.measurements), requirement.visit
    for row in LEXICON.ranges:
        assert row.kind in LEXICON.measurements
        assert row.source.strip()
        assert row.basis.strip()
        if row.low is not None and row.high is not None:
            assert row.low <= row.high


def test_visits_and_species_are_covered() -> None:
    """Every visit has a row for any species; temperature, heart and breathing have ranges for all five."""
    visits = {row.visit for row in LEXICON.requirements if row.species == "*"}
    assert visits >= {"health_check", "vaccination", "sick", "recheck", "pre_anaesthetic", "senior"}
    ranges = {(row.kind, row.species) for row in LEXICON.ranges}
    for species in ("dog", "cat", "rabbit", "ferret", "guinea_pig"):
        for kind in ("temperature", "heart_rate", "respiratory_rate"):
            assert (kind, species) in ranges


def test_units_convert_to_stored_units() -> None:
    """What a unit becomes is the unit of some measurement, or a length."""
    stored = {row.unit for row in LEXICON.measurements.values()} | {"mm"}
    assert {unit.to for unit in LEXICON.units} <= stored
    terms = Counter(term for unit in LEXICON.units for term in unit.terms)
    assert [term for term, times in terms.items() if times > 1] == []


def test_no_cue_is_written_twice_in_its_kind() -> None:
    """A word of one kind that stands in two groups, or twice in one, would be decided by chance."""
    places = Counter((group.kind, term) for group in LEXICON.cues.values() for term in group.terms)
    kept_apart = {kind: set[str]() for kind, _ in places}
    for (kind, term), times in places.items():
        if times > 1:
            kept_apart[kind].add(term)
    assert {kind: sorted(terms) for kind, terms in kept_apart.items() if terms} == {}


# --- spellings and plurals by rule ---------------------------------------------------


# UK and US spellings: dictionaries, from memory.
@pytest.mark.parametrize(
    ("british", "american"),
    [
        ("diarrhoea", "diarrhea"),
        ("anaemia", "anemia"),
        ("oedema", "edema"),
        ("haematoma", "hematoma"),
        ("dyspnoea", "dyspnea"),
        ("tumour", "tumor"),
        ("grey", "gray"),
        ("caecum", "cecum"),
    ],
)
def test_both_spellings_are_made(british: str, american: str) -> None:
    """Each spelling gives the other."""
    pairs: list[tuple[str, str]] = [
        *[("rrhoea", "rrhea"), ("anaem", "anem"), ("aemia", "emia"), ("oedema", "edema"), ("haem", "hem")],
        *[("pnoea", "pnea"), ("tumour", "tumor"), ("grey", "gray"), ("caec", "cec")],
    ]
    assert american in spellings(british, pairs)
    assert british in spellings(american, pairs)


@pytest.mark.parametrize(
    ("british", "american"),
    [("diarrhoea", "diarrhea"), ("dyspnoea", "dyspnea"), ("oedema", "edema"), ("tumour", "tumor")],
)
def test_both_spellings_mean_the_same_in_the_shipped_tables(british: str, american: str) -> None:
    """Whichever is spoken, the finding is one."""
    assert BY_TERM[british].id == BY_TERM[american].id


@pytest.mark.parametrize(
    ("one", "many"),
    [
        ("eyelid", "eyelids"),
        ("mass", "masses"),
        ("body", "bodies"),
        ("patch", "patches"),
        ("diagnosis", "diagnoses"),
        ("reflex", "reflexes"),
        ("bruise", "bruises"),
        ("kidney", "kidneys"),
        ("swollen lymph node", "swollen lymph nodes"),
        ("lens", "lenses"),
        ("pancreas", "pancreases"),
        ("uterus", "uteruses"),
        ("nail bed", "nail beds"),
        ("carious tooth", "carious teeth"),
        ("hindfoot", "hindfeet"),
    ],
)
def test_plurals_follow_the_rule(one: str, many: str) -> None:
    """Regular English plurals of the last word."""
    assert plural(one) == many


@pytest.mark.parametrize(
    "word",
    [
        *("nares", "crackles", "wees", "faeces", "bullae", "teeth", "feet"),
        *("lameness", "otitis", "squamous", "matted", "abdominally"),
    ],
)
def test_what_is_plural_already_or_no_noun_has_no_plural(word: str) -> None:
    """Heard words were mended into "nareses", "crackleses" and "weeses"."""
    assert plural(word) == word


@pytest.mark.parametrize(
    "word",
    [
        *(
            "pedal reflex",
            "erythema",
            "chemosis",
            "hemiplegia",
            "infection",
            "effect",
            "destruction",
            "hold them",
        ),
        *("restricted", "slipped", "caudodorsal", "perimeter", "managing", "sequestrum", "pneumonia"),
    ],
)
def test_letters_that_only_look_like_a_spelling_stay(word: str) -> None:
    """One spelling in both countries: no "paedal", "erythaema", "infaection" or "slippaed"."""
    assert spellings(word, load_lexicon().spelling) == {word}


def test_nouns_are_known_in_the_plural() -> None:
    """A plural needs no row of its own: "cataracts" is "cataract"."""
    for one, many in (("cataract", "cataracts"), ("murmur", "murmurs"), ("eyelid", "eyelids")):
        assert BY_TERM[one].id == BY_TERM[many].id


def test_terms_are_matched_without_case_hyphens_and_slashes() -> None:
    """What is matched is the normal form."""
    assert normal_form("  Non-weight/bearing\u2019s ") == "non weight bearing's"


# --- mistakes ------------------------------------------------------------------------

FINDING = (
    '[[finding]]\nid = "zz_new"\nsystem = "eyes"\nlabel = "new"\nplain = "new"\nterms = ["zz new thing"]\n'
)
RANGE = (
    '[[range]]\nkind = "temperature"\nspecies = "dog"\nlow = 1\nhigh = 2\nunit = "{unit}"\n'
    'basis = "test"\nsource = "test"\nread = true\n'
)


def test_the_copy_loads(tables: Path) -> None:
    """The unbroken copy is as good as the shipped tables, and may be added to."""
    append(tables / "findings" / "eyes.toml", FINDING)
    loaded: Lexicon = load_lexicon(tables)
    assert loaded.findings["zz_new"].label == "new"
    assert len(loaded.findings) == len(LEXICON.findings) + 1


MISTAKES = {
    "the same id twice": (
        "findings/eyes.toml",
        FINDING + FINDING.replace("zz new thing", "zz other"),
        ["zz_new", "already"],
    ),
    "a synonym of another finding": (
        "findings/eyes.toml",
        FINDING.replace("zz new thing", "cataract"),
        ["cataract", "zz_new", "already"],
    ),
    "an unknown system": (
        "findings/eyes.toml",
        FINDING.replace('"eyes"', '"tail"'),
        ["zz_new", "system", "tail"],
    ),
    "an unknown column": ("findings/eyes.toml", FINDING + 'colour = "red"\n', ["zz_new", "colour"]),
    "a missing column": ("findings/eyes.toml", FINDING.replace('label = "new"\n', ""), ["zz_new", "label"]),
    "an empty label": (
        "findings/eyes.toml",
        FINDING.replace('label = "new"', 'label = ""'),
        ["zz_new", "label"],
    ),
    "a capital in a term": ("findings/eyes.toml", FINDING.replace("zz new", "ZZ new"), ["zz_new", "terms"]),
    "an unknown table": ("findings/eyes.toml", FINDING.replace("[[finding]]", "[[findings]]"), ["findings"]),
    "a structure that is none": (
        "findings/eyes.toml",
        FINDING + 'structure = "flux_capacitor"\n',
        ["zz_new", "structure", "flux_capacitor"],
    ),
    "a composition of nothing": (
        "findings/eyes.toml",
        FINDING + 'composed_of = ["flux_capacitor + discharge"]\n',
        ["zz_new", "composed_of", "flux_capacitor"],
    ),
    "a composition of a finding of another system": (
        "findings/eyes.toml",
        FINDING + 'composed_of = ["eye + lameness"]\n',
        ["zz_new", "composed_of", "lameness"],
    ),
    "bad TOML": ("findings/eyes.toml", "[[finding]\nid = ", ["not valid TOML"]),
    "a part of an unknown part": (
        "structures/eyes.toml",
        '[[structure]]\nid = "zz_part"\nsystem = "eyes"\nlabel = "p"\nplain = "p"\npart_of = "zz_none"\n'
        'terms = ["zz part"]\n',
        ["zz_part", "part_of", "zz_none"],
    ),
    "a bad unit of a range": (
        "reference_ranges.toml",
        RANGE.format(unit="Kelvin"),
        ["temperature", "unit", "Kelvin"],
    ),
    "a range without its source": (
        "reference_ranges.toml",
        RANGE.format(unit="Cel").replace('source = "test"\n', ""),
        ["temperature", "source"],
    ),
    "a unit of an unknown quantity": (
        "units.toml",
        '[[unit]]\nterms = ["zz"]\ncode = "zz"\nquantity = "luck"\nto = "kg"\nsource = "test"\n',
        ["unit", "quantity", "luck"],
    ),
    "a requirement of an unknown system": (
        "requirements.toml",
        '[[requirement]]\nvisit = "zz"\nspecies = "*"\nsystems = ["tail"]\nmeasurements = []\nwhy = "test"\n',
        ["requirement", "systems", "tail"],
    ),
    "a measurement twice": (
        "measurements.toml",
        '[[measurement]]\nkind = "weight"\nlabel = "w"\nsystem = "general"\nnames = ["zz w"]\nwhy = "test"\n',
        ["weight", "already"],
    ),
    "a cue group without a reason": (
        "cues/talk.toml",
        '[[cue]]\nid = "zz_cue"\nkind = "replace"\nterms = ["zz"]\nwhy = ""\nexample = "zz zz"\n',
        ["zz_cue", "why"],
    ),
    "a cue group twice": (
        "cues/talk.toml",
        '[[cue]]\nid = "replace"\nkind = "replace"\nterms = ["zz"]\nwhy = "long enough"\nexample = "zz zz"\n',
        ["replace", "already"],
    ),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_named_with_its_file_and_row(mistake: str, tables: Path) -> None:
    """The message says which file, row and column, so that whoever edits a table finds the place."""
    name, text, words = MISTAKES[mistake]
    append(tables / name, text)
    with pytest.raises(LexiconError) as caught:
        load_lexicon(tables)
    message = str(caught.value)
    assert Path(name).name in message
    for word in words:
        assert word in message


def test_text_in_another_encoding_is_named(tables: Path) -> None:
    """A table saved by an old editor."""
    path = tables / "findings" / "eyes.toml"
    path.write_bytes(path.read_bytes() + "\n# caf\u00e9\n".encode("latin-1"))
    with pytest.raises(LexiconError, match=r"eyes\.toml is not UTF-8"):
        load_lexicon(tables)


@pytest.mark.parametrize("name", ["words.toml", "numbers.toml", "spelling.toml"])
def test_bad_toml_in_a_word_list_is_named(name: str, tables: Path) -> None:
    """The plain word lists are tables too."""
    append(tables / name, "= nothing")
    with pytest.raises(LexiconError, match=name):
        load_lexicon(tables)


def test_a_missing_table_is_named(tables: Path) -> None:
    """A folder that is no lexicon."""
    (tables / "units.toml").unlink()
    with pytest.raises(LexiconError, match=r"units\.toml"):
        load_lexicon(tables)
