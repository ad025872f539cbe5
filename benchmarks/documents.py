"""How long documents take, how large they are, and whether memory stays flat over a thousand of them.

Prints the bundled dictations, signed, again and again: ``python benchmarks/documents.py [HOW_MANY]``.
"""

from __future__ import annotations

import json
import sys
import time
from datetime import UTC, date, datetime, timedelta
from importlib.resources import files
from statistics import median

import psutil

from lexicon import load_lexicon
from pipeline.exam import understand
from pipeline.filing import Letterhead, Printed, clinical_record_pdf, take_home_sheet_pdf
from pipeline.record import Patient, Visit
from pipeline.speech.model import Transcript
from pipeline.store import PastValue, SignedVersion

ON = date(2026, 3, 9)
LEXICON = load_lexicon()
PRACTICE = Letterhead(name="Alder Lane Surgery", address="14 Alder Lane\nWestering", phone="01632 960 001")
PAST = {
    "weight": [
        PastValue(on=ON - timedelta(days=180 * count), value=12 - count / 4, unit="kg", out_of=None)
        for count in (4, 3, 2, 1)
    ]
}


def versions() -> list[SignedVersion]:
    """The bundled dictations as first versions."""
    folder = files("audio_samples")
    texts = sorted(file.name for file in folder.iterdir() if file.name.endswith(".txt"))
    signed = []
    for name in texts:
        patient = json.loads((folder / name.replace(".txt", ".patient.json")).read_text(encoding="utf-8"))
        said = Transcript.from_text((folder / name).read_text(encoding="utf-8"))
        record = understand(said, Patient.model_validate({**patient, "owner": None}), Visit(on=ON))
        signed.append(
            SignedVersion(
                record_id="0" * 32,
                version=1,
                record=record,
                sha256="0" * 64,
                signed_by="Ines Halloran",
                signed_at=datetime(2026, 3, 9, 10, 42, tzinfo=UTC),
                reason=None,
            )
        )
    return signed


def main() -> None:
    """Print as many as asked for and say how it went."""
    how_many = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    all_versions, process = versions(), psutil.Process()

    def record(version: SignedVersion) -> Printed:
        return clinical_record_pdf([version], PRACTICE, LEXICON, past=PAST)

    def sheet(version: SignedVersion) -> Printed:
        return take_home_sheet_pdf(version, PRACTICE, LEXICON, past=PAST)

    for name, make in (("record", record), ("sheet", sheet)):
        times, sizes, memory = [], [], []
        for count in range(how_many):
            # Each of its own, so that the typesetter finds nothing it has set before.
            own = {"record_id": f"{count:032x}", "sha256": f"{count:064x}"}
            version = all_versions[count % len(all_versions)].model_copy(update=own)
            began = time.perf_counter()
            printed = make(version)
            times.append(time.perf_counter() - began)
            sizes.append(len(printed.pdf))
            if count % max(1, how_many // 10) == 0:
                memory.append(round(process.memory_info().rss / 2**20))
        ms = sorted(1000 * one for one in times)
        sys.stdout.write(
            f"{name}: {how_many} made; median {median(ms):.1f} ms, 95th percentile {ms[int(0.95 * len(ms))]:.1f} ms;\n"
            f"  {min(sizes):,} to {max(sizes):,} bytes; memory in MiB along the way: {memory}\n"
        )


if __name__ == "__main__":
    main()
