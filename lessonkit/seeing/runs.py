"""One ball's way during a shot, as the search for contacts takes it."""

from __future__ import annotations

from dataclasses import dataclass

from lessonkit.model import Point, Track


@dataclass(frozen=True, eq=False)
class Run:
    """One ball's way during a shot."""

    ball: int
    start: Point
    track: Track
    """Cleaned sights; the first is the last at rest."""
    onset_s: float
    """When it began to move."""
