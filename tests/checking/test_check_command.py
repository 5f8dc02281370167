"""`lessonkit check` on the command line: status, what it refuses, and that it overwrites nobody's file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from lessonkit.checking.picture import refuse_foreign


def test_somebodys_file_is_never_overwritten(command: Any, tmp_path: Path, sample_footage: Path) -> None:
    mine = tmp_path / "mine.png"
    mine.write_bytes(b"not a picture")
    done = command("check", sample_footage, "--out", mine)
    assert done.status == 1 and done.is_one_sentence() and mine.read_bytes() == b"not a picture"
    refuse_foreign(tmp_path / "new.png")


def test_wrong_times_and_names_are_refused(command: Any, tmp_path: Path, sample_footage: Path) -> None:
    assert command("check", sample_footage, "--at", "soon").status == 2
    assert command("check", sample_footage, "--out", tmp_path / "x.jpg").status == 2
    late = command("check", sample_footage, "--at", "1:00:00", "--out", tmp_path / "x.png")
    assert late.status == 1 and "earlier time" in late.err and not list(tmp_path.iterdir())
