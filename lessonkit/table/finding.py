"""Where the table lies in the picture, and the camera that sees it so."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import TableError
from lessonkit.model import Camera, Point, Table
from lessonkit.table.camera import centre_mm, project
from lessonkit.table.cloth import Region, cloth_regions
from lessonkit.table.edges import Line, measure_line, profile_across, steps_of
from lessonkit.table.fitting import Evidence, Fit, Rail, corners_px, first_cameras, fit, with_error
from lessonkit.table.marks import Sights, measure_holes, measure_sights, pockets_seen
from lessonkit.table.plate import Picture, brightened, median_picture
from lessonkit.table.rails import sample
from lessonkit.table.sizes import table_of_size

Array = NDArray[np.float64]
Rounds = tuple[tuple[float, float, int], ...]
_SMALL_WIDTH_PX = 512
_TOWARDS = {"left": (-1.0, 0.0), "right": (1.0, 0.0), "top": (0.0, -1.0), "bottom": (0.0, 1.0)}
_ROUGH: Rounds = ((20.0, 0.0, 10), (12.0, 18.0, 12))
_CLOSE: Rounds = ((7.0, 12.0, 15), (5.0, 8.0, 25))
"""Rounds of measuring and fitting: how far to look for lines, for sights (0: not at all), steps of the fit."""
_MOST_TRIES = 10
_CLEAR, _LEAST = 0.85, 0.5
"""Scores beyond which nothing else is tried, and below which nothing counts as a table."""
_TURNED = {"left": "top", "right": "bottom", "top": "left", "bottom": "right"}
_HOW = (
    "Give the four corners of the playing surface, where the cushions' nose lines meet, with "
    "`--corners x1,y1 x2,y2 x3,y3 x4,y4` in pixels."
)


@dataclass(frozen=True, eq=False)
class Surface:
    """The table as found: its size, the camera, and the picture of it with nobody in front."""

    table: Table
    camera: Camera
    plate: Picture
    """Shape (H, W, 3), BGR; brightened where the table was only found so."""
    cloth_bgr: tuple[float, float, float]
    """The cloth's typical colour in the plate."""
    size_sure: bool
    """False: the size is the commonest (9 ft) for want of evidence."""
    head: str
    """The side of the picture on which the head of the table was taken to lie."""
    rail: Rail
    """What the fit took the rails to be like."""
    sights: int
    """How many of the 18 sights were found."""
    pockets: int
    """How many of the six pockets were recognised."""
    score: float = 0.0
    """0 to 1: how far what was found looks like a table in every respect."""


def find_table(
    pictures: Sequence[Picture],
    *,
    size: str = "auto",
    head: str = "left",
    corners: Sequence[Point] | None = None,
) -> Surface:
    """The table in pictures of one fixed camera, each (H, W, 3) uint8 BGR, spread over the clip.

    `size`: '9ft', '8ft', '7ft', 'LxW' in millimetres, or 'auto': fitted as 9 ft (7 or 8 ft where that does not fit),
    for the balls and sights to tell (see `lessonkit.seeing.size`). `head`: the side of the picture on which the head of
    the table lies, 'left', 'right', 'top' or 'bottom'; if the table runs across that direction, a quarter turn
    (left -> top, right -> bottom and so on). `corners`: the corners of the nose lines in pixels, in any order.
    Raises TableError where no table can be recognised, or the arguments make no sense.
    """
    if head not in _TOWARDS:
        raise TableError(f"The head of the table cannot be '{head}': say left, right, top or bottom.")
    asked = None if size == "auto" else table_of_size(size)
    plate = median_picture(pictures)
    # seen at a slant, a small table does not look like a large one from farther away: heights stay what they are
    tables = [asked] if asked else [table_of_size(s) for s in ("9ft", "7ft", "8ft")]
    for picture, table in itertools.product(_lit(plate), tables):
        found = (
            _recognise(picture, table, head)
            if corners is None
            else _from_corners(picture, table, head, corners)
        )
        if found is not None:
            return _surface(picture, found, asked is not None)
    raise TableError(f"No pool table was recognised in the picture. {_HOW}")


def find_near(pictures: Sequence[Picture], before: Surface, camera: Camera) -> Surface:
    """The table measured anew in pictures (H, W, 3) of which the camera is nearly known, such as after a bump.

    Quick: nothing is searched for. Raises TableError where the evidence does not bear the camera out.
    """
    plate = median_picture(pictures)
    start = Fit(camera, before.rail, 0.0, np.zeros(0))
    for picture in _lit(plate):
        refined = _refine(picture, start, before.table, (_ROUGH[1], *_CLOSE))
        found = _judged(picture, before.table, before.head, *refined)
        if found.score >= _LEAST:
            return _surface(picture, found, before.size_sure)
    raise TableError(f"The table was not found again after the camera moved. {_HOW}")


def find_resized(before: Surface, size: str) -> Surface:
    """The table found as one size, measured anew as another: all but heights stays what it was in the picture.

    Raises TableError where that does not fit as well as it should: then find it as at the start.
    """
    table = table_of_size(size)
    plate = before.plate
    camera = replace(
        before.camera, translation=before.camera.translation * (table.length_mm / before.table.length_mm)
    )
    start = Fit(camera, Rail(), 0.0, np.zeros(0))
    found = _judged(plate, table, before.head, *_refine(plate, start, table, (*_ROUGH, *_CLOSE)))
    if found.score < max(_LEAST, before.score - 0.05):
        raise TableError(f"The table does not fit a size of {size}. {_HOW}")
    return _surface(plate, found, size_sure=True)


def _lit(plate: Picture) -> list[Picture]:
    """The picture as it is, and a dark one brought up as well."""
    bright = brightened(plate)
    return [plate] if bright is None else [plate, bright]


@dataclass(frozen=True, eq=False)
class _Found:
    fit: Fit
    table: Table
    head: str
    lines: tuple[Line, ...]
    sights: Sights
    pockets: tuple[float | None, ...]
    score: float


def _from_corners(plate: Picture, table: Table, head: str, corners: Sequence[Point]) -> _Found:
    """The camera from four corners of the nose lines, refined if the evidence round them agrees."""
    h, w = plate.shape[:2]
    points = np.asarray(corners, float)
    if points.shape != (4, 2) or not np.isfinite(points).all():
        raise TableError("The table needs exactly four corners, each as x,y in pixels of the picture.")
    middle = points.mean(0)
    ring = points[np.argsort(np.arctan2(*(points - middle).T[::-1]))]
    area = abs(cv2.contourArea(ring.astype(np.float32)))
    if not cv2.isContourConvex(ring.astype(np.float32)) or area < 0.01 * h * w:
        raise TableError(
            "The four corners do not make a table: give the places where the nose lines of two cushions meet, as x,y."
        )
    found = _recognise(plate, table, head)
    if found is not None:
        near = np.abs(corners_px(found.fit.camera, table)[:, None] - ring[None]).max(2).min(1)
        if near.max() < 0.025 * max(h, w):
            return found
    tried = []
    for order, side in _orders(ring, head):
        cameras = first_cameras(
            ring[order], table, 0.0, table.nose_height_mm, (h, w), focal_widths=(0.6, 0.8, 1.0, 1.3, 1.8)
        )
        for camera in cameras:
            off = np.hypot(*(corners_px(camera, table) - ring[order]).T).max()
            tried.append((float(off), camera, side))
    if not tried:
        raise TableError(
            "No camera could see a table with these four corners: check that each is where nose lines meet."
        )
    off, camera, side = min(tried, key=lambda t: t[0])
    plain = Fit(camera, Rail(), 0.0, np.zeros(0))
    refined, lines, seen = _refine(plate, plain, table, (*_ROUGH, *_CLOSE))
    moved = np.hypot(*(corners_px(refined.camera, table) - corners_px(camera, table)).T).max()
    pockets = tuple(pockets_seen(plate, refined.camera, table))
    agrees = moved < 0.008 * max(h, w) and len({x.side for x in lines}) == 4 and _rms(refined) < 0.002 * w
    if not agrees:
        pockets = tuple(pockets_seen(plate, camera, table))
        return _Found(
            plain, table, side, (), Sights(np.zeros((0, 2)), np.zeros(0, np.int64), np.zeros(0)), pockets, 1.0
        )
    return _Found(refined, table, side, lines, seen, pockets, 1.0)


def _rms(found: Fit) -> float:
    return float(np.sqrt(np.mean(found.residual_px**2))) if len(found.residual_px) else np.inf


def _cloth_colour(plate: Picture, camera: Camera, table: Table) -> tuple[float, float, float]:
    """The median colour of the bed, B, G, R."""
    x, y = np.linspace(0.1, 0.9, 60) * table.length_mm, np.linspace(0.1, 0.9, 30) * table.width_mm
    grid = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
    colours = sample(plate, project(camera, grid))
    b, g, r = np.nanmedian(colours, 0) if np.isfinite(colours).any() else (0.0, 0.0, 0.0)
    return float(b), float(g), float(r)


def _surface(plate: Picture, found: _Found, size_sure: bool) -> Surface:
    camera = with_error(found.fit)
    holes = sum(p is not None and p > 0.5 for p in found.pockets)
    return Surface(
        found.table,
        camera,
        plate,
        _cloth_colour(plate, camera, found.table),
        size_sure,
        found.head,
        found.fit.rail,
        len(found.sights.px),
        holes,
        found.score,
    )


def _recognise(plate: Picture, table: Table, head: str) -> _Found | None:
    h, w = plate.shape[:2]
    scale = max(w, h) / _SMALL_WIDTH_PX
    small = np.asarray(
        cv2.resize(plate, (round(w / scale), round(h / scale)), interpolation=cv2.INTER_AREA), np.uint8
    )
    per_small = np.array([w / small.shape[1], h / small.shape[0]])
    rough: list[_Found] = []
    tried = 0
    for region in cloth_regions(small):
        for order, side in _orders(region.corners, head):
            tried += 1
            rough += _try(plate, table, region, order, side, per_small)
        if tried >= _MOST_TRIES or max((f.score for f in rough), default=0.0) > _CLEAR:
            break
    best: _Found | None = None
    for start in sorted(rough, key=lambda f: -f.score)[:2]:
        if start.score < _LEAST - 0.1:
            break
        final = _judged(plate, table, start.head, *_refine(plate, start.fit, table, _CLOSE))
        if best is None or final.score > best.score:
            best = final
        if best.score > _CLEAR:
            break
    if best is not None and _LEAST - 0.1 < best.score < _CLEAR:
        best = _read_otherwise(plate, table, best)
    return best if best is not None and best.score >= _LEAST else None


def _read_otherwise(plate: Picture, table: Table, found: _Found) -> _Found:
    """What was found, or something better if one side's lines were taken for their neighbours.

    Seen at a slant, a cushion shows up to four steps side by side (its shadow, its nose, the cloth's end, a gap), and
    a side read one step too far in or out still fits tolerably: the other sides, the lens and the rails give way.
    """
    h, w = plate.shape[:2]
    tried: list[_Found] = []
    for evidence in misread(found.lines):
        start = fit(found.fit.camera, Rail(), table, evidence, max(h, w), loose=True, most=20)
        seen = measure_sights(plate, start.camera, table, Rail(), 18.0)
        tried.append(_judged(plate, table, found.head, start, found.lines, seen, slack=4.0))
    best = found
    for other in sorted(tried, key=lambda f: (-len(f.sights.px), -f.score))[:2]:
        refined = _refine(plate, other.fit, table, (_ROUGH[1], *_CLOSE))
        final = _judged(plate, table, found.head, *refined)
        if final.score > best.score + 0.03:
            best = final
        if best.score > _CLEAR:
            break
    return best


def misread(lines: Sequence[Line]) -> list[Evidence]:
    """The same lines read in other ways: of one side the outer as the nose, the inner as the cloth's end, or one left out."""
    ways = []
    for side in range(4):
        mine = [x for x in lines if x.side == side]
        for used, as_nose in itertools.product((True, False), repeat=2):
            own = [(x, as_nose) for x in mine if x.nose == used]
            kept = [(x, x.nose) for x in lines if x.side != side] + own
            if not own or len({x.side for x, _ in kept}) < 4:
                continue
            ways.append(
                Evidence(
                    np.concatenate([x.px for x, _ in kept]),
                    np.concatenate([np.full(len(x.px), x.side) for x, _ in kept]),
                    np.concatenate([np.full(len(x.px), nose) for x, nose in kept]),
                    line_sigma_px=1.0,
                )
            )
    return ways


def _orders(corners: Array, head: str) -> list[tuple[NDArray[np.int64], str]]:
    """Ways to name four corners in a ring: indices of head-right, foot-right, foot-left, head-left, and the head's side.

    One way per pair of sides that may be the long ones; the likelier pair first.
    """
    x, y = corners.T
    ring = np.arange(4)
    if np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) > 0:  # seen from above the ring runs against the clock
        ring = ring[::-1]
    ways = []
    for shift in (0, 1):
        order, side = _towards(corners, np.roll(ring, -shift), head)
        c = corners[order]
        long = np.hypot(*(c[0] - c[1])) + np.hypot(*(c[3] - c[2]))
        short = np.hypot(*(c[1] - c[2])) + np.hypot(*(c[0] - c[3]))
        ways.append((float(long / short), order, side))
    ways.sort(key=lambda way: -way[0])
    return [(order, side) for ratio, order, side in ways if ratio > 0.7]


def _towards(corners: Array, order: NDArray[np.int64], head: str) -> tuple[NDArray[np.int64], str]:
    for side in (head, _TURNED[head]):
        for turned in (order, np.roll(order, -2)):
            c = corners[turned]
            way = c[0] + c[3] - c[1] - c[2]
            if way @ np.array(_TOWARDS[side]) > 0.4 * np.hypot(*way):
                return turned, side
    return order, head


def _try(
    plate: Picture, table: Table, region: Region, order: NDArray[np.int64], head: str, scale: Array
) -> list[_Found]:
    """The region taken for a table in this position, roughly refined: its outline as the cloth's end, or as the nose."""
    found = []
    for start in _coarse(plate, table, region, order, scale):
        found.append(_judged(plate, table, head, *_refine(plate, start, table, _ROUGH), slack=2.5))
        if found[-1].score > _CLEAR:
            return found
    for seen in list(found):
        by_holes = _by_holes(plate, table, seen.fit)
        if by_holes is not None:
            found.append(_judged(plate, table, head, *_refine(plate, by_holes, table, _ROUGH), slack=2.5))
        if found[-1].score > _CLEAR:
            break
    return found


def _by_holes(plate: Picture, table: Table, start: Fit) -> Fit | None:
    """A camera from the pockets' holes alone, near `start`; None where fewer than five are seen.

    They are few and coarse but not to be mistaken for each other, where somebody stands before a rail or a lamp hangs
    before it and the outline leads astray.
    """
    width = max(plate.shape[:2])
    current = replace(start, rail=Rail())
    for search in (110.0, 50.0):
        px, expected = measure_holes(plate, current.camera, table, search)
        if len(px) < 5:
            return None
        current = fit(
            current.camera, Rail(), table, Evidence(hole_px=px, hole_mm=expected), width, loose=True, most=20
        )
    return current if current.cost < 4.0 else None


def _judged(
    plate: Picture,
    table: Table,
    head: str,
    fitted: Fit,
    lines: tuple[Line, ...],
    seen: Sights,
    slack: float = 1.0,
) -> _Found:
    """With a score from 0 to 1 of how far what was found looks like a table: holes, sights, pairs of lines, a fit."""
    camera = fitted.camera
    width = max(plate.shape[:2])
    pockets = tuple(pockets_seen(plate, camera, table))
    judged = [p for p in pockets if p is not None]
    eye = centre_mm(camera)
    possible = 400 < eye[2] < 12000 and 0.2 < camera.matrix[0, 0] / width < 5 and len(judged) >= 3 and lines
    if not possible:
        return _Found(fitted, table, head, lines, seen, pockets, 0.0)
    pairs = [sum(line.side == side for line in lines) == 2 for side in range(4)]
    off = float(np.median(np.abs(fitted.residual_px))) / width * 1000  # thousandths of the picture's width
    fits = float(np.exp(-((off / (0.6 * slack)) ** 2))) * _usual(fitted.rail, slack)
    score = 0.4 * float(np.mean(judged)) + fits * (
        0.35 * min(1.0, len(seen.px) / 12) + 0.25 * float(np.mean(pairs))
    )
    if len(seen.px) < 8 and not all(pairs):
        score *= 0.7  # neither sights nor whole cushions: too little to tell a table from chance
    return _Found(fitted, table, head, lines, seen, pockets, score)


def _usual(rail: Rail, slack: float) -> float:
    """1 for rails as they are made, towards 0 for what no rail is like: a wrong fit bends them to its will."""
    usual = Rail()
    off = np.array(
        [
            (rail.cloth_height_mm - usual.cloth_height_mm) / 12,
            (rail.sight_height_mm - usual.sight_height_mm) / 10,
            *[(a - b) / 4 for a, b in zip(rail.nose_seen_mm, usual.nose_seen_mm, strict=True)],
            *[(a - float(np.mean(rail.cloth_mm))) / 5 for a in rail.cloth_mm],
        ]
    )
    return float(np.exp(-((np.max(np.abs(off)) / slack) ** 4)))


def _coarse(
    plate: Picture, table: Table, region: Region, order: NDArray[np.int64], scale: Array
) -> list[Fit]:
    """Cameras from the region's outline alone: taken for the line where cloth meets rail, and for the nose line.

    The likelier first.
    """
    h, w = plate.shape[:2]
    evidence = _outline_evidence(region, order, scale)
    corners = _to_full(region.corners[order], scale)
    rail = Rail()
    fits = []
    for camera in first_cameras(corners, table, rail.cloth_mm[0], rail.cloth_height_mm, (h, w)):
        fits.append(fit(camera, rail, table, evidence, max(h, w), loose=True, most=20))
    if not fits:
        return []
    best = min(fits, key=lambda f: f.cost)
    as_nose = replace(evidence, line_nose=np.ones(len(evidence.line_px), bool))
    nose = fit(best.camera, rail, table, as_nose, max(h, w), loose=True, most=20)
    return [nose, best] if _outline_is_nose(plate, best.camera, table) else [best, nose]


def _to_full(px: Array, scale: Array) -> Array:
    """Pixels of the small picture as pixels of the whole one (pixel centres at whole numbers in both)."""
    return np.asarray((px + 0.5) * scale - 0.5, float)


def _outline_evidence(region: Region, order: NDArray[np.int64], scale: Array) -> Evidence:
    px, side = [], []
    for number in range(4):
        a, b = int(order[number]), int(order[(number + 1) % 4])
        ring_side = a if (a + 1) % 4 == b else b
        points = _to_full(region.sides[ring_side], scale)
        points = points[:: max(1, len(points) // 40)]
        px.append(points)
        side.append(np.full(len(points), number))
    all_px = np.concatenate(px)
    return Evidence(all_px, np.concatenate(side), np.zeros(len(all_px), bool), line_sigma_px=2.0)


def _outline_is_nose(plate: Picture, camera: Camera, table: Table) -> bool:
    """Whether the outline that the camera takes for the cloth's end is rather the nose line: cloth goes on behind it."""
    votes = 0
    for side in range(4):
        got = profile_across(plate, camera, table, side, 50.0, 40.0, 80.0)
        if got is None:
            continue
        outward, colours, gsd = got
        if not np.isfinite(colours).all():
            continue
        bed = np.nanmedian(colours[(outward > -100) & (outward < -65)], 0)
        off = np.linalg.norm(colours - bed, axis=1)
        steps = steps_of(colours, outward, gsd)

        def near(values: Array, at: float, reach: float, outward: Array = outward) -> Array:
            return values[np.abs(outward - at) < reach]

        behind, beyond = np.nanmedian(near(off, 25, 12)), np.nanmedian(near(off, 72, 10))
        more = np.nanmax(near(steps, 50, 16)) > np.nanmax(near(steps, -50, 16))
        votes += 1 if behind < 0.5 * beyond and more else -1
    return votes > 0


def _refine(plate: Picture, start: Fit, table: Table, rounds: Rounds) -> tuple[Fit, tuple[Line, ...], Sights]:
    """Measure where the current camera expects things, fit, and again ever more closely."""
    current = start
    width = max(plate.shape[:2])
    lines: list[Line] = []
    seen = Sights(np.zeros((0, 2)), np.zeros(0, np.int64), np.zeros(0))
    for search, sight_search, most in rounds:
        lines, noses = [], []
        for side in range(4):
            for nose in (True, False):
                back = 0.0 if nose else current.rail.cloth_mm[side]
                z = table.nose_height_mm if nose else current.rail.cloth_height_mm
                line = measure_line(plate, current.camera, table, side, back, z, search, leaving=not nose)
                if line is not None:
                    lines.append(line)
                    noses.append(np.full(len(line.px), nose))
        if not lines:
            return current, (), seen
        if sight_search:
            seen = measure_sights(plate, current.camera, table, current.rail, sight_search)
        evidence = Evidence(
            np.concatenate([x.px for x in lines]),
            np.concatenate([np.full(len(x.px), x.side) for x in lines]),
            np.concatenate(noses),
            seen.px,
            seen.side,
            seen.along,
            np.concatenate([np.full(len(x.px), x.sigma_px) for x in lines]),
        )
        current = fit(current.camera, current.rail, table, evidence, width, gentle=search > 10, most=most)
    return current, tuple(lines), seen
