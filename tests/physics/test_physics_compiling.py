"""Where compiled code is kept, and that nothing depends on there being such a place."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from lessonkit.physics.kernels import compiling


@pytest.fixture(autouse=True)
def _afresh(monkeypatch: pytest.MonkeyPatch) -> None:
    """No answer is remembered from or for another test."""
    monkeypatch.setattr(compiling, "keeping_folder", compiling.keeping_folder.__wrapped__)


def double(x: float) -> float:
    return 2.0 * x


def test_the_first_place_that_can_be_written_is_taken(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setattr(compiling, "_places", lambda: [tmp_path / "file", tmp_path / "good"])
    folder = compiling.keeping_folder()
    assert folder is not None and folder.parent == tmp_path / "good" and folder.is_dir()
    assert compiling.compiled(double)(2.0) == 4.0
    assert any(folder.rglob("*.nbi"))


def test_without_a_place_it_is_compiled_all_the_same(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setattr(compiling, "_places", lambda: [tmp_path / "file"])
    assert compiling.keeping_folder() is None
    assert compiling.compiled(double)(3.0) == 6.0


def test_a_place_lost_meanwhile_does_no_harm(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setattr(compiling, "keeping_folder", lambda: tmp_path / "file" / "folder")
    assert compiling.compiled(double)(3.0) == 6.0


def test_another_source_gets_another_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(compiling, "HERE", tmp_path)
    (tmp_path / "a.py").write_text("x = 1\n")
    one = compiling._fingerprint()
    assert one == compiling._fingerprint()
    (tmp_path / "a.py").write_text("x = 2\n")
    assert compiling._fingerprint() != one


def test_old_folders_do_not_pile_up(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for k in range(8):
        old = tmp_path / f"lessonkit-{k}"
        old.mkdir()
        os.utime(old, (k, k))
    (tmp_path / "something else").mkdir()
    monkeypatch.setattr(compiling, "_places", lambda: [tmp_path])
    folder = compiling.keeping_folder()
    left = {f.name for f in tmp_path.iterdir()}
    assert folder is not None
    assert left == {folder.name, "something else", *(f"lessonkit-{k}" for k in range(8 - compiling.KEEP, 8))}


def test_nothing_is_compiled_or_loaded_before_a_shot_is_played() -> None:
    code = (
        "import sys; import lessonkit.physics.simulate, lessonkit.physics.many, lessonkit.planning.plan; "
        "print('numba' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
