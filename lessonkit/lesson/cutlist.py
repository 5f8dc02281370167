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

PieceKind = Literal["title", "clip", "plan", "play", "replay", "skip", "result", "table", "next"]

PLAN_STEPS: dict[str, float] = {
    "called": 0.05, "aim": 0.2, "way": 0.36, "landing": 0.62, "next": 0.74, "roles": 0.79, "plan b": 0.84,
}  # fmt: skip
"""What may be drawn on a plan still, in the order of telling, and the share of the piece at which it appears."""
RESULT_STEPS: dict[str, float] = {"planned": 0.0, "actual": 0.14, "difference": 0.32}
"""The same for a result still."""


@dataclass(frozen=True)
class Drawn:
    """One step of the drawing on a still."""

    what: str
    """A key of PLAN_STEPS or RESULT_STEPS."""
    at: float
    """Share of the piece, 0-1, that has passed when it appears."""


@dataclass(frozen=True)
class Voice:
    """A stretch of a recording that is heard from a moment of a piece on; it may run on into the pieces after it."""

    file: str
    """Its path, from the lesson folder if it is not absolute."""
    start_s: float
    """Recording time."""
    end_s: float
    at_s: float = 0.0
    """When it begins, seconds from the piece's start."""

    @property
    def duration_s(self) -> float:
        """How long it speaks."""
        return max(0.0, self.end_s - self.start_s)


@dataclass(frozen=True)
class Draft:
    """One piece of the lesson before it has its place in time: what a line of the cut list file says."""

    kind: PieceKind
    """title card; a clip of the person's own; still with the plan; the shot; the shot again, slowly; dead time; still
    with the result; closing table; card that tells what comes next time."""
    shot: int | None = None
    """Number of the shot, None for cards, clips and dead time."""
    source_start_s: float | None = None
    """Footage time of the first frame shown (play, replay, skip), or of the still; None for cards and clips."""
    source_end_s: float | None = None
    """Footage time at which play, replay or skip ends."""
    speed: float = 1.0
    """Seconds of footage in a second of the lesson: below 1 slow, above 1 fast. A skip of speed 0 is left out."""
    lasts_s: float | None = None
    """How long a still or card stands at least; it also lasts as long as its words. None: as long as is usual."""
    steps: tuple[Drawn, ...] | None = None
    """What is drawn on a still; None: all that is known, at the usual times."""
    say: str = ""
    """What is said, and captioned unless `captions` says otherwise; no caption holds words of two lines of it."""
    say_at_s: float = 0.0
    """When saying starts, seconds from the piece's start."""
    captions: tuple[str, ...] | None = None
    """The captions one after the other, each of one or two lines; None: `say`, cut at its phrases."""
    captions_at_s: tuple[float, ...] | None = None
    """When each caption's words are spoken, seconds from the piece's start, ascending; None: one after the other."""
    voice: tuple[Voice, ...] = ()
    """What is heard with it, one after the other; a still stands until it is over."""
    headline: str | None = None
    """The line over a shot's picture; None: what is known of the shot."""
    text: tuple[str, ...] | None = None
    """Words of a card: small line, large line, small line; None: what is known of the lesson."""
    file: str | None = None
    """Of a clip: its path, from the lesson folder if it is not absolute."""


@dataclass(frozen=True)
class Piece:
    """One piece of the lesson in its place. Fields that Draft has mean the same here."""

    kind: PieceKind
    start_s: float
    """Lesson time."""
    duration_s: float
    shot: int | None = None
    source_start_s: float | None = None
    source_end_s: float | None = None
    speed: float = 1.0
    steps: tuple[Drawn, ...] | None = None
    say: str = ""
    headline: str | None = None
    text: tuple[str, ...] | None = None
    file: str | None = None
    voice: tuple[Voice, ...] = ()

    @property
    def end_s(self) -> float:
        """Lesson time at which the piece ends."""
        return self.start_s + self.duration_s

    def footage_s(self, t_s: float) -> float:
        """Footage time shown at lesson time `t_s`; of a still always that of its picture."""
        start_s = self.source_start_s or 0.0
        moving = self.source_end_s is not None
        return start_s + (t_s - self.start_s) * self.speed if moving else start_s


@dataclass(frozen=True)
class LeftOut:
    """Dead time that the lesson does not show."""

    at_s: float
    """Lesson time of the cut."""
    source_start_s: float
    source_end_s: float


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
    high: bool = False
    """Shown in the upper part of the picture, because the table's action is in the lower."""


@dataclass(frozen=True)
class CutList:
    """The whole lesson, pieces without gaps from 0."""

    pieces: tuple[Piece, ...]
    chapters: tuple[Chapter, ...]
    cues: tuple[Cue, ...]
    left_out: tuple[LeftOut, ...] = ()

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
