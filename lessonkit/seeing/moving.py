"""One ball while a shot lasts: where it was seen, and what that tells of its motion."""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Pocket, Point, Track

Floats = NDArray[np.float64]

CREEP_MMPS = 25.0
TOLD_BY = 4
"""So many sights tell a speed."""
SPARE = 1.3
STIR_MM, LAST_SIGHTS = 8.0, 5
"""See `Moving.stirred`."""


def off_colour(a: Sequence[float] | Floats, b: Sequence[float] | Floats, lamp: float = 0.0) -> float:
    """How far two mean linear colours are from one ball's: 0 the same, 1 and more for a white ball and a dark one.

    `lamp`: by how much brighter, as a logarithm, the light on `a` may be; up to that is no difference.
    """
    white_a, white_b = (min(c) / max(*c, 1e-3) for c in (a, b))
    brighter = math.log((sum(a) + 0.03) / (sum(b) + 0.03))
    brightness = abs(brighter - min(max(brighter, min(lamp, 0.0)), max(lamp, 0.0)))
    return float(0.7 * brightness + 1.2 * abs(white_a - white_b))


@dataclass
class Moving:
    """One ball while the shot lasts."""

    ball: int
    start: Point
    colour: Floats
    seen: list[tuple[float, float, float, float]] = field(default_factory=list)
    """t_s, x_mm, y_mm, quality of every sight since it moved (the first: at rest)."""
    moving: bool = False
    rest_s: float | None = None
    dropped: tuple[float, Pocket] | None = None
    missed_since: float | None = None
    clear: list[float] = field(default_factory=list)
    """How clear of hands and cues it was at each sight in motion."""
    colours: list[tuple[float, float, float]] = field(default_factory=list)
    """Mean linear colour of each sight in `clear`, blue-green-red."""
    guess_mmps: float = 0.0
    """How fast it may be while little has been seen of its motion: the speed of what hit it."""
    from_sight: int = 0
    """Index in `seen` of the last sight before it moved."""

    @property
    def last(self) -> tuple[float, Point]:
        """Time and place of the last sight."""
        t, x, y, _ = self.seen[-1]
        return t, (x, y)

    def velocity(self) -> Floats:
        """Millimetres a second, from the last two sights."""
        if len(self.seen) < 2 or not self.moving:
            return np.zeros(2)
        a, b = self.seen[-2], self.seen[-1]
        return np.array([b[1] - a[1], b[2] - a[2]]) / max(b[0] - a[0], 1e-3)

    def speed(self) -> float:
        """Millimetres a second: the greatest of the last three steps, so that a bounce is not taken for a halt."""
        if not self.moving:
            return 0.0
        recent = self._recent()
        steps = [np.hypot(b[1] - a[1], b[2] - a[2]) / max(b[0] - a[0], 1e-3) for a, b in itertools.pairwise(recent)]  # fmt: skip
        # the first step is only what was left of its frame after the hit, so it tells little
        return float(max(steps)) if len(recent) >= TOLD_BY else float(max([self.guess_mmps, *steps]))

    def gives_mmps(self) -> float:
        """How fast what it hits may run, by SPARE more than itself as far as sights tell its speed.

        A speed that is a guess itself is handed on as it is: in a rack that bursts in one picture it would grow from ball to
        ball.
        """
        return self.speed() * (SPARE if len(self._recent()) >= TOLD_BY else 1.0)

    def _recent(self) -> list[tuple[float, float, float, float]]:
        return self.seen[max(self.from_sight, len(self.seen) - TOLD_BY) :]

    def rolls(self, t_s: float) -> bool:
        """Whether it is beyond doubt seen moving at a time: on an even way, and up to then."""
        recent = np.array([s[:3] for s in self.seen[self.from_sight :] if t_s - s[0] < 0.4])
        if len(recent) < 6 or t_s - recent[-1, 0] > 0.1 or self.speed() < CREEP_MMPS:
            return False
        bend = recent[2:, 1:] - 2 * recent[1:-1, 1:] + recent[:-2, 1:]
        return bool(np.median(np.hypot(*bend.T)) < 6.0)

    def stirred(self) -> bool:
        """Whether a ball that seemed to leave never was far from its place, and in the end lay there: it was read otherwise for
        some frames, as one is that stands out little or touches another."""
        if not self.seen:
            return False
        end = [statistics.median(s[c] for s in self.seen[-LAST_SIGHTS:]) for c in (1, 2)]
        return math.dist(end, self.start) < STIR_MM / 2 and all(
            math.dist(s[1:3], self.start) < STIR_MM for s in self.seen
        )

    def track(self) -> Track:
        """The path so far."""
        return np.array([s[:3] for s in self.seen], float).reshape(-1, 3)
