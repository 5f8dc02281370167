"""The lesson as a list of pieces before there is a picture: what is shown from when to when, and what is said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

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
