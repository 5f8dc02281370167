"""Running command lines in tests, in this process or through the installed script."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
SAMPLE = ROOT / "sample_media"
SCRIPT = Path(sys.executable).with_name("lessonkit")
"""The installed command, as a person runs it."""


@dataclass(frozen=True)
class Ran:
    """What one command line did."""

    status: int
    out: str
    err: str

    def is_one_sentence(self) -> bool:
        """Whether the complaint is one line, ours, and no traceback."""
        lines = [line for line in self.err.splitlines() if line.startswith("lessonkit: ")]
        return len(lines) == 1 and self.err.strip().endswith(lines[0]) and "Traceback" not in self.err


def script(*args: str | Path, timeout_s: float = 600, **options: Any) -> Ran:
    """Run the installed command in a process of its own."""
    done = subprocess.run(
        [str(SCRIPT), *map(str, args)],
        capture_output=True,
        text=True,
        timeout=timeout_s,
        check=False,
        stdin=subprocess.DEVNULL,
        **options,
    )
    return Ran(done.returncode, done.stdout, done.stderr)
