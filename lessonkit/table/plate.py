"""The empty-handed picture: what stays when people pass, from frames spread over the footage."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import TableError

Picture = NDArray[np.uint8]
MOST_PICTURES = 25


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
    planes = list(pictures[::step])
    n = len(planes)
    for a, b in _network(n):
        low, high = cv2.min(planes[a], planes[b]), cv2.max(planes[a], planes[b])
        planes[a], planes[b] = np.asarray(low, np.uint8), np.asarray(high, np.uint8)
    if n % 2:
        return np.array(planes[n // 2], np.uint8)
    return np.asarray(cv2.addWeighted(planes[n // 2 - 1], 0.5, planes[n // 2], 0.5, 0.0), np.uint8)


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
