"""The centre of a ball at rest, finer than a pixel, from its outline through the full camera model.

The outline of a sphere is the image of the circle in which the tangents from the camera touch it, an ellipse that is
wider than a disc seen from above and shifted outwards. On the plane z = ball radius it is drawn once per place and
fitted, as a whole, to the edges found along its normals.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Camera, Point, Table
from lessonkit.seeing.cloth import BareTable
from lessonkit.seeing.patches import Patch
from lessonkit.table.camera import centre_mm

Floats = NDArray[np.float64]

DIRECTIONS = 72
REACH = 0.34
"""How far to both sides of the outline an edge is looked for, in radii."""
STEP = 0.02
"""Step along the normal in radii."""
PRIORS = (0.08, 0.06, 0.04, 0.04, 0.04)
"""Standard deviation, in radii, of where the edge is expected, round by round."""
SEARCH_MM = 8.0
"""How far about the first guess the whole outline is tried."""
ACROSS = (0.94, 1.06)
"""Inside and outside of an outline, in radii."""
MOST_COUNTED = 1.5
"""A direction counts up to so many times the middle difference across the outline."""
LEAST_EDGES = 24
CORRELATED = 3.0
"""Neighbouring edges err together, so their mean is this much worse than of as many that do not."""
SYSTEMATIC_PX = 0.25
"""What shadow and light at the rim shift an outline by, in pixels of the camera."""
HOLD = 3.0
"""See `refine_centre`."""
BESIDE = 0.16
"""How far, in radii, to both sides of an edge it is asked what lies there."""
SCALES = (0.8, 1.25, 0.02)
"""Where `outline_scale` looks for the outline, in outlines of the expected size: from, to, step."""
INWARD = 0.32
"""A ball's rim turns away from the light and is blurred, so colours change most a little inside it: by this share of the
blurred edge's width to its outer side (scenes of known truth and the three clips with truth: see docs/seeing.md)."""
NEIGHBOUR = 1.3
"""A point of the outline this near, in radii, to another ball's centre lies against that ball."""


def outline_mm(camera: Camera, table: Table, place: Point, directions: int = DIRECTIONS) -> Floats:
    """The outline of a ball at rest at `place`, on the plane z = ball radius, shape (directions, 2), millimetres
    from the ball's centre.

    A sphere of radius R seen from distance D touches its tangents in a circle of radius R sqrt(1 - R²/D²), R²/D
    nearer to the eye than its centre.
    """
    R = table.radius_mm
    eye = centre_mm(camera)
    ball = np.array([place[0], place[1], R])
    to_eye = eye - ball
    D = float(np.linalg.norm(to_eye))
    n = to_eye / D
    a = np.cross(n, [0.0, 1.0, 0.0])
    a /= np.linalg.norm(a)
    b = np.cross(n, a)
    phi = np.linspace(0, 2 * np.pi, directions, endpoint=False)
    r = R * np.sqrt(1 - (R / D) ** 2)
    circle = ball + n * (R * R / D) + r * (np.cos(phi)[:, None] * a + np.sin(phi)[:, None] * b)
    ray = circle - eye
    on_plane = eye + ray * ((R - eye[2]) / ray[:, 2])[:, None]
    return np.asarray(on_plane[:, :2] - np.asarray(place), float)


def _aligned(patches: Sequence[Patch], centre: Point) -> NDArray[np.float32]:
    """The mean of the patches about `centre`."""
    n = patches[0].picture.shape[0]
    total = np.zeros((n, n, 3), np.float32)
    for p in patches:
        dx, dy = (np.asarray(centre) - np.asarray(p.place)) / p.mm_per_px
        m = np.array([[1.0, 0.0, dx], [0.0, 1.0, dy]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        total += cv2.warpAffine(p.picture, m, (n, n), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(total / len(patches), np.float32)


def _features(patches: Sequence[Patch], centre: Point, bare: BareTable) -> NDArray[np.float32]:
    """The mean colour about `centre` (three channels) and its foreignness to the bare table (the fourth)."""
    mean = _aligned(patches, centre)
    linear = bare.linear_patch(centre, patches[0].mm_per_px, mean.shape[0])
    f = bare.foreignness(np.clip(mean, 0, 255).astype(np.uint8), linear)
    return np.dstack([mean, f]).astype(np.float32)


def _covered(outline: Floats, centre: Point, others: Sequence[Point], radius_mm: float) -> NDArray[np.bool_]:
    """Which points of the outline lie against another ball."""
    covered = np.zeros(len(outline), bool)
    for o in others:
        covered |= np.hypot(*(outline + np.asarray(centre) - np.asarray(o)).T) < NEIGHBOUR * radius_mm
    return covered


def _strength(
    features: NDArray[np.float32], mm_per_px: float, at: Floats, scales: Floats, covered: NDArray[np.bool_]
) -> Floats:
    """How much an edge along each normal looks like the outline, shape (..., scales).

    `at` has shape (..., scales, 2): places along the normals, millimetres from the middle. The edge itself is that of
    the colours, which lies where the ball ends; but it counts only so far as foreign things lie inside it and bare
    table outside: the border of a white cap has a ball on both sides. Against another ball (`covered`, one flag a
    normal) any edge counts, at half weight.
    """
    half = features.shape[0] // 2
    xy = (at / mm_per_px + half).astype(np.float32)
    flat = xy.reshape(-1, at.shape[-2], 2)
    sampled = np.asarray(
        cv2.remap(features, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE),
        float,
    )
    gradient = np.linalg.norm(np.gradient(sampled[..., :3], axis=1), axis=2)
    gradient = cv2.GaussianBlur(gradient, (5, 1), 1.0)
    f = sampled[..., 3]
    beside = round(BESIDE / (scales[1] - scales[0]))
    inside = np.pad(f, ((0, 0), (beside, 0)), mode="edge")[:, : f.shape[1]]
    outside = np.pad(f, ((0, 0), (0, beside)), mode="edge")[:, beside:]
    gate = 0.1 + inside * (1 - outside)
    gate[np.broadcast_to(covered, at.shape[:-2]).reshape(-1)] = 0.5
    return np.asarray((gradient * gate).reshape(at.shape[:-1]), float)


def _edges(g: Floats, scales: Floats, prior: float) -> tuple[Floats, Floats]:
    """Where along each normal the edge lies (as a scale) and how strong it is."""
    weighted = g * np.exp(-0.5 * ((scales - 1) / prior) ** 2)
    i = np.clip(weighted.argmax(1), 1, len(scales) - 2)
    k = np.arange(len(g))
    left, middle, right = g[k, i - 1], g[k, i], g[k, i + 1]
    bend = left - 2 * middle + right
    part = np.where(np.abs(bend) > 1e-9, 0.5 * (left - right) / np.where(bend == 0, 1, bend), 0.0)
    return scales[i] + np.clip(part, -1, 1) * (scales[1] - scales[0]), middle


def _best_shift(
    features: NDArray[np.float32],
    mm_per_px: float,
    centre: Point,
    outline: Floats,
    covered: NDArray[np.bool_],
) -> Point:
    """The place about `centre` at which the colours differ most across the whole outline.

    Each direction counts up to a limit, so that neither a highlight nor the print's white outweighs a dim edge on the
    far side: only the ball's own end is an edge all round. Good to about a millimetre.
    """
    half = features.shape[0] // 2
    steps = np.arange(-SEARCH_MM, SEARCH_MM + 0.1, 1.0)
    sx, sy = (a.ravel() for a in np.meshgrid(steps, steps))
    shifts = np.stack([sx, sy], -1)[:, None, None, :]
    part = outline[::2]
    at = part[None, :, None, :] * np.array(ACROSS)[None, None, :, None] + shifts
    xy = (at / mm_per_px + half).astype(np.float32).reshape(len(sx), -1, 2)
    colours = np.ascontiguousarray(features[..., :3])
    seen = cv2.remap(
        colours, xy[..., 0], xy[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    ).reshape(len(sx), len(part), 2, 3)
    differ = np.linalg.norm(seen[:, :, 0] - seen[:, :, 1], axis=-1)
    differ *= np.where(covered[::2], 0.5, 1.0)
    limit = MOST_COUNTED * float(np.median(differ[len(sx) // 2])) + 1e-6
    score = np.minimum(differ, limit).mean(1)
    score = score / max(float(score.max()), 1e-6) - 0.03 * np.hypot(sx, sy) / SEARCH_MM
    i = int(score.argmax())
    return centre[0] + float(sx[i]), centre[1] + float(sy[i])


def refine_centre(
    patches: Sequence[Patch], place: Point, bare: BareTable, others: Sequence[Point] = ()
) -> tuple[Point, float | None]:
    """The centre and its standard error in millimetres (None, and `place` unchanged, where too few edges agree).

    `others`: places of the other balls on the table. The outline keeps the size that the table's balls have, as firmly as
    HOLD says: their size is known, so it may only grow or shrink by what blur and the print allow.
    """
    if not patches:
        return place, None
    camera, table, mm_per_px = bare.view.camera, bare.view.table, patches[0].mm_per_px
    near = [o for o in others if np.hypot(o[0] - place[0], o[1] - place[1]) < 2.6 * table.radius_mm]
    outline = outline_mm(camera, table, place)
    covered = _covered(outline, place, near, table.radius_mm)
    centre = _best_shift(_features(patches, place, bare), mm_per_px, place, outline, covered)
    scales = np.arange(1 - REACH, 1 + REACH + STEP / 2, STEP)
    error_mm: float | None = None
    for prior in PRIORS:
        outline = outline_mm(camera, table, centre)
        length = np.linalg.norm(outline, axis=1)
        at = outline[:, None, :] * scales[None, :, None]
        covered = _covered(outline, centre, near, table.radius_mm)
        g = _strength(_features(patches, centre, bare), mm_per_px, at, scales, covered)
        s, strength = _edges(g, scales, prior)
        weight = np.minimum(strength / (np.median(strength) + 1e-9), 1.0)
        solution, spread, w = _solve(outline / length[:, None], (s - 1) * length, weight)
        if int((w > 0.1).sum()) < LEAST_EDGES or np.hypot(*solution[:2]) > 0.4 * table.radius_mm:
            return place, None
        centre = (centre[0] + float(solution[0]), centre[1] + float(solution[1]))
        free = float(w[~covered].sum())
        chance = CORRELATED * spread * float(np.sqrt(2 / max(0.5, free)))
        error_mm = float(np.hypot(chance, SYSTEMATIC_PX * mm_per_px))
    return centre, error_mm


def outline_scale(patch: Patch, centre: Point, bare: BareTable) -> float | None:
    """How wide the ball at `centre`, the patch's middle, is beside one of the table's size; None where no edge is seen.

    The whole outline at once, and no size expected: the scale at which the colours change most all round, each
    direction counting up to a limit.
    """
    outline = outline_mm(bare.view.camera, bare.view.table, centre)
    scales = np.arange(*SCALES)
    at = outline[:, None, :] * scales[None, :, None] / patch.mm_per_px + patch.picture.shape[0] // 2
    xy = at.astype(np.float32)
    light = cv2.remap(
        patch.picture, xy[..., 0], xy[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    ).astype(np.float32)
    change = np.linalg.norm(np.gradient(light, axis=1), axis=2)
    change = np.minimum(change, MOST_COUNTED * np.median(change.max(1))).mean(0, keepdims=True)
    g = cv2.GaussianBlur(change.astype(np.float32), (5, 1), 1.2)[0]
    i = int(g[1:-1].argmax()) + 1
    bend = g[i - 1] - 2 * g[i] + g[i + 1]
    if i in (1, len(g) - 2) or bend >= 0:
        return None
    peak = scales[i] + 0.5 * (g[i - 1] - g[i + 1]) / bend * (scales[1] - scales[0])
    return float(peak + INWARD * _outer_width(g, i) * (scales[1] - scales[0]))


def _outer_width(g: NDArray[np.float32], top: int) -> float:
    """From the top of a peak outward to half way down to what lies beside it, in samples."""
    beside = float(np.percentile(g, 15))
    half = beside + 0.5 * (float(g[top]) - beside)
    below = np.flatnonzero(g[top:] <= half)
    if not len(below):
        return float(len(g) - 1 - top)
    i = top + int(below[0])
    return i - top - (half - float(g[i])) / max(float(g[i - 1] - g[i]), 1e-9)


def _solve(unit: Floats, off: Floats, weight: Floats) -> tuple[Floats, float, Floats]:
    """Shift (x, y) and growth that explain how far the edges lie off the outline, by Tukey's biweight.

    Returns them with the spread of what is left and the weight that each edge kept.
    """
    A = np.c_[unit, np.ones(len(unit))]
    solution, spread, w = np.zeros(3), 0.0, weight
    for _ in range(10):
        rows = np.r_[A * w[:, None], [[0.0, 0.0, HOLD]]]
        solution, *_ = np.linalg.lstsq(rows, np.r_[off * w, 0.0], rcond=None)
        r = off - A @ solution
        spread = max(1.4826 * float(np.median(np.abs(r))), 0.15)
        w = weight * np.clip(1 - (r / (4 * spread)) ** 2, 0, None)
    return solution, spread, w


def push_apart(places: dict[int, Point], errors: dict[int, float], table: Table) -> dict[int, Point]:
    """The places, keyed as given, moved as little as their errors suggest so that no two balls overlap."""
    out = {k: np.asarray(p, float) for k, p in places.items()}
    keys = list(out)
    for _ in range(60):
        worst = 0.0
        for i, a in enumerate(keys):
            for b in keys[i + 1 :]:
                gap = out[b] - out[a]
                distance = float(np.hypot(*gap))
                lack = table.ball_diameter_mm - distance
                if lack <= 0.05 or distance < 1e-6:
                    continue
                worst = max(worst, lack)
                share = errors[a] ** 2 / (errors[a] ** 2 + errors[b] ** 2)
                out[a] = out[a] - gap / distance * lack * share
                out[b] = out[b] + gap / distance * lack * (1 - share)
        if worst < 0.1:
            break
    return {k: (float(p[0]), float(p[1])) for k, p in out.items()}
