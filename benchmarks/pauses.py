"""Learns the pauses anew from marked dictations and writes lexicon/pauses.json: python benchmarks/pauses.py tests/gold/dev.

Shows first, on dictations that the weights were not learnt from, the rules alone beside the rules with pauses.
"""

from __future__ import annotations

import sys
from pathlib import Path

from lexicon.pauses import table_path
from pipeline.evaluation import GoldError, read_gold
from pipeline.evaluation.learning import learn_from, unseen


def main() -> int:
    """Compare, learn, write."""
    if len(sys.argv) != 2:
        sys.stdout.write(
            "Call: python benchmarks/pauses.py FOLDER, a folder of dictations such as tests/gold/dev." + "\n"
        )
        return 2
    try:
        golds = read_gold(Path(sys.argv[1]))
    except GoldError as error:
        sys.stdout.write(f"{error}\n")
        return 1
    for name, score in zip(("rules alone", "with pauses"), unseen(golds), strict=True):
        sys.stdout.write(
            f"{name}: findings F1 {score.findings.f1:.3f}, present taken for absent or the reverse {score.flips},"
            f" measurements F1 {score.measurements.f1:.3f}, side right {score.share('side'):.3f}\n"
        )
    pauses = learn_from(golds)
    table_path().write_text(pauses.as_json(), encoding="utf-8")
    sys.stdout.write(f"{len(pauses.weights)} weights written to {table_path().name}." + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
