"""How long the shutter is open, told by how far moving balls smear in one frame beside how far they get to the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.seeing.cloth import LINEAR
from lessonkit.table.sizes import BALL_DIAMETER_MM

Grey = NDArray[np.uint8]
Mask = NDArray[np.bool_]
Array = NDArray[np.float64]

BALL_RADIUS_MM = BALL_DIAMETER_MM / 2
LEAST_OFF = 12.0
"""Grey levels by which a moving thing differs from the bare table at least."""
BETWEEN_S = 1 / 30
"""About how far apart in time the frames are that are held side by side."""
LEAST_STEP = 1.0
"""Ball radii from one frame to the next: less smears too little to be measured."""
FASTEST_MPS = 9.0
STEADY = 0.25
"""By how much, as a share, two steps of one ball may differ."""
LEAST_MOVES = 6


@dataclass(frozen=True)
class Blob:
    """One compact thing that differs from the bare table: its middle and second moments, in pixels."""

    x: float
    y: float
    xx: float
    xy: float
    yy: float
    area: float


def exposure_s(
    small: Sequence[Grey], times_s: Array, bed: Mask, radius_px: float
) -> tuple[float, int] | None:
    """(seconds that the shutter is open, how many moves told it); None where no ball moved fast enough by itself.

    A bright disc that goes d while the shutter is open is smeared over d, which adds d²/12 to the variance of its
    brightness along its way and nothing across. How far it goes from frame to frame tells its speed. The median over
    all moves in which it goes on as it came.
    """
    usual_s = float(np.median(np.diff(times_s))) if len(times_s) > 1 else 1.0
    each = max(1, round(BETWEEN_S / max(usual_s, 1e-3)))
    rows, columns = np.flatnonzero(bed.any(1)), np.flatnonzero(bed.any(0))
    if len(small) < 3 * each or not len(rows):
        return None
    box = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    bed, small, times_s = bed[box], [p[box] for p in small[::each]], times_s[::each]
    plate = np.median(np.stack(small[:: max(1, len(small) // 25)]), axis=0).astype(np.uint8)
    noise = float(np.mean([cv2.absdiff(p, plate)[bed].mean() for p in small[:: max(1, len(small) // 8)]]))
    off = max(LEAST_OFF, 6 * noise)
    found = [_blobs(p, plate, bed, radius_px, off) for p in small]
    told = []
    for k in range(1, len(found) - 1):
        around_s = float(times_s[k + 1] - times_s[k - 1])
        farthest_px = FASTEST_MPS * 1000 / BALL_RADIUS_MM * radius_px * around_s / 2
        for blob in found[k]:
            step = _step(found[k - 1], blob, found[k + 1], radius_px, farthest_px)
            if step is not None and (swept := _swept(blob, step, radius_px)) is not None:
                told.append(swept / float(np.hypot(*step)) * around_s / 2)
    return (float(np.median(told)), len(told)) if len(told) >= LEAST_MOVES else None


def _swept(blob: Blob, step: Array, radius_px: float) -> float | None:
    """How far a disc went while the shutter was open, pixels; None if the thing is not as wide as a ball."""
    ahead = step / np.hypot(*step)
    aside = np.array([-ahead[1], ahead[0]])
    m = np.array([[blob.xx, blob.xy], [blob.xy, blob.yy]])
    along, across = float(ahead @ m @ ahead), float(aside @ m @ aside)
    if not 0.6 < 4 * across / radius_px**2 < 1.7:
        return None
    return float(np.sqrt(max(0.0, 12 * (along - across))))


def _step(
    before: Sequence[Blob], blob: Blob, after: Sequence[Blob], radius_px: float, farthest_px: float
) -> Array | None:
    """How far a thing goes from frame to frame, (x, y), if it goes on as it came; None if that is not clear."""
    steps = []
    for a in before:
        for b in after:
            one, two = np.array([blob.x - a.x, blob.y - a.y]), np.array([b.x - blob.x, b.y - blob.y])
            mean = (one + two) / 2
            far = float(np.hypot(*mean))
            alike = max(a.area, b.area, blob.area) < 1.3 * min(a.area, b.area, blob.area)
            if LEAST_STEP * radius_px < far < farthest_px and alike and np.hypot(*(one - two)) < STEADY * far:
                steps.append(mean)
    return steps[0] if len(steps) == 1 else None


def _blobs(picture: Grey, plate: Grey, bed: Mask, radius_px: float, off: float) -> list[Blob]:
    """Things about as wide as a ball and apart from everything else."""
    # what is brighter than the cloth only: a dark ball and its shadow cannot be told apart
    away = cv2.subtract(picture, plate)
    solid = ((np.asarray(away) > off) & bed).astype(np.uint8)
    n, labels, stats, _ = cv2.connectedComponentsWithStats(solid, connectivity=8)
    disc = np.pi * radius_px**2
    edge = cv2.dilate((~bed).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    found = []
    for k in range(1, n):
        x, y, w, h, area = (int(v) for v in stats[k])
        if not 0.6 * disc < area < 5 * disc:
            continue
        box = np.s_[y : y + h, x : x + w]
        mine = labels[box] == k
        if (edge[box] & mine).any():
            continue
        found.append(_moments(picture[box], plate[box], mine, x, y))
    return found


def _moments(light: Grey, bare: Grey, mine: Mask, x: int, y: int) -> Blob:
    """Of what one thing is brighter by, in linear light, for that is what adds up while the shutter is open."""
    weight = np.where(mine, LINEAR[light] - LINEAR[bare], 0).astype(float)
    total = weight.sum()
    down, across = np.mgrid[: light.shape[0], : light.shape[1]]
    mx, my = float((weight * across).sum() / total), float((weight * down).sum() / total)
    dx, dy = across - mx, down - my
    xx, xy, yy = ((weight * m).sum() / total for m in (dx * dx, dx * dy, dy * dy))
    return Blob(x + mx, y + my, float(xx), float(xy), float(yy), float(mine.sum()))
