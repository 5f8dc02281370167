"""The empty-handed picture: what stays when people pass, from frames spread over the footage."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import TableError
from lessonkit.model import Camera, Table
from lessonkit.table.camera import project

Picture = NDArray[np.uint8]
MOST_PICTURES = 25
DARK, BRIGHT = 150.0, 210.0
"""A picture of which 97 of 100 pixels stay below the one is dark, and is brought up until they stay below the other."""
MOST_GAIN = 8.0


def median_picture(pictures: Sequence[Picture]) -> Picture:
    """The median of each pixel and channel over pictures of one shape (H, W, 3).

    An even number takes the mean of the middle two. Raises TableError if there is none or the sizes differ.
    """
    if not pictures:
        raise TableError(
            "There is no picture to find the table in: the footage is empty or could not be decoded."
        )
    if any(p.shape != pictures[0].shape or p.ndim != 3 or p.shape[2] != 3 for p in pictures):
        raise TableError(
            "The pictures differ in size, so they are not of one camera: give one clip at a time."
        )
    step = -(-len(pictures) // MOST_PICTURES)
    return middle_of(pictures[::step])


def middle_of(pictures: Sequence[Picture]) -> Picture:
    """The median of each value over pictures of one shape, one at least; an even number takes the middle two's mean, rounded
    down as NumPy's is when it is cast.

    A network of smallest and largest pictures is some twenty times as quick as sorting each pixel's values.
    """
    planes = list(pictures)
    n = len(planes)
    for a, b in _network(n):
        low, high = cv2.min(planes[a], planes[b]), cv2.max(planes[a], planes[b])
        planes[a], planes[b] = np.asarray(low, np.uint8), np.asarray(high, np.uint8)
    if n % 2:
        return np.array(planes[n // 2], np.uint8)
    low, high = planes[n // 2 - 1], planes[n // 2]
    return np.asarray((low & high) + ((low ^ high) >> 1), np.uint8)


def brightened(plate: Picture) -> Picture | None:
    """A dark picture (H, W, 3) with all its light multiplied; None where it is not dark.

    Steps between cloth and rails that are plain to the eye are too small in it for what looks for them.
    """
    top = float(np.percentile(plate[::4, ::4].max(2), 97))
    if top >= DARK:
        return None
    return np.asarray(cv2.convertScaleAbs(plate, alpha=min(MOST_GAIN, BRIGHT / max(top, 1.0))), np.uint8)


def clear_bed(plate: Picture, pictures: Sequence[Picture], camera: Camera, table: Table) -> Picture:
    """The plate with cloth on the bed wherever a fifth of the pictures (two at least) show cloth there.

    Somebody who leans over one place for most of the clip is still in the median, and so is a ball that lies there.
    Cloth is what has the colour that a bowl of light fitted to the bed leads to expect, in some light; marks on the
    cloth that are in every picture stay.
    """
    h, w = plate.shape[:2]
    outline = project(camera, _inner_edge(table), 0.0)
    inside = np.zeros((h, w), np.uint8)
    cv2.fillPoly(inside, [np.round(np.clip(outline, -1e4, 1e5)).astype(np.int32)], 1)
    rows, columns = np.nonzero(inside)
    if len(rows) < 500 or len(pictures) < 3:
        return plate
    terms = _bowl(rows / h, columns / w)
    colours = plate[rows, columns].astype(np.float32)
    some = slice(None, None, max(1, len(rows) // 4000))
    keep = np.ones(len(rows[some]), bool)
    fitted = np.zeros((6, 3), np.float32)
    for _ in range(4):
        fitted = np.linalg.lstsq(terms[some][keep], colours[some][keep], rcond=None)[0]
        off = np.abs(colours[some] - terms[some] @ fitted).max(1)
        keep = off < 3 * float(np.median(off)) + 2
    expected = terms @ fitted
    off = _unlike(colours, expected)
    limit = 4 * float(np.median(off)) + 8
    odd = np.zeros((h, w), np.uint8)
    odd[rows, columns] = off > limit
    reach = 2 * max(2, round(max(h, w) / 400)) + 1  # a ball's dim limb and its shadow go with it
    chosen = cv2.dilate(odd, np.ones((reach, reach), np.uint8))[rows, columns] > 0
    rows, columns, expected = rows[chosen], columns[chosen], expected[chosen]
    if not len(rows):
        return plate
    seen = np.stack([p[rows, columns] for p in pictures])
    far = np.stack([np.linalg.norm(s.astype(np.float32) - expected, axis=1) for s in seen])
    best = np.argsort(far, axis=0)[: max(2, -(-len(pictures) // 5))]
    nearest = np.take_along_axis(seen, best[..., None], axis=0).astype(np.float32)
    cloth = np.stack([_unlike(n, expected) < limit for n in nearest]).all(0)
    cleared = plate.copy()
    cleared[rows[cloth], columns[cloth]] = np.round(nearest.mean(0)[cloth]).astype(np.uint8)
    return cleared


def _inner_edge(table: Table) -> NDArray[np.float64]:
    """A line 12 mm inside the nose lines, pockets' mouths cut off."""
    a, L, W = 12.0, table.length_mm, table.width_mm
    c = 0.9 * table.corner_mouth_mm
    corners = [(c, a), (L - c, a), (L - a, c), (L - a, W - c), (L - c, W - a), (c, W - a), (a, W - c), (a, c)]
    ring = np.array([*corners, corners[0]], float)
    t = np.linspace(0, 1, 24, endpoint=False)[:, None]
    return np.concatenate([p + (q - p) * t for p, q in itertools.pairwise(ring)])


def _bowl(y: NDArray[np.float64], x: NDArray[np.float64]) -> NDArray[np.float32]:
    return np.stack([np.ones_like(x), x, y, x * x, y * y, x * y], 1).astype(np.float32)


def _unlike(colours: NDArray[np.float32], cloth: NDArray[np.float32]) -> NDArray[np.float32]:
    """Distance of colours (N, 3) from the cloth's in its light give or take a third."""
    light = np.clip((colours * cloth).sum(1) / np.maximum((cloth * cloth).sum(1), 1), 0.7, 1.25)
    return np.asarray(np.linalg.norm(colours - light[:, None] * cloth, axis=1), np.float32)


def _network(n: int) -> list[tuple[int, int]]:
    """Comparators that sort n values: Batcher's merge exchange (Knuth, TAOCP vol. 3, algorithm 5.2.2M)."""
    pairs: list[tuple[int, int]] = []
    if n < 2:
        return pairs
    top = 1 << ((n - 1).bit_length() - 1)
    p = top
    while p:
        q, r, d = top, 0, p
        while True:
            pairs += [(i, i + d) for i in range(n - d) if (i & p) == r]
            if q == p:
                break
            d, q, r = q - p, q // 2, p
        p //= 2
    return pairs
