"""The table without balls and people, put together from frames in which different parts of it lie open."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lessonkit.lesson.picture import Picture

BAND = 64
"""Rows worked on at once, so that no whole stack of frames is ever turned into floating point."""
LIKE_CHROMA, LIKE_LUMA = 14.0, 60.0
"""Levels within which a pixel may be cloth: light falls off towards the rails, but the tint stays."""

Mask = NDArray[np.bool_]


def bare_table(frames: Sequence[Picture], free: Sequence[Mask], surface: Mask) -> tuple[Picture, Mask]:
    """The bare table, and where it is known (per luma pixel).

    Args:
        frames: pictures of the same size from rests all over the footage.
        free: for each frame where no ball lies, shape (height, width).
        surface: the playing surface, shape (height, width).

    On the surface, what is unlike the cloth is left out as far as anything else is left: it is somebody's arm or cue.
    Of the rest each pixel keeps its middle value (the lighter of two, as shadows come and go).
    """
    cloth = _cloth(frames, free, surface)
    like = [f & (_like_cloth(p, cloth) | ~surface) for p, f in zip(frames, free, strict=True)]
    nowhere = ~np.any(like, axis=0)
    masks = [m | (f & nowhere) for m, f in zip(like, free, strict=True)]
    bare = frames[0].copy()
    for k, plane in enumerate(bare.planes):
        seen = masks if k == 0 else [m[::2, ::2] for m in masks]
        for y in range(0, plane.shape[0], BAND):
            part = np.stack([f.planes[k][y : y + BAND] for f in frames]).astype(np.float32)
            part[~np.stack([m[y : y + BAND] for m in seen])] = np.nan
            plane[y : y + BAND] = _middle(part)
    count = np.sum(masks, axis=0)
    return bare, (count >= min(3, len(frames))) | (surface & ~nowhere & (count >= 1))


def _middle(part: NDArray[np.float32]) -> NDArray[np.float32]:
    """Middle of the values that are seen, shape (N, rows, columns) to (rows, columns); 128 where none is."""
    counts = np.isfinite(part).sum(0)
    part.sort(axis=0)  # NaN go to the end
    middle = np.minimum(counts // 2, len(part) - 1)
    return np.asarray(np.nan_to_num(np.take_along_axis(part, middle[None], 0)[0], nan=128), np.float32)


def _like_cloth(picture: Picture, cloth: tuple[float, float, float]) -> Mask:
    """Where the picture has about the cloth's colour, lit or in shadow, per luma pixel."""
    tint = (np.abs(picture.u - cloth[1]) < LIKE_CHROMA) & (np.abs(picture.v - cloth[2]) < LIKE_CHROMA)
    lit = np.abs(picture.y - cloth[0]) < LIKE_LUMA
    return np.asarray(lit & np.repeat(np.repeat(tint, 2, axis=0), 2, axis=1))


def _cloth(frames: Sequence[Picture], free: Sequence[Mask], surface: Mask) -> tuple[float, float, float]:
    """Y, U and V of the cloth: the middle over frames of the middle over the open surface."""
    values: list[list[float]] = []
    for frame, open_here in zip(frames, free, strict=True):
        here = open_here & surface
        if here[::2, ::2].any():
            parts = (p[here if k == 0 else here[::2, ::2]] for k, p in enumerate(frame.planes))
            values.append([float(np.median(p)) for p in parts])
    y, u, v = np.median(np.array(values), axis=0) if values else (128.0, 128.0, 128.0)
    return float(y), float(u), float(v)
