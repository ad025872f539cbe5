"""Writers that are killed without warning lose nothing that was acknowledged and leave nothing by half."""

from __future__ import annotations

from pathlib import Path

from kills import WRITERS, kill_writers


def test_killed_writers_lose_nothing_acknowledged(address: str | Path, tmp_path: Path) -> None:
    """A few kills here; `tests/store/kills.py` does hundreds, and kills processes of the server, too."""
    seen, faults = kill_writers(address, tmp_path / "killed", kills=6, seed=7)
    assert faults == []
    assert sum(seen.interrupted.values()) == 6 * WRITERS
    assert seen.acknowledged >= 6
