"""The lesson as a list of pieces before there is a picture: what is shown when, and what is said."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from lessonkit.model import Footage

RATES = (24, 25, 30, 50, 60)
"""Frame rates that a lesson may have; every player and platform takes them (common practice, no source)."""
DEFAULT_RATE = 30
"""For footage that does not tell its rate."""

PieceKind = Literal["title", "plan", "play", "result", "table"]


@dataclass(frozen=True)
class Piece:
    """One piece of the lesson."""

    kind: PieceKind
    """title card; still with the plan; the shot at full speed; still with the result; closing table."""
    start_s: float
    """Lesson time."""
    duration_s: float
    shot: int | None = None
    """Number of the shot, None for cards."""
    source_start_s: float | None = None
    """Footage time of the first frame shown (play), or of the still; None for cards."""
    source_end_s: float | None = None
    """Footage time at which play ends; None for stills and cards."""

    @property
    def end_s(self) -> float:
        """Lesson time at which the piece ends."""
        return self.start_s + self.duration_s


@dataclass(frozen=True)
class Chapter:
    """One chapter, lesson time."""

    title: str
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Cue:
    """One caption, lesson time; lines parted by a newline."""

    start_s: float
    end_s: float
    text: str


@dataclass(frozen=True)
class CutList:
    """The whole lesson, pieces without gaps from 0."""

    pieces: tuple[Piece, ...]
    chapters: tuple[Chapter, ...]
    cues: tuple[Cue, ...]

    @property
    def duration_s(self) -> float:
        """Length of the lesson."""
        return self.pieces[-1].end_s if self.pieces else 0.0


def output_rate(footage: Footage) -> Fraction:
    """Frames per second of the lesson: the usual rate nearest (as a ratio) to the footage's average.

    29.97 gives 30, 59.94 gives 60, a phone's variable 42.3 gives 50, 120 and above give 60.
    """
    if not (math.isfinite(footage.fps) and footage.fps > 0):
        return Fraction(DEFAULT_RATE)
    return Fraction(min(RATES, key=lambda r: abs(math.log(r / footage.fps))))


def seconds(frames: int, rate: Fraction) -> float:
    """Time of the start of frame `frames`, seconds."""
    return float(Fraction(frames) / rate)


def frames_in(duration_s: float, rate: Fraction) -> int:
    """Whole frames that fit into a duration; a hair (1e-6 s) short of a frame counts as the frame."""
    return max(0, math.floor((duration_s + 1e-6) * rate))


def frames_for(duration_s: float, rate: Fraction) -> int:
    """Whole frames that last at least a duration; a hair (1e-6 s) over is not given another frame."""
    return max(0, math.ceil((duration_s - 1e-6) * rate))
