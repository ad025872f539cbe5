"""Asks the other programs of the comparison, each in an environment of its own, and shows their answers beside ours.

    python benchmarks/compare.py FOLDER [WORK_FOLDER]

FOLDER holds annotated dictations. Environments and answers are kept in WORK_FOLDER (a temporary one if not given), so that a
second run with it only asks. Run it with the Python of Rostral's environment. The first run needs the network.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

HERE = Path(__file__).parent
ENGINES = ("negspacy", "medspacy", "edsnlp")
# One thread for every library: the speeds are those of one core.
ONE_CORE = {
    **os.environ,
    **dict.fromkeys(("OMP_NUM_THREADS", "MKL_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1"),
}
ONE_CORE.pop("PYTHONPATH", None)


def environment(engine: str, work: Path) -> Path:
    """Make the environment of an engine unless it is there, and give its Python."""
    folder = work / engine
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    installed = folder / "installed"
    if not installed.exists():
        venv.create(folder, with_pip=True)
        run(python, "-m", "pip", "install", "--quiet", "--requirement", HERE / f"{engine}.txt")
        installed.touch()
    return python


def run(*command: object) -> None:
    """Run a command, whose output is thrown away unless it fails."""
    done = subprocess.run(
        [str(part) for part in command], env=ONE_CORE, capture_output=True, text=True, check=False
    )
    if done.returncode:
        sys.exit(f"{' '.join(map(str, command))} failed:\n{done.stderr[-2000:]}")


def main() -> None:
    """Write the questions, ask, compare."""
    folder = Path(sys.argv[1])
    work = Path(sys.argv[2] if len(sys.argv) > 2 else tempfile.mkdtemp()).resolve()
    work.mkdir(parents=True, exist_ok=True)
    questions = work / "questions.jsonl"
    rostral = (sys.executable, "-m", "pipeline.cli", "evaluate", folder)
    subprocess.run([*map(str, rostral), "--questions", str(questions)], check=True)
    pythons = {engine: environment(engine, work) for engine in ENGINES}
    rules = []
    for engine in ("negspacy", "medspacy"):
        rules.append(work / f"{engine}.rules.json")
        run(pythons[engine], HERE / f"ask_{engine}.py", "--rules", rules[-1])
    answers = []
    for engine, python in pythons.items():
        answers.append(work / f"{engine}.answers.json")
        run(python, HERE / f"ask_{engine}.py", questions, answers[-1], *rules)
    files = [part for file in answers for part in ("--peers", str(file))]
    subprocess.run([*map(str, rostral), *files], check=True)


main()
