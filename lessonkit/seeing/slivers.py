"""What little paint shows at the rim of a ball that is white all over: a stripe seen along its axis, or the cue ball.

There paint, white and the cloth behind run into each other, and no pixel shows the paint alone. So the light of each
piece of the rim is taken for a mixture of the ball's own white, the cloth beside it and one paint, and the paint
whose mixtures come nearest is the likeliest. The cue ball needs none.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lessonkit.seeing.paints import GAINS, paint_light

Floats = NDArray[np.float64]

SECTORS = 12
RIM, CORE, OUTSIDE = (0.76, 0.95), 0.5, (1.25, 1.65)
"""Where paint may show, where there is nothing but white, and where there is cloth, in radii."""
OFF = 0.02
"""What light is off by, as a share of white's, beside its noise: a standard deviation."""
WHOLE, WHOLE_OFF = 0.85, 0.2
"""What the three shares add up to, and how well that is known: a ball is darker at its rim."""
MOST_OFF = 12.0
"""A piece of the rim that fits nothing, such as a neighbour's reflection, tells no more than this."""
PARTS = ((0,), (1,), (2,), (0, 1), (0, 2), (1, 2), (0, 1, 2))


def slivers(light: NDArray[np.float32], radius: NDArray[np.float32]) -> Floats | None:
    """How badly the rim fits each paint, and no paint: squared deviations, shape (GAINS, 9), the last without paint.

    `light`: a close look as shares of white, blue-green-red, shape (n, n, 3); `radius`: see `looks.Close`. The rows are for
    paints under each gain (`paints.Tone`). None where the rim is too small to be told.
    """
    n = light.shape[0]
    y, x = np.mgrid[:n, :n] - n // 2
    sector = np.floor(np.arctan2(y, x) / (2 * np.pi) * SECTORS).astype(int) % SECTORS
    ring = (radius > RIM[0]) & (radius < RIM[1])
    outside = (radius > OUTSIDE[0]) & (radius < OUTSIDE[1])
    core = radius < CORE
    if not core.any() or not outside.any():
        return None
    white, cloths = np.median(light[core], axis=0), np.median(light[outside], axis=0)
    seen, cloth = [], []
    for k in range(SECTORS):
        here = ring & (sector == k)
        if here.any():
            seen.append(light[here].mean(0))
            beside = outside & (sector == k)
            cloth.append(np.median(light[beside], axis=0) if beside.sum() > 2 else cloths)
    if not seen:
        return None
    paint = paint_light(GAINS)[..., ::-1]
    made = np.empty((len(seen), len(GAINS), 8, 4, 3))
    made[..., :3, 0] = white
    made[..., :3, 1] = np.array(cloth)[:, None, None]
    made[..., :3, 2] = paint
    made[..., 3, :] = OFF / WHOLE_OFF
    target = np.c_[np.array(seen), np.full(len(seen), WHOLE * OFF / WHOLE_OFF)]
    with_paint = _left(made, np.broadcast_to(target[:, None, None], made.shape[:-1]))
    without = _left(made[:, 0, 0, :, :2], target)[:, None, None]
    off = np.concatenate([with_paint, np.broadcast_to(without, (len(seen), len(GAINS), 1))], -1)
    return np.asarray(np.minimum(off / OFF**2, MOST_OFF).sum(0) * SECTORS / len(seen), float)


def _left(made: Floats, target: Floats) -> Floats:
    """Least squared distance of `target`, shape (..., m), from sums of the columns of `made`, shape (..., m, 2 or 3), each
    counting nought or more (the best of all selections of columns that need no negative share)."""
    best = (target**2).sum(-1)
    for part in PARTS:
        if part[-1] >= made.shape[-1]:
            continue
        some = made[..., part]
        square = np.swapaxes(some, -1, -2) @ some + 1e-9 * np.eye(len(part))
        share = np.linalg.solve(square, np.swapaxes(some, -1, -2) @ target[..., None])
        left = ((target - (some @ share)[..., 0]) ** 2).sum(-1)
        best = np.where((share[..., 0] >= 0).all(-1) & (left < best), left, best)
    return np.asarray(best, float)
