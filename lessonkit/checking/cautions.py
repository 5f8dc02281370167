"""What an analysis says of the footage itself: a short stretch of it is measured by the limits that a check goes by."""

from __future__ import annotations

import math
from pathlib import Path

from lessonkit.checking.check import SIGHTS_MM, mm_per_px_of, outlines_blur_px, table_mask
from lessonkit.checking.gathered import light, timely
from lessonkit.checking.limits import LIMITS
from lessonkit.checking.stretch import Stretch, read_stretch
from lessonkit.model import Seen, SeenShot

KEYS = ("white", "clipped", "noise", "blur_mm", "fps", "lost", "flicker", "bits_per_px")
"""Of these an analysis warns; the rest a check tells, or the analysis tells itself."""
ONLY_BAD = ("blur_mm",)
"""In small pictures every outline is a little soft, and somebody stands before some of them while a shot is played."""
LONGEST_S = 1.5
AFTER_STRIKE_S = 0.6
"""Balls run then, so that repeated frames show."""
LAY_STILL_MM = 5.0


def cautions(path: Path, seen: Seen) -> tuple[str, ...]:
    """A sentence for each thing about the footage that is worse than it should be.

    Costs about as much as decoding three seconds. Raises FootageError for what cannot be read.
    """
    shot = seen.shots[len(seen.shots) // 2] if seen.shots else None
    at_s = None if shot is None else min(shot.strike_s + AFTER_STRIKE_S, seen.footage.duration_s)
    stretch = read_stretch(path, at_s, LONGEST_S)
    camera, table = seen.camera, seen.table
    shape, small = stretch.pair[0].shape, stretch.small[0].shape
    measured = timely(stretch) | light(
        stretch,
        table_mask(camera, table, shape, SIGHTS_MM),
        table_mask(camera, table, shape, 0.0),
        table_mask(camera, table, small, SIGHTS_MM, stretch.small_scale),
    )
    measured["blur_mm"] = _blur_mm(stretch, seen, shot)
    said = []
    for limit in LIMITS:
        value = measured.get(limit.key)
        grades = ("bad",) if limit.key in ONLY_BAD else ("care", "bad")
        if limit.key in KEYS and limit.grade(value) in grades:
            said.append(
                f"{limit.trouble} ({limit.label}: {limit.shown(value)}), so look twice at what was seen. Next time: "
                f"{limit.advice[0].lower()}{limit.advice[1:]}"
            )
    return tuple(said)


def _blur_mm(stretch: Stretch, seen: Seen, shot: SeenShot | None) -> float | None:
    """Of the outlines of balls that lay still during the shot; None where too few did, or the camera was moved."""
    if shot is None or seen.cameras:
        return None
    before, after = shot.layout_before, shot.layout_after
    still = [p for n, p in before.items() if n in after and math.dist(p, after[n]) < LAY_STILL_MM]
    blur_px = outlines_blur_px(stretch.pair[0], seen.camera, seen.table, still)
    return None if blur_px is None else blur_px * mm_per_px_of(seen.camera, seen.table)
