"""Pure measures of pictures: each takes arrays and gives a number with its unit, or None where it cannot be told."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.seeing.cloth import LINEAR

Grey = NDArray[np.uint8]
Mask = NDArray[np.bool_]
Array = NDArray[np.float64]

WHITE_QUANTILE = 0.999
"""The cue ball and the sights cover about a thousandth of a table: the more balls bear white, the less it matters."""
CLIPPED_LEVEL = 250
LEAST_EDGES = 40
MOST_EDGES = 900
SMOOTH_PX = 1.0
"""Edges are looked for in a picture smoothed by this much, which is taken out of the answer."""
SOFT_PX = 0.8
"""An edge blurred by more than this at one size needs no look at a finer one."""
LEAST_SLOPE = 1.5
"""Grey levels a pixel."""
PROFILE_PX = 10.0
STEP_PX = 0.25
LEAST_CONTRAST = 18.0
"""Grey levels between the two sides of an edge that is judged."""
SHARPEST = 0.5
"""Of the strong edges in a picture at least this share is as sharp as the lens makes them; others are round or dull."""
TILES = (9, 16)
LEAST_FRAMES = 8
"""Fewer tell nothing of how brightness changes."""
DIP = 0.35
"""A frame that changes less than so much of what its neighbours do repeats the one before."""
MOVES = 12.0
"""Grey levels that something that moves changes at its edge at least."""
LEAST_LIVELY = 0.15
"""Mean grey levels between two frames, from noise or movement, below which a coder may repeat frames unharmed."""
SWAY_PICTURES = 10
TREND_S = 0.5
"""Changes slower than this are the camera's own exposure, not the lamp."""


def white_level(grey: Grey, inside: Mask) -> float | None:
    """Grey level (0 to 255) that only the brightest thousandth of a region exceeds; None for an empty region."""
    part = grey[inside]
    return float(np.quantile(part, WHITE_QUANTILE)) if part.size else None


def clipped_share(grey: Grey, inside: Mask) -> float | None:
    """Share of a region that is as bright as the picture can say."""
    part = grey[inside]
    return float((part >= CLIPPED_LEVEL).mean()) if part.size else None


def noise_levels(one: Grey, other: Grey, inside: Mask) -> float | None:
    """Standard deviation of the noise of one frame, in grey levels, from two frames one after the other.

    For Gaussian noise the mean of |a - b| is 2 sigma / sqrt(pi); what moves is left out.
    """
    off = cv2.absdiff(one, other)[inside].astype(float)
    off = off[off < 40]
    return float(off.mean() * np.sqrt(np.pi) / 2) if off.size else None


def edge_blur_px(
    grey: Grey, inside: Mask | None = None, least: int = LEAST_EDGES, sharpest: float = SHARPEST
) -> float | None:
    """Standard deviation, in pixels, of the blur of strong edges; None where there are fewer than `least`.

    At least the share `sharpest` of them is taken to be as sharp as the lens makes them.

    Across a straight edge of contrast C blurred by a Gaussian of that deviation the steepest slope is
    C / (deviation sqrt(2 pi)), so the two measured give the third (the knife-edge idea of ISO 12233, from memory).
    Judged in a quarter of the size first, where noise is small and wide blur narrow, then finer if it is sharp there.
    """
    blur: float | None = None
    for scale in (4, 2, 1):
        size = (grey.shape[1] // scale, grey.shape[0] // scale)
        little = (
            grey if scale == 1 else np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.uint8)
        )
        where = (
            None
            if inside is None
            else cv2.resize(inside.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
        )
        found = _edge_blur(little, where, least, sharpest)
        if found is not None:
            blur = found * scale
            if found > SOFT_PX:
                break
    return blur


def _edge_blur(grey: Grey, inside: Mask | None, least: int, sharpest: float) -> float | None:
    smooth = np.asarray(cv2.GaussianBlur(grey.astype(np.float32), (0, 0), SMOOTH_PX), np.float32)
    gx, gy = (
        np.asarray(cv2.Scharr(smooth, cv2.CV_32F, 1, 0)) / 32,
        np.asarray(cv2.Scharr(smooth, cv2.CV_32F, 0, 1)) / 32,
    )
    size = np.asarray(cv2.magnitude(gx, gy))
    margin = int(PROFILE_PX) + 2
    if min(grey.shape) < 4 * margin:
        return None
    size[:margin], size[-margin:], size[:, :margin], size[:, -margin:] = 0, 0, 0, 0
    if inside is not None:
        size[~inside] = 0
    near = cv2.dilate(size, np.ones((5, 5), np.uint8))
    y, x = np.nonzero((size >= near) & (size > LEAST_SLOPE))
    if len(x) < least:
        return None
    order = np.argsort(-size[y, x])[:MOST_EDGES]
    y, x = y[order], x[order]
    way = np.stack([gx[y, x], gy[y, x]], 1) / size[y, x, None]
    s = np.arange(-PROFILE_PX, PROFILE_PX + STEP_PX, STEP_PX)
    total = np.zeros((len(x), len(s)))
    for aside in (-2.0, -1.0, 0.0, 1.0, 2.0):  # along the edge noise averages out
        px = (x[:, None] + s * way[:, :1] - aside * way[:, 1:]).astype(np.float32)
        py = (y[:, None] + s * way[:, 1:] + aside * way[:, :1]).astype(np.float32)
        total += np.asarray(cv2.remap(smooth, px, py, cv2.INTER_CUBIC), float)
    deviations = np.array([d for p in total / 5 if (d := _deviation(p)) is not None])
    if len(deviations) < least:
        return None
    own = float(np.quantile(deviations, sharpest))
    return float(np.sqrt(max(own**2 - SMOOTH_PX**2, 0.0)))


def _deviation(profile: Array) -> float | None:
    """Of one edge's blur from its rising profile; None where it is too faint."""
    slope = np.gradient(profile, STEP_PX)
    middle = len(profile) // 2
    reach = round(1.5 / STEP_PX)
    top = middle - reach + int(np.argmax(slope[middle - reach : middle + reach + 1]))
    steep = slope[top]
    if steep <= 0:
        return None
    # the edge ends where the rise all but stops
    rising = slope > 0.08 * steep
    left = top - int(np.argmin(rising[top::-1])) if not rising[: top + 1].all() else 0
    right = top + int(np.argmin(rising[top:])) if not rising[top:].all() else len(profile) - 1
    contrast = profile[right] - profile[left]
    return float(contrast / (steep * np.sqrt(2 * np.pi))) if contrast >= LEAST_CONTRAST else None


def gains(small: Sequence[Grey], inside: Mask) -> Array | None:
    """How bright each frame is beside the middle one of all, in linear light, shape (N, tile rows): rows of the picture.

    Tiles of the region are judged one by one and the median of each row of tiles taken, so that somebody who moves
    in some of them does not count. None for too few frames or too small a region.
    """
    if len(small) < LEAST_FRAMES or inside.mean() < 0.02:
        return None
    rows, columns = TILES
    h, w = small[0].shape
    y = np.linspace(0, h, rows + 1).astype(int)
    x = np.linspace(0, w, columns + 1).astype(int)
    weight = inside.astype(np.float32)
    area = np.add.reduceat(np.add.reduceat(weight, y[:-1], 0), x[:-1], 1)
    tiles = np.stack(
        [np.add.reduceat(np.add.reduceat(LINEAR[p] * weight, y[:-1], 0), x[:-1], 1) for p in small]
    )
    full = area > 0.4 * (h / rows) * (w / columns)
    used = full.sum(1) >= 3
    if used.sum() < 2:
        return None
    level = tiles / np.maximum(area, 1)
    ratio = level / np.maximum(np.median(level, 0), 1e-4)
    out = [np.median(ratio[:, r][:, full[r]], axis=1) for r in np.flatnonzero(used)]
    return np.asarray(np.stack(out, 1), float)


def _trend(row: Array, times_s: Array) -> Array:
    """The slow part of a row of gains."""
    step = float(np.median(np.diff(times_s))) if len(times_s) > 1 else 1.0
    half = max(2, round(TREND_S / 2 / max(step, 1e-3)))
    if len(row) <= half:
        return np.full(len(row), row.mean())
    kernel = np.ones(2 * half + 1) / (2 * half + 1)
    return np.convolve(np.pad(row, half, mode="reflect"), kernel, mode="valid")


def flicker_share(gain: Array, times_s: Array) -> float:
    """Root mean square of the fast changes of light, as a share, from `gains` and the frames' times.

    Slow changes are taken out first. Where lines are exposed one after another the lamp's beat shows as bands that
    wander, so each row of tiles is judged by itself and the worst counts.
    """
    worst = 0.0
    for row in gain.T:
        off = row - _trend(row, times_s)
        # a hand that passes is one outlier, a lamp's beat is in all frames
        limit = 6 * float(np.median(np.abs(off))) + 1e-4
        worst = max(worst, float(np.sqrt(np.mean(np.clip(off, -limit, limit) ** 2))))
    return worst


def drift_share(gain: Array, times_s: Array) -> float:
    """By how much the whole picture's light slowly changes over the stretch, as a share of its middle value."""
    whole = _trend(np.median(gain, axis=1), times_s)
    return float((whole.max() - whole.min()) / max(float(np.median(whole)), 1e-6))


def uneven_share(times_s: Array) -> float | None:
    """Share of the frames that are missing, told by gaps of more than one and a half times the usual one."""
    if len(times_s) < LEAST_FRAMES:
        return None
    gaps = np.diff(times_s)
    usual = float(np.median(gaps))
    missing = float(np.sum(np.maximum(np.round(gaps / usual) - 1, 0)))
    return missing / (len(times_s) + missing)


def repeated_share(small: Sequence[Grey]) -> float | None:
    """Share of frames that show what the one before showed; None where too little moves or flickers to tell.

    Exactly so, as a recorder repeats them; or but for what coding them once more changed: then what changes most changes far
    less than from the frames before and after, while whatever moves in a film moves on.
    """
    if len(small) < LEAST_FRAMES:
        return None
    changes = [cv2.absdiff(a, b) for a, b in itertools.pairwise(small)]
    most = np.array([float(c.max()) for c in changes])
    beside = np.minimum(most[:-2], most[2:])
    moves = beside > MOVES
    dips = float(np.mean((most[1:-1] < DIP * beside) & moves)) if moves.sum() >= LEAST_FRAMES / 2 else None
    off = np.array([float(c.mean()) for c in changes])
    lively = off[off > 0]
    if not len(lively) or np.median(lively) < LEAST_LIVELY:
        return dips
    return max(float(np.mean(off == 0)), dips or 0.0)


BLOB_PX, AROUND_PX, CAME_SHARE = 11, 20, 0.05
"""Something came where a square of this side, in a shrunk picture, differs all over by so much of the picture's range of grey; so
far around it nothing is relied on."""
LEFT_FOR_SWAY = 0.3
"""Share of the region that must be left to tell a shift by. All three are our choice."""


def sway_px(small: Sequence[Grey], scale: float, inside: Mask) -> float | None:
    """How far the picture moves from the stretch's first frame, in pixels of the footage; None where it cannot be told.

    By the shift that makes a region correlate best (ECC: Evangelidis and Psarakis, IEEE Trans. PAMI 30 (2008) 1858), of what is
    not hidden in either frame: somebody who leans in would be followed else.
    """
    rows, columns = np.flatnonzero(inside.any(1)), np.flatnonzero(inside.any(0))
    if len(small) < 2 or len(rows) < 32 or len(columns) < 32:
        return None
    box = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    whole = np.ascontiguousarray(inside[box], np.uint8)
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 30, 1e-3)
    moves = []
    for k in np.linspace(0, len(small) - 1, min(len(small), SWAY_PICTURES)).astype(int)[1:]:
        start = np.eye(2, 3, dtype=np.float32)
        mask = whole * ~_came_between(small[0][box], small[k][box])
        if np.count_nonzero(mask) < LEFT_FOR_SWAY * np.count_nonzero(whole):
            continue
        try:
            _, found = cv2.findTransformECC(
                np.ascontiguousarray(small[0][box]), np.ascontiguousarray(small[k][box]), start,
                cv2.MOTION_TRANSLATION, criteria, mask, 5,
            )  # fmt: skip
        except cv2.error:
            continue  # nothing to hold on to in this one
        moves.append(float(np.hypot(found[0, 2], found[1, 2])))
    return float(np.quantile(moves, 0.9)) * scale if moves else None


def _came_between(first: Grey, later: Grey) -> Mask:
    """Where something large lies in one of two pictures only; a shift by a few pixels changes thin lines and is none."""
    a, b = (cv2.GaussianBlur(p.astype(np.float32), (0, 0), 1.0) for p in (first, later))
    off = np.abs(b * (float(np.median(a)) + 1) / (float(np.median(b)) + 1) - a)
    low, high = np.quantile(a, (0.01, 0.99))
    least = CAME_SHARE * float(high - low) + 2 * float(np.median(off))  # noise differs everywhere
    apart = (off > least).astype(np.uint8)
    solid = cv2.morphologyEx(apart, cv2.MORPH_OPEN, np.ones((BLOB_PX, BLOB_PX), np.uint8))
    return np.asarray(cv2.dilate(solid, np.ones((2 * AROUND_PX + 1,) * 2, np.uint8)) > 0)


def somebody(picture: NDArray[np.uint8], bed: Mask, radius_px: float) -> Mask:
    """Where somebody hides the cloth in a bed view (rows, columns, 3): large, unlike the cloth, reaching in from outside.

    The cloth is told from the one picture: what a bowl of light fitted to the bed leads to expect. So a person who
    never moves is seen as well, but so is a large mark that touches a cushion.
    """
    rows, columns = np.nonzero(bed)
    h, w = bed.shape
    y, x = rows / h, columns / w
    terms = np.stack([np.ones_like(x), x, y, x * x, y * y, x * y], 1).astype(np.float32)
    colours = picture[rows, columns].astype(np.float32)
    some = slice(None, None, max(1, len(rows) // 4000))
    keep = np.ones(len(rows[some]), bool)
    fitted = np.zeros((6, 3), np.float32)
    for _ in range(6):
        fitted = np.linalg.lstsq(terms[some][keep], colours[some][keep], rcond=None)[0]
        off = np.abs(colours[some] - terms[some] @ fitted).max(1)
        keep = off < 2.5 * float(np.median(off)) + 2
    expected = terms @ fitted
    light = np.clip((colours * expected).sum(1) / np.maximum((expected * expected).sum(1), 1), 0.6, 1.4)
    unlike = np.linalg.norm(colours - light[:, None] * expected, axis=1)
    solid = np.zeros((h, w), np.uint8)
    solid[rows, columns] = unlike > 4 * float(np.median(unlike)) + 10
    solid = np.asarray(cv2.morphologyEx(solid, cv2.MORPH_OPEN, np.ones((2, 2), np.uint8)), np.uint8)
    n, labels, stats, _ = cv2.connectedComponentsWithStats(solid, connectivity=4)
    rim = bed & (cv2.erode(bed.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0) == 0)
    reaching = np.bincount(labels[rim], minlength=n) > 0
    large = stats[:, cv2.CC_STAT_AREA] > 6 * np.pi * radius_px**2
    chosen = large & reaching
    chosen[0] = False
    return np.asarray(chosen[labels], bool)


def border_share(picture: NDArray[np.uint8]) -> float:
    """Share of the picture's border that has the colour of its middle: where that is cloth, the table runs out there."""
    scale = 320 / max(picture.shape[:2])
    size = (max(8, round(picture.shape[1] * scale)), max(8, round(picture.shape[0] * scale)))
    small = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)
    lab = cv2.cvtColor(small.astype(np.float32) / 255, cv2.COLOR_BGR2Lab)
    h, w = lab.shape[:2]
    middle = np.median(lab[h // 3 : 2 * h // 3, w // 3 : 2 * w // 3].reshape(-1, 3), axis=0)
    # colour tells cloth from floor, lightness falls off towards a picture's corners
    off = np.linalg.norm((lab - middle) * np.array([0.4, 1.0, 1.0]), axis=-1) < 10
    ring = np.concatenate([off[:2].ravel(), off[-2:].ravel(), off[:, :2].ravel(), off[:, -2:].ravel()])
    return float(ring.mean())
