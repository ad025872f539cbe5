"""Taking in a list on the command line."""

from __future__ import annotations

import json
from pathlib import Path

from commands import Run, one_line

NURSE = "Tobin Marsh"


def test_a_list_is_tried_mended_and_taken_in(books: str | Path, tmp_path: Path, run: Run) -> None:
    file = tmp_path / "clients.csv"
    rows = "Owner;Patient;Species;Colour\nRené Dubois;Moss;canine;grey\nAda Finch;Wren;dog;brown\n"
    file.write_bytes((rows + "Ada Finch;;dog;red\n").encode("cp1252"))
    tried = run("import", file, "--dry-run", "--as", NURSE)
    assert tried.exit_code == 1
    assert "4     has no name of the patient" in tried.stdout
    assert "Windows-1252" in tried.stderr
    assert "Colour" in tried.stderr
    assert "1 of 3 rows" in tried.stderr
    file.write_bytes(rows.encode("cp1252"))
    assert "would be taken in" in run("import", file, "--dry-run", "--as", NURSE).stdout
    assert run("find", "moss", "--as", NURSE).stdout == ""
    done = json.loads(run("import", file, "--json", "--as", NURSE).stdout)
    assert (done["written"], done["patients"], done["ignored"]) == (True, 2, ["Colour"])
    assert "René Dubois" in run("find", "rene", "--as", NURSE).stdout
    assert "--dates" in one_line(run("import", file, "--dates", "now", "--as", NURSE).stderr)
    assert run("import", tmp_path / "none.csv", "--as", NURSE).exit_code == 2
