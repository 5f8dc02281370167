"""What tests of several rooms share: the sample footage with its truth, and the command line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.running import SAMPLE, Ran


@pytest.fixture
def command(capsys: pytest.CaptureFixture[str]) -> Any:
    """Run a command line in this process."""
    from lessonkit.cli import run

    def call(*args: str | Path) -> Ran:
        capsys.readouterr()
        status = run([str(a) for a in args])
        out, err = capsys.readouterr()
        return Ran(status, out, err)

    return call


@pytest.fixture(scope="session")
def sample_footage() -> Path:
    """A minute of overhead footage; sample_media/README.md says how it was made."""
    return SAMPLE / "club-night.mp4"


@pytest.fixture(scope="session")
def sample_notes() -> Path:
    """The notes to it."""
    return SAMPLE / "notes.txt"


@pytest.fixture(scope="session")
def sample_truth() -> dict[str, Any]:
    """What really happened in it, by the renderer that made it."""
    truth: dict[str, Any] = json.loads((SAMPLE / "truth.json").read_text())
    return truth
