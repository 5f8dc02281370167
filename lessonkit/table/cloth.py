"""Regions of one colour that might be a table's cloth, in a small picture; nothing here knows what a table is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.uint8]
Picture = NDArray[np.uint8]

SMALLEST_SHARE = 0.05
"""Of the picture, that a table fills at least."""
LEAST_FILLED = 0.74
"""Of its quadrilateral, that a cloth's region fills: balls and notches are filled or few."""
_GRADUAL = ((2, 2, 2), (4, 3, 3), (7, 4, 4))
_LIGHTS = ((0.55, 0.10), (0.72, 0.07), (0.45, 0.16))
_FIXED = ((28, 8, 8), (50, 14, 14))


@dataclass(frozen=True, eq=False)
class Region:
    """A region with straight or gently bent sides."""

    mask: Mask
    """Shape (h, w), 255 inside, holes filled."""
    corners: Array
    """Shape (4, 2), pixels of the small picture, in turn round the region."""
    sides: tuple[Array, ...]
    """Four arrays (N, 2): outline points of the side from corner i to i + 1."""
    filled: float
    """Area over that of the quadrilateral."""


def cloth_regions(small: Picture) -> list[Region]:
    """Candidates in a picture (h, w, 3) BGR about 500 px wide, likelier ones first.

    Regions are grown from a grid of seeds, either from neighbour to neighbour (follows uneven light) or within a
    fixed distance of the seed's colour (does not leak through soft edges). Each is then grown once more over all that
    has its colour in the light that falls there, which takes in the cushions' tops.
    """
    smooth = np.asarray(cv2.medianBlur(small, 5), np.uint8)
    lab = np.asarray(cv2.bilateralFilter(cv2.cvtColor(smooth, cv2.COLOR_BGR2LAB), 7, 14, 5), np.uint8)
    found: list[Region] = []
    for mask in _seeded(lab):
        region = _region(mask)
        if region is None or any(_same(region, other) for other in found):
            continue
        found.append(region)
    wider: list[Region] = []
    for region in found[:8]:
        for dimmest, near in _LIGHTS:
            grown = _region(_grown(smooth, region.mask, dimmest, near))
            if grown is not None and not any(_same(grown, other) for other in wider):
                wider.append(grown)
    rest = [r for r in found if not any(_same(r, other) for other in wider)]
    return sorted(wider, key=_likeness) + sorted(rest, key=_likeness)


def _likeness(region: Region) -> float:
    """Small for a quadrilateral with a pocket's bite out of each corner and side: 0.985 of it filled."""
    return abs(region.filled - 0.985)


def _seeded(lab: Picture) -> Iterator[Mask]:
    h, w = lab.shape[:2]
    seeds = [(int(w * x), int(h * y)) for y in np.linspace(0.2, 0.8, 5) for x in np.linspace(0.15, 0.85, 7)]
    for way, tolerances in ((0, _GRADUAL), (cv2.FLOODFILL_FIXED_RANGE, _FIXED)):
        for tolerance in tolerances:
            taken = np.zeros((h, w), np.uint8)
            for seed in seeds:
                if taken[seed[1], seed[0]]:
                    continue
                mask = np.zeros((h + 2, w + 2), np.uint8)
                flags = way | 4 | cv2.FLOODFILL_MASK_ONLY | (255 << 8)
                cv2.floodFill(lab, mask, seed, 0, tolerance, tolerance, flags)
                inner = mask[1:-1, 1:-1]
                taken |= inner
                yield inner


def _grown(small: Picture, mask: Mask, dimmest: float, near: float) -> Mask:
    """All that joins a region and has its colour in some light: the colour that a bowl of light fitted to the region
    leads to expect there, times a factor from `dimmest` to 1.4, give or take `near` as a share of it.
    """
    h, w = mask.shape
    y, x = np.mgrid[-1 : 1 : h * 1j, -1 : 1 : w * 1j]
    terms = np.stack([np.ones_like(x), x, y, x * x, y * y, x * y], -1).reshape(-1, 6)
    inside = cv2.erode(mask, np.ones((5, 5), np.uint8)) > 0
    pick = np.flatnonzero(inside.ravel())
    if len(pick) < 200:
        return mask
    pick = pick[:: max(1, len(pick) // 2000)]
    flat = small.reshape(-1, 3).astype(float)
    keep = np.ones(len(pick), bool)
    fitted = np.zeros((6, 3))
    for _ in range(2):  # the second time without balls and chalk
        fitted = np.linalg.lstsq(terms[pick][keep], flat[pick][keep], rcond=None)[0]
        off = np.abs(flat[pick] - terms[pick] @ fitted).max(1)
        keep = off < max(3 * float(np.median(off)), 4.0)
    expected = np.clip(terms @ fitted, 4.0, 255.0)
    squared = (expected**2).sum(1)
    factor = (flat * expected).sum(1) / squared
    off = np.linalg.norm(flat - factor[:, None] * expected, axis=1)
    like = (
        (factor > dimmest) & (factor < 1.4) & (off < near * np.sqrt(squared) * np.maximum(factor, 0.5) + 3.0)
    )
    grown = np.asarray((like.reshape(h, w) | (mask > 0)) * 255, np.uint8)
    grown = np.asarray(cv2.morphologyEx(grown, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8)), np.uint8)
    _, labels = cv2.connectedComponents(grown)
    counts = np.bincount(labels[inside], minlength=2)
    counts[0] = 0
    return np.asarray((labels == int(np.argmax(counts))) * 255, np.uint8)


def _same(a: Region, b: Region) -> bool:
    both = np.count_nonzero(a.mask & b.mask)
    return bool(both > 0.985 * max(np.count_nonzero(a.mask), np.count_nonzero(b.mask)))


def _region(mask: Mask) -> Region | None:
    """The region with its holes filled, if it is large and four-sided."""
    h, w = mask.shape
    kernel = np.ones((5, 5), np.uint8)
    mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, kernel), np.uint8)
    outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not outlines:
        return None
    outline = max(outlines, key=cv2.contourArea)
    area = cv2.contourArea(outline)
    if not SMALLEST_SHARE * h * w < area < 0.97 * h * w:
        return None
    hull = np.asarray(cv2.convexHull(outline), np.int32)
    if area < 0.7 * cv2.contourArea(hull):
        return None
    corners = widest_quadrilateral(hull.reshape(-1, 2))
    if corners is None:
        return None
    found = _sides(outline.reshape(-1, 2).astype(float), corners, (h, w))
    if found is None:
        return None
    corners, sides = found
    filled = area / cv2.contourArea(corners.astype(np.float32))
    if filled < LEAST_FILLED or filled > 1.25:
        return None
    whole = np.zeros_like(mask)
    cv2.drawContours(whole, [outline], -1, 255, cv2.FILLED)
    return Region(whole, corners, sides, float(filled))


def widest_quadrilateral(hull: NDArray[np.int32]) -> Array | None:
    """The largest quadrilateral on the corners of a convex outline (N, 2); None if it is degenerate."""
    points = hull
    epsilon = 1.0
    while len(points) > 26:
        points = np.asarray(cv2.approxPolyDP(hull.reshape(-1, 1, 2), epsilon, True), np.int32).reshape(-1, 2)
        epsilon *= 1.4
    if len(points) < 4:
        return None
    chosen = np.array(list(combinations(range(len(points)), 4)))
    p = points[chosen].astype(float)
    d1, d2 = p[:, 2] - p[:, 0], p[:, 3] - p[:, 1]
    area = np.abs(d1[:, 0] * d2[:, 1] - d1[:, 1] * d2[:, 0]) / 2
    best = p[int(np.argmax(area))]
    return best if area.max() > 0 else None


def _sides(
    outline: Array, corners: Array, shape: tuple[int, int]
) -> tuple[Array, tuple[Array, Array, Array, Array]] | None:
    """Better corners (4, 2) where the sides' lines meet, and each side's points; corners and border left out.

    The pockets cut the corners off, so the widest quadrilateral lies askew by a pocket's width: lines through the
    sides' middles do not.
    """
    h, w = shape
    inside = (outline > 2).all(1) & (outline[:, 0] < w - 3) & (outline[:, 1] < h - 3)
    outline = outline[inside]
    size = float(np.sqrt(cv2.contourArea(corners.astype(np.float32))))
    for near in (0.12, 0.08, 0.05):
        sides = [_along(outline, corners[i], corners[(i + 1) % 4], near * size) for i in range(4)]
        if sum(len(s) >= 8 for s in sides) < 4:
            return None
        lines = [
            np.asarray(cv2.fitLine(s.astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01), float).ravel()
            for s in sides
        ]
        met = [_meet(lines[i - 1], lines[i]) for i in range(4)]
        if any(m is None for m in met):
            return None
        corners = np.array(met, float)
        if not cv2.isContourConvex(corners.astype(np.float32)):
            return None
    return corners, (sides[0], sides[1], sides[2], sides[3])


def _along(outline: Array, a: Array, b: Array, near: float) -> Array:
    along = b - a
    length = float(np.hypot(*along))
    t = (outline - a) @ along / length**2
    off = np.abs((outline - a) @ np.array([-along[1], along[0]])) / length
    return np.asarray(outline[(t > 0.14) & (t < 0.86) & (off < near)], float)


def _meet(one: Array, other: Array) -> Array | None:
    """Where two lines (dx, dy, x, y) cross."""
    a = np.array([[one[0], -other[0]], [one[1], -other[1]]], float)
    if abs(np.linalg.det(a)) < 1e-3:
        return None
    s = np.linalg.solve(a, (other[2:] - one[2:]).astype(float))
    return np.asarray(one[2:] + s[0] * one[:2], float)
