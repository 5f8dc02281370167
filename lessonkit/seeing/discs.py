"""Discs of a ball's size in the bed view, by votes of edges for the centre one radius away.

The idea is the circular Hough transform for one known radius (Duda & Hart, Commun. ACM 15 (1972) 11): since the bed
view shows every ball at the same size, an edge pixel can only belong to a ball whose centre lies one radius along
its gradient, to either side. The vote survives half hidden balls, touching clusters and stripes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.seeing.bedview import Slant

Picture = NDArray[np.uint8]
Floats = NDArray[np.float32]

EDGE_LEAST = 40.0
"""Weakest gradient that votes, in units of a 3 x 3 Sobel filter on 8-bit values."""
EDGE_FULL = 160.0
"""A gradient of this strength or more has a whole vote."""
FILL_AND_VOTES = 0.8
LITTLE_FILL = 0.2
"""A disc needs this much fill and votes together, and never less fill than LITTLE_FILL."""
FAINT = 0.35
FAINT_VOTES, FAINT_FILL = 0.45, 0.25
"""A ball of the cloth's colour has weak edges, FAINT as strong as others; but nearly all of them, on what is not the bare table."""
FAINT_ROUND, SECTORS, OUTLINE = 0.7, 12, 0.17
"""And all round: so much of its outline, in so many sectors, has edges within so much of where they belong, in radii."""
LEAST_APART = 1.76
"""Two discs lie at least this many radii apart: balls cannot overlap, measured centres a little."""


LEAST_ROUND, LEAST_CROSSING = 4, 2
"""Discs about a gap in a rack, at least, and pairs of them that cross there."""
ACROSS_GAP = 0.08
"""By how much, as a share, such a pair may lie off two widths apart."""
TOUCHING_GAP = 0.14
"""By how much a disc that touches a gap may lie off one width from it."""
GAP_FREE, GAP_FILL = 1.2, 0.9
"""No disc lies nearer to a gap, in radii; and so much of it is not the bare table."""


@dataclass(frozen=True)
class Disc:
    """One disc found in a bed view."""

    x_px: float
    y_px: float
    votes: float
    """Share of the circumference that voted, both sides counted; a lone clean ball has 1 to 2."""
    fill: float
    """Share of the disc that is not the bare table."""


@dataclass(frozen=True, eq=False)
class Edges:
    """The edge pixels of a bed view, each with the direction in which a ball's centre lies if it is on an outline."""

    shape: tuple[int, int]
    x: NDArray[Any]
    y: NDArray[Any]
    ux: Floats
    """In units of the radius."""
    uy: Floats
    weight: Floats
    """How much each counts, up to 1."""
    stretch: float
    """The most by which the view draws balls out."""


def edges_of(picture: Picture, slant: Slant | None = None, contrast: float = 1.0) -> Edges:
    """The edges of a bed view; in a dim picture, of `contrast` below 1, weaker ones count as much.

    With `slant` (of the same part of the view) outlines are the ellipses that a slanting view makes of balls: a point
    whose outline's normal is n lies (n + (s² - 1) (n e) e) / |...| from the centre, s the stretch along e.
    """
    smooth = cv2.GaussianBlur(picture, (0, 0), 0.8)
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3)
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3)
    size2 = cv2.split(cv2.add(cv2.multiply(gx, gx), cv2.multiply(gy, gy)))
    strongest = size2[0] if len(size2) == 1 else cv2.max(cv2.max(size2[0], size2[1]), size2[2])
    at = np.flatnonzero(strongest > (contrast * EDGE_LEAST) ** 2)
    y, x = np.divmod(at, picture.shape[1])
    most = strongest.ravel().take(at)
    c = at * len(size2)
    if len(size2) > 1:
        blue, green = (channel.ravel().take(at) == most for channel in size2[:2])
        c += np.where(blue, 0, np.where(green, 1, 2))
    size = np.sqrt(most)
    ux = np.asarray(gx.ravel().take(c) / size, np.float32)
    uy = np.asarray(gy.ravel().take(c) / size, np.float32)
    stretch = 1.0
    if slant is not None:
        ex, ey, s = (a.ravel().take(at) for a in (slant.x, slant.y, slant.stretch))
        s2 = s**2
        along = ux * ex + uy * ey
        scale = 1 / np.sqrt(1 + (s2 - 1) * along**2)
        ux, uy = (ux + (s2 - 1) * along * ex) * scale, (uy + (s2 - 1) * along * ey) * scale
        stretch = float(slant.stretch.max())
    return Edges(
        (picture.shape[0], picture.shape[1]),
        x,
        y,
        ux,
        uy,
        np.minimum(size / (contrast * EDGE_FULL), 1),
        stretch,
    )


def votes_of(edges: Edges, radius_px: float) -> Floats:
    """Votes for a ball's centre at each pixel of the view, as a share of the circumference."""
    h, w = edges.shape
    if not len(edges.x):
        return np.zeros((h, w), np.float32)
    pad = int(radius_px * edges.stretch) + 3
    wide = w + 2 * pad
    weight = edges.weight
    at: list[NDArray[np.int64]] = []
    shares: list[NDArray[Any]] = []
    for side in (radius_px, -radius_px):
        cx, cy = edges.x + (side * edges.ux + pad), edges.y + (side * edges.uy + pad)
        x0, y0 = cx.astype(np.int64), cy.astype(np.int64)  # pad keeps them positive, so this is the floor
        fx, fy = cx - x0, cy - y0
        corner = y0 * wide + x0
        right = weight * fx
        left = weight - right
        at += [corner, corner + 1, corner + wide, corner + wide + 1]
        shares += [left - left * fy, right - right * fy, left * fy, right * fy]
    ballot = np.bincount(
        np.concatenate(at), weights=np.concatenate(shares), minlength=(h + 2 * pad) * wide
    ).astype(np.float32)
    whole = cv2.GaussianBlur(ballot.reshape(h + 2 * pad, wide), (0, 0), 1.0)
    return np.asarray(whole[pad : pad + h, pad : pad + w] / radius_px, np.float32)


def votes(picture: Picture, radius_px: float, slant: Slant | None = None, contrast: float = 1.0) -> Floats:
    """Votes for a ball's centre at each pixel of a bed view, as a share of the circumference; see `edges_of`."""
    return votes_of(edges_of(picture, slant, contrast), radius_px)


@lru_cache(maxsize=16)
def disc_kernel(radius_px: float) -> Floats:
    """A disc with soft edge that sums to 1; not to be changed, for the next caller is given the same one."""
    n = int(np.ceil(radius_px))
    yy, xx = np.mgrid[-n : n + 1, -n : n + 1]
    k = np.clip(radius_px + 0.5 - np.hypot(xx, yy), 0, 1)
    kernel = np.asarray(k / k.sum(), np.float32)
    kernel.flags.writeable = False
    return kernel


def find_discs(
    picture: Picture, foreign: Floats, radius_px: float, *, least_votes: float = 0.3, least_fill: float = 0.5,
    slant: Slant | None = None, contrast: float = 1.0,
) -> list[Disc]:  # fmt: skip
    """Discs, strongest first, no two nearer than 0.88 of a diameter.

    `picture` is a bed view (or a part of one), `foreign` its mask from `BareTable.foreign`; `slant` and
    `contrast` as in `edges_of`.
    """
    ballot = votes(picture, radius_px, slant, contrast)
    return _picked(ballot, foreign, radius_px, least_votes, least_fill, ())


def _picked(
    ballot: Floats, foreign: Floats, radius_px: float, least_votes: float, least_fill: float, taken: Sequence[Disc]
) -> list[Disc]:  # fmt: skip
    """Discs of a ballot, strongest first, apart from each other and from those that are `taken`."""
    best = cv2.dilate(ballot, np.ones((5, 5), np.uint8))
    y, x = np.nonzero((ballot == best) & (ballot >= least_votes))
    kernel = disc_kernel(0.95 * radius_px)
    fill = np.array([_share(foreign, kernel, int(i), int(j)) for i, j in zip(x, y, strict=True)])
    if not len(x):
        return []
    # a ball of the cloth's own colour fills little but has its whole outline: either makes up for the other
    enough = fill >= np.clip(FILL_AND_VOTES - ballot[y, x], LITTLE_FILL, least_fill)
    y, x, fill = y[enough], x[enough], fill[enough]
    order = np.argsort(-(ballot[y, x] * (0.3 + fill)))
    kept: list[Disc] = []
    for i in order:
        px, py = _peak(ballot, int(x[i]), int(y[i]))
        if any(np.hypot(px - d.x_px, py - d.y_px) < LEAST_APART * radius_px for d in (*taken, *kept)):
            continue
        kept.append(Disc(px, py, float(ballot[y[i], x[i]]), float(fill[i])))
    return kept


def faint_discs(
    picture: Picture, foreign: Floats, radius_px: float, found: Sequence[Disc], *,
    slant: Slant | None = None, contrast: float = 1.0,
) -> list[Disc]:  # fmt: skip
    """Discs with weaker edges than those of `find_discs`, which are `found`, where something is that is not the bare table.

    Arguments as in `find_discs`.
    """
    left = foreign.copy()
    for d in found:
        cv2.circle(left, (round(d.x_px), round(d.y_px)), round(radius_px), 0.0, -1)
    fill = cv2.filter2D(left, -1, disc_kernel(0.95 * radius_px), borderType=cv2.BORDER_CONSTANT)
    if fill.max() < FAINT_FILL:
        return []
    edges = edges_of(picture, slant, FAINT * contrast)
    weak = _picked(votes_of(edges, radius_px), left, radius_px, FAINT_VOTES, FAINT_FILL, found)
    return [d for d in weak if all_round(edges, radius_px, d.x_px, d.y_px) >= FAINT_ROUND]


def all_round(edges: Edges, radius_px: float, x_px: float, y_px: float) -> float:
    """Of how much of a disc's outline there are edges that vote for its centre, 0 to 1.

    Two lines a ball's width apart, such as a cue's or a shadow's, vote as a ball does, but from two directions.
    """
    dx, dy = edges.x - x_px, edges.y - y_px
    size = np.hypot(edges.ux, edges.uy) * radius_px
    near = np.abs(np.hypot(dx, dy) - size) < OUTLINE * radius_px
    # its own direction must lead to the centre, from whichever side
    off = np.minimum(
        np.hypot(dx - edges.ux * radius_px, dy - edges.uy * radius_px),
        np.hypot(dx + edges.ux * radius_px, dy + edges.uy * radius_px),
    )
    voting = near & (off < 2 * OUTLINE * radius_px)
    sectors = (
        np.floor((np.arctan2(dy[voting], dx[voting]) / (2 * np.pi) + 0.5) * SECTORS).astype(int) % SECTORS
    )
    return len(np.unique(sectors)) / SECTORS


def gaps_in_racks(discs: Sequence[Disc], foreign: Floats, radius_px: float) -> list[Disc]:
    """Balls in the middle of a rack that have no disc of their own.

    There edges of neighbours and prints vote for places between balls. But where two pairs of discs lie two widths apart,
    crosswise about one place, and that is filled all over with what is not the bare table, a ball lies in their midst; in a
    rack's outer row, where one pair lies so, if as many more discs touch that place.
    """
    at = np.array([complex(d.x_px, d.y_px) for d in discs], np.complex128)
    if len(at) < LEAST_ROUND:
        return []
    i, j = np.triu_indices(len(at), 1)
    across = np.abs(np.abs(at[i] - at[j]) / (4 * radius_px) - 1) < ACROSS_GAP
    middles = 0.5 * (at[i] + at[j])[across]
    kernel = disc_kernel(0.95 * radius_px)
    gaps: list[Disc] = []
    while len(middles):
        same = np.abs(middles - middles[0]) < 0.4 * radius_px
        m = complex(middles[same].mean())
        taken = np.abs(at - m).min() < GAP_FREE * radius_px
        touching = np.abs(np.abs(at - m) / (2 * radius_px) - 1) < TOUCHING_GAP
        if (same.sum() >= LEAST_CROSSING or touching.sum() >= LEAST_ROUND) and not taken:
            fill = _share(foreign, kernel, round(m.real), round(m.imag))
            votes = min(d.votes for d, z in zip(discs, at, strict=True) if abs(z - m) < 2.4 * radius_px)
            if fill >= GAP_FILL:
                gaps.append(Disc(m.real, m.imag, votes, fill))
        middles = middles[~same]
    return gaps


def _share(foreign: Floats, kernel: Floats, x: int, y: int) -> float:
    """Mean of `foreign` under the kernel about a pixel; beyond the edge nothing is foreign."""
    n = kernel.shape[0] // 2
    h, w = foreign.shape
    y0, y1, x0, x1 = max(0, y - n), min(h, y + n + 1), max(0, x - n), min(w, x + n + 1)
    part = kernel[y0 - y + n : y1 - y + n, x0 - x + n : x1 - x + n]
    return float((foreign[y0:y1, x0:x1] * part).sum())


def _peak(ballot: Floats, x: int, y: int) -> tuple[float, float]:
    """The top of a peak to a fraction of a pixel: the centroid of what rises above half of it, 5 x 5 around."""
    h, w = ballot.shape
    if not (2 <= x < w - 2 and 2 <= y < h - 2):
        return float(x), float(y)
    p = ballot[y - 2 : y + 3, x - 2 : x + 3]
    p = np.clip(p - 0.5 * p[2, 2], 0, None)
    yy, xx = np.mgrid[-2:3, -2:3]
    s = float(p.sum())
    return x + float((p * xx).sum()) / s, y + float((p * yy).sum()) / s
