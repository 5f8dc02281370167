"""What `make` checks before and after it installs."""

from __future__ import annotations

import subprocess
import sys
from importlib.metadata import version
from typing import Any

import pytest

from tests.running import ROOT
from tools import check_opencv, check_python


@pytest.mark.parametrize("good", [(3, 11), (3, 12), (3, 13)])
def test_supported_pythons_pass(good: tuple[int, int]) -> None:
    """Python 3.11 to 3.13 pass without a word."""
    assert check_python.complaint(good, True) is None


@pytest.mark.parametrize("bad", [(3, 8), (3, 10), (3, 14)])
def test_other_pythons_are_told_apart(bad: tuple[int, int]) -> None:
    """Another Python gets one sentence naming itself and what to install."""
    said = check_python.complaint(bad, True)
    assert said and f"this is {bad[0]}.{bad[1]}" in said and "3.11, 3.12 or 3.13" in said and "\n" not in said


def test_a_python_without_venv_is_told() -> None:
    """Debian's bare python3 has no venv; the sentence names the package."""
    said = check_python.complaint((3, 11), False)
    assert said and "apt-get install -y python3-venv" in said


def test_the_check_runs_by_itself() -> None:
    """The script ends with status 0 here and needs nothing installed."""
    script = ROOT / "tools" / "check_python.py"
    done = subprocess.run(
        [sys.executable, "-S", "-I", str(script)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


def _opencv(monkeypatch: pytest.MonkeyPatch, *reasons: str | None) -> list[tuple[str, ...]]:
    """cv2 fails for these reasons in turn; the list gets the calls of pip."""
    left = list(reasons)
    calls: list[tuple[str, ...]] = []
    monkeypatch.setattr(check_opencv, "_import_error", lambda: left.pop(0))
    monkeypatch.setattr(check_opencv, "_pip", lambda *args: calls.append(args))
    monkeypatch.setattr(check_opencv, "version", lambda _: version("numpy"))
    return calls


def test_a_working_opencv_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where `import cv2` works nothing is swapped."""
    calls = _opencv(monkeypatch, None)
    assert check_opencv.main() is None and not calls


def test_missing_libraries_swap_in_the_headless_build(monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    """Where a system library is missing, the headless build of the same version takes the place, and it is said."""
    monkeypatch.setattr(sys, "prefix", "/some/.venv")
    calls = _opencv(monkeypatch, "ImportError: libGL.so.1: cannot open shared object file", None)
    assert check_opencv.main() is None
    assert calls[0] == ("uninstall", "--yes", "opencv-python")
    assert calls[1][0] == "install" and calls[1][-1] == f"opencv-python-headless=={version('numpy')}"
    assert "libGL.so.1" in capsys.readouterr().err


def test_outside_of_a_venv_nothing_is_swapped(monkeypatch: pytest.MonkeyPatch) -> None:
    """The system's own Python is never changed; the sentence says what to install."""
    monkeypatch.setattr(sys, "prefix", sys.base_prefix)
    calls = _opencv(monkeypatch, "ImportError: libGL.so.1")
    said = check_opencv.main()
    assert said and "apt-get install -y libgl1 libglib2.0-0" in said and not calls


def test_a_swap_that_does_not_help_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    """When cv2 still fails after the swap, `make` stops and says so."""
    monkeypatch.setattr(sys, "prefix", "/some/.venv")
    _opencv(monkeypatch, "ImportError: libGL.so.1", "ImportError: libother.so")
    said = check_opencv.main()
    assert said and "libother.so" in said
