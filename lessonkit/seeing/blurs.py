"""Balls drawn out by their own motion: patches of foreign pixels that are longer than a ball and as wide.

A fast ball is a streak in each picture. Its two ends are half circles, which vote for a disc at either end; but the ball
was, in the middle of the exposure, in the middle of the streak.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

LEAST_AREA, MOST_AREA = 0.55, 4.5
"""Of a patch that may be one ball, in areas of a ball."""
MOST_WIDTH = 0.72
"""Standard deviation across a patch that may be one ball, in radii; a disc has 0.5 each way."""
STREAK_WIDTH = 0.70
"""The same of a streak; an endless one has 0.58, more where a soft picture and the ball's shadow make it look larger."""
LEAST_DRAWN = 1.4
"""By how much a streak is longer than a ball, at least, in radii; of less, the votes still find the middle."""
SOLID = (0.93, 1.12)
"""Area of a streak, as a share of what a disc drawn out to its length covers; of two balls that touch it is 0.88."""

ALONG = 0.93
"""Cosine of the angle by which a streak may lie off the ball's way."""
PAIR = 2.25
"""Two discs nearer to each other than this, in radii, are balls that touch, or a streak just so long: left to be discs."""


def pairs(ends: Sequence[tuple[float, float]], radius_px: float) -> bool:
    """Whether discs on one patch, places in pixels, may be balls that lie against each other."""
    return any(np.hypot(a[0] - b[0], a[1] - b[1]) < PAIR * radius_px for a, b in combinations(ends, 2))


@dataclass(frozen=True)
class Blur:
    """One patch that may be a ball drawn out."""

    x_px: float
    y_px: float
    label: int
    streak: bool
    along: tuple[float, float]
    """Unit vector along it, x and y."""

    def ran(self, heading: NDArray[np.float64]) -> bool:
        """Whether a ball that runs that way drew it out; any may have that had no way yet (all zero)."""
        speed = float(np.hypot(*heading))
        return self.streak and (speed == 0.0 or abs(float(heading @ np.asarray(self.along))) > ALONG * speed)


def blurs(free: NDArray[np.float32], radius_px: float) -> tuple[list[Blur], NDArray[np.int32]]:
    """Foreign patches about the size of a ball, or of a ball drawn out any way, and the labels of all patches.

    `free`: how surely each pixel is foreign, 0 to 1. Patches that reach the border are left out.
    """
    n, labels, stats, centres = cv2.connectedComponentsWithStats(
        (free > 0.5).astype(np.uint8), connectivity=4
    )
    ball = np.pi * radius_px**2
    rows, columns = free.shape
    out: list[Blur] = []
    for i in range(1, n):
        area = stats[i, cv2.CC_STAT_AREA]
        x, y = stats[i, cv2.CC_STAT_LEFT], stats[i, cv2.CC_STAT_TOP]
        w, h = stats[i, cv2.CC_STAT_WIDTH], stats[i, cv2.CC_STAT_HEIGHT]
        at_edge = x == 0 or y == 0 or x + w == columns or y + h == rows
        if at_edge or not LEAST_AREA * ball < area < MOST_AREA * ball:
            continue
        at = np.argwhere(labels[y : y + h, x : x + w] == i).astype(float)
        spread, axes = np.linalg.eigh(np.cov(at.T))
        wide = float(np.sqrt(max(spread[0], 0.0))) / radius_px
        if wide < MOST_WIDTH:
            # what is cut out of a soft picture is larger than the ball; of a streak the width tells by how much
            half_px = radius_px * max(1.0, np.sqrt(3.0) * wide)
            drawn = float(np.ptp(at @ axes[:, 1])) + 1 - 2 * half_px
            share = area / (np.pi * half_px**2 + 2 * half_px * max(drawn, 0.0))
            streak = wide < STREAK_WIDTH and drawn > LEAST_DRAWN * radius_px and SOLID[0] < share < SOLID[1]
            out.append(
                Blur(
                    float(centres[i][0]),
                    float(centres[i][1]),
                    i,
                    streak,
                    (float(axes[1, 1]), float(axes[0, 1])),
                )
            )
    return out, np.asarray(labels, np.int32)
