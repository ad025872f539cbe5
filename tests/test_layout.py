"""A stage knows the stage before it only by what that hands on: DEVELOPERS.md, "The way of the data"."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
# Modules that a folder may import beside its own; a name stands for itself and what lies in it.
MAY_IMPORT = {
    "pipeline/capture": (),
    "pipeline/speech": ("pipeline.capture", "models"),
    "pipeline/listening": ("pipeline.capture", "pipeline.speech"),
    "pipeline/extraction": ("pipeline.speech.model", "lexicon"),
    "pipeline/record": ("pipeline.extraction.model", "pipeline.speech.model", "lexicon"),
    "pipeline/review": ("pipeline.record", "pipeline.extraction.model", "pipeline.speech.model", "lexicon"),
    "pipeline/store": (
        "pipeline.record",
        "pipeline.review",
        "pipeline.extraction.model",
        "pipeline.speech.model",
        "lexicon",
    ),
    "pipeline/jobs": (
        "pipeline.exam",
        "pipeline.settings",
        "pipeline.capture",
        "pipeline.speech",
        "pipeline.extraction",
        "pipeline.record",
        "pipeline.review",
        "pipeline.store",
        "pipeline.filing",
        "lexicon",
        "models",
    ),
    "pipeline/filing": (
        "pipeline.record",
        "pipeline.review",
        "pipeline.extraction.model",
        "pipeline.speech.model",
        "pipeline.store.model",
        "lexicon",
    ),
    "pipeline/desk": (
        "pipeline.exam",
        "pipeline.settings",
        "pipeline.capture",
        "pipeline.speech",
        "pipeline.listening",
        "pipeline.extraction",
        "pipeline.record",
        "pipeline.review",
        "pipeline.store",
        "pipeline.jobs",
        "pipeline.filing",
        "lexicon",
        "models",
    ),
    "pipeline/evaluation": ("pipeline.extraction", "pipeline.speech.model", "lexicon"),
    "lexicon": (),
    "models": (),
}


def imports(file: Path) -> set[str]:
    """List the modules of ours that a file imports."""
    found = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
    return {
        name for name in found if name.split(".")[0] in ("pipeline", "lexicon", "models", "audio_samples")
    }


def within(module: str, allowed: str) -> bool:
    return module == allowed or module.startswith(f"{allowed}.")


@pytest.mark.parametrize("folder", MAY_IMPORT)
def test_a_stage_imports_only_what_it_may(folder: str) -> None:
    allowed = (folder.replace("/", "."), *MAY_IMPORT[folder])
    wrong = {
        f"{file.relative_to(ROOT)}: {module}"
        for file in (ROOT / folder).rglob("*.py")
        for module in imports(file)
        if not any(within(module, name) for name in allowed)
    }
    assert wrong == set()


def test_every_folder_has_its_row() -> None:
    """The command line alone may import everything."""
    stages = {f"pipeline/{folder.parent.name}" for folder in (ROOT / "pipeline").glob("*/__init__.py")}
    assert stages - {"pipeline/cli"} == {folder for folder in MAY_IMPORT if folder.startswith("pipeline/")}
    told = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert [folder for folder in MAY_IMPORT if f"| `{folder}` |" not in told] == []
