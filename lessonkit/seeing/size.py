"""The table's size from its balls: a ball is 57.15 mm wide on every table, so its share of the length tells the size.

Works on a surface that was fitted as some size: first the radius at which discs in the bed view gather most votes,
then the outlines of lone balls, their growth left free.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import TableError
from lessonkit.footage.reader import Frame
from lessonkit.model import Camera, Point, Table
from lessonkit.seeing.bedview import VIEW_MM_PER_PX, BedView
from lessonkit.seeing.centres import fit_outline
from lessonkit.seeing.cloth import BareTable
from lessonkit.seeing.discs import edges_of, find_discs, votes_of
from lessonkit.seeing.patches import Patcher
from lessonkit.seeing.sampling import clearness, people
from lessonkit.table.finding import Surface, find_resized, find_table
from lessonkit.table.sizes import SIGHT_FROM_NOSE_MM, likeliest_size

Picture = NDArray[np.uint8]

RATIOS = np.arange(0.92, 1.44, 0.02)
"""Widths of a ball that are tried, beside what it would be on the fitted table."""
LEAST_VOTES = 0.7
MOST_PICTURES = 6
SIGHTS_TO_TELL = 12
FITS = 3
ROUNDS = 2
"""An outline is looked for near the size that is expected, so a second look finds what the first came near."""
SURE = 0.9
BEYOND_DOUBT = 0.98
ROUGHLY = 0.03
"""Standard deviation, as a share, of the width at which discs gather most votes."""
SYSTEMATIC = 0.018
"""Blur and shadow make outlines look larger or smaller by about this share (scenes of known truth: see docs/seeing.md)."""


@dataclass(frozen=True)
class Told:
    """What the balls tell of the table."""

    table: Table
    sure: bool
    balls: int
    """How many outlines were measured."""
    width_share: float | None
    """Width of a ball beside what it would be on the fitted table; None where no ball was seen."""


def sized(
    surface: Surface,
    frames: Sequence[Frame],
    pictures: Sequence[Picture],
    head: str,
    corners: Sequence[Point] | None,
) -> Surface:
    """A surface that was fitted as some size, fitted as the size that its balls and sights tell; doubt is said in it."""
    for _ in range(FITS):
        # heights were scaled with the wrong size: fitted closer to the truth, balls and sights tell a little better
        told = tell_size(frames, surface.camera, surface.table, sight_distance_mm(surface))
        if told.table.size == surface.table.size:
            return replace(surface, size_sure=told.sure)
        try:
            surface = _as_size(surface, pictures, told.table.size, head, corners)
        except TableError:
            break
    return replace(surface, size_sure=False)


def _as_size(
    surface: Surface, pictures: Sequence[Picture], size: str, head: str, corners: Sequence[Point] | None
) -> Surface:
    """The surface fitted as another size: from where it was found, or where that fails from the start."""
    if corners is None:
        try:
            return find_resized(surface, size)
        except TableError:
            pass
    return find_table(pictures, size=size, head=head, corners=corners)


def sight_distance_mm(surface: Surface) -> float | None:
    """How far behind the nose the sights lie on the surface as fitted; None where too few were seen to tell."""
    return surface.rail.sight_mm if surface.sights >= SIGHTS_TO_TELL else None


def tell_size(frames: Sequence[Frame], camera: Camera, fitted: Table, sight_mm: float | None = None) -> Told:
    """The size of the table whose surface was fitted as `fitted`; that size, unsure, where nothing tells.

    `sight_mm`: how far behind the nose line the fit found the sights (`Surface.rail.sight_mm`), None where it saw few.
    That distance is published and the same on every size, so on a table fitted too large it comes out too large.
    """
    by_sights = None if sight_mm is None else fitted.length_mm * SIGHT_FROM_NOSE_MM / sight_mm
    used = list(frames)[:: max(1, len(frames) // MOST_PICTURES)]
    view = BedView.of(camera, fitted, VIEW_MM_PER_PX)
    rough = _rough_ratio(view, [view.warp_frame(f) for f in used[::2]])
    if rough is None:
        if by_sights is None:
            return Told(fitted, False, 0, None)
        table, chance = likeliest_size(None, 1.0, by_sights)
        return Told(table, chance > SURE, 0, None)
    if by_sights is not None:
        # where votes and sights agree on a size that has no near neighbour, outlines would only cost time
        table, chance = likeliest_size(
            fitted.length_mm / (fitted.ball_diameter_mm * rough), ROUGHLY, by_sights
        )
        if chance > BEYOND_DOUBT:
            return Told(table, True, 0, rough)
    share, doubt, growths = rough, 0.02, np.zeros(0)
    for _ in range(ROUNDS):
        growths = np.asarray(_growths(frames, used, camera, fitted, share))
        if len(growths) < 3:
            break
        share += float(np.median(growths)) / fitted.radius_mm
        spread = 1.4826 * float(np.median(np.abs(growths - np.median(growths)))) / fitted.radius_mm
        doubt = float(np.hypot(SYSTEMATIC, spread / np.sqrt(len(growths))))
    table, chance = likeliest_size(fitted.length_mm / (fitted.ball_diameter_mm * share), doubt, by_sights)
    return Told(table, chance > SURE and (len(growths) >= 3 or by_sights is not None), len(growths), share)


def _rough_ratio(view: BedView, pictures: Sequence[Picture]) -> float | None:
    """The width at which discs gather most votes, beside the fitted table's balls; None where there are no discs."""
    bed = view.table_mask(-0.5 * view.table.radius_mm)
    score = np.zeros(len(RATIOS))
    for p in pictures:
        edges = edges_of(p, view.slant)
        for k, ratio in enumerate(RATIOS):
            # votes are shares of a circumference: counted in edge pixels, a larger circle has no handicap
            ballot = np.where(bed, float(ratio) * votes_of(edges, float(ratio) * view.radius_px), 0)
            best = cv2.dilate(ballot, np.ones((9, 9), np.uint8))
            peaks = ballot[(ballot == best) & (ballot > LEAST_VOTES)]
            score[k] += float(((np.sort(peaks)[::-1][:16] - 0.5 * LEAST_VOTES) ** 2).sum())
    if score.max() <= 0:
        return None
    k = int(score.argmax())
    if 0 < k < len(RATIOS) - 1:
        left, middle, right = score[k - 1 : k + 2]
        bend = left - 2 * middle + right
        return float(RATIOS[k] + (0.5 * (left - right) / bend if bend < 0 else 0.0) * (RATIOS[1] - RATIOS[0]))
    return float(RATIOS[k])


def _growths(
    frames: Sequence[Frame], used: Sequence[Frame], camera: Camera, fitted: Table, rough: float
) -> list[float]:
    """How much wider, in millimetres of radius, each lone ball is than `rough` says."""
    table = replace(fitted, ball_diameter_mm=fitted.ball_diameter_mm * rough)
    view = BedView.of(camera, table, VIEW_MM_PER_PX)
    bare = BareTable.of(view, [view.warp_frame(f) for f in frames])
    patcher = Patcher(camera, table)
    bed = view.table_mask(-1.5 * table.radius_mm)
    growths: list[float] = []
    for frame in used:
        seen = view.warp_frame(frame)
        foreign = bare.foreign(seen)
        discs = find_discs(
            seen, foreign, view.radius_px, least_votes=LEAST_VOTES, least_fill=0.8, slant=view.slant
        )
        somebody = people(foreign, view.radius_px)
        for d, clear in zip(
            discs, clearness(foreign, discs, somebody, view.radius_px, view.slant), strict=True
        ):
            if clear < 0.9 or not bed[round(d.y_px), round(d.x_px)]:
                continue
            x, y = view.to_mm([(d.x_px, d.y_px)])[0]
            place = (float(x), float(y))
            outline = fit_outline([patcher.patch(frame, place)], place, bare, hold=0.0)
            if outline is not None and abs(outline.growth_mm) < 0.1 * table.radius_mm:
                growths.append(outline.growth_mm)
    return growths
