"""What came of a simulated shot."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field
from operator import itemgetter

import numpy as np

from lessonkit.model import Cushion, Layout, Pocket, Point, Track
from lessonkit.physics.motion import Ball


@dataclass(frozen=True)
class Hit:
    """One contact: kind 'ball', 'cushion' (jaw: of a pocket's jaws) or 'pocket'; time from the strike."""

    t_s: float
    kind: str
    balls: tuple[int, ...]
    cushion: Cushion | None = None
    pocket: Pocket | None = None
    jaw: bool = False
    speed_mmps: float = 0.0
    """Speed of approach along the normal."""


Piece = tuple[float, float, float, float, float, float, float]
"""t_s, x, y, vx, vy, ax, ay: one parabola, valid until the next piece's time."""


@dataclass
class Run:
    """What came of a simulated shot."""

    hits: list[Hit] = field(default_factory=list)
    pieces: dict[int, list[Piece]] = field(default_factory=dict)
    """Of every ball that moved; the last piece is the ball at rest (or dropped)."""
    rest: Layout = field(default_factory=dict)
    """Balls still on the table, where they lie."""
    dropped: dict[int, Pocket] = field(default_factory=dict)
    balls: dict[int, Ball] = field(default_factory=dict)
    """Last states."""
    end_s: float = 0.0
    """When all lay still, or `until_s`."""
    stopped: bool = False
    """Ended before all lay still: by the caller's wish, or after MAX_EVENTS."""

    def place(self, ball: int, t_s: float) -> Point:
        """Where a ball that moved is at a time, mm."""
        pieces = self.pieces[ball]
        k = max(bisect_right(pieces, t_s, key=itemgetter(0)) - 1, 0)
        t, x, y, vx, vy, ax, ay = pieces[k]
        d = max(0.0, t_s - t)
        return x + (vx + 0.5 * ax * d) * d, y + (vy + 0.5 * ay * d) * d

    def path(self, ball: int, step_s: float = 1 / 60) -> Track:
        """A ball's path, shape (N, 3): t_s, x_mm, y_mm, with every change of law and at least every `step_s`."""
        pieces = self.pieces.get(ball)
        if not pieces:
            return np.zeros((0, 3))
        rows: list[tuple[float, float, float]] = []
        for piece, after in zip(pieces, [*pieces[1:], None], strict=True):
            t, x, y, vx, vy, ax, ay = piece
            n = 1 if after is None else max(1, int((after[0] - t) / step_s + 0.5))
            span = 0.0 if after is None else after[0] - t
            for k in range(n):
                d = span * k / n
                rows.append((t + d, x + (vx + 0.5 * ax * d) * d, y + (vy + 0.5 * ay * d) * d))
        return np.array(rows)
