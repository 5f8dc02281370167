"""Whether the camera has moved since a picture was taken, and the camera after it did. Pure functions of pictures.

    mark = landmarks(surface.plate, surface.camera, surface.table)
    move = moved_since(mark, later_luma)
    if move.moved:
        surface = refit(surface, move, pictures_after)

What stays put is the table: corners and marks on its rails and pockets are followed from one picture into the other.
Balls lie elsewhere, and people cover some of the marks; they never move all of them alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import TableError
from lessonkit.model import Camera, Table
from lessonkit.table.camera import project, unproject
from lessonkit.table.finding import Surface, find_near
from lessonkit.table.rails import places, px_per_mm

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

WORKING_WIDTH_PX = 960
MOST_MARKS = 120
LEAST_MARKS = 8
"""Fewer that are followed tell nothing: somebody stands in front, or the picture has gone dark."""
LEAST_MOVE_PX = 1.2
"""In a picture 1280 pixels wide: what a good mount sways by, and more than following errs by."""
STILL_SHARE = 0.3
"""So many marks that stayed put say that the camera did: nothing else keeps them where they were."""
MOVED_SHARE = 0.5
"""So many of the marks must have moved alike."""
RAIL_HEIGHT_MM = 40.0


@dataclass(frozen=True, eq=False)
class Landmarks:
    """Marks on the table's fixed parts as one picture shows them."""

    grey: Picture
    """The picture, small, evened out in brightness."""
    scale: float
    """Pixels of the whole picture per pixel of `grey`."""
    px: NDArray[np.float32]
    """Shape (N, 2), pixels of `grey`."""
    places_mm: Array
    """Shape (N, 3), where they lie on the table."""
    spacing_mm: float
    """How many millimetres a pixel of the whole picture takes up in the table's middle."""


@dataclass(frozen=True, eq=False)
class Move:
    """What has become of the camera."""

    moved: bool | None
    """None: too little of the table was seen to tell."""
    shift_px: float | None
    """How far the table's marks have moved in the picture, the median; None where it could not be told."""
    shift_mm: float | None
    """The same on the table: how far wrong places would be with the old camera."""
    turn_deg: float | None
    """How far the picture has turned about its axis, positive clockwise as seen."""
    marks: int
    """How many marks agree."""
    found: tuple[Array, Array]
    """Those marks: places (M, 3) on the table, and their pixels (M, 2) now."""


def landmarks(picture: Picture, camera: Camera, table: Table) -> Landmarks:
    """The marks of a picture, (H, W) luma or (H, W, 3) BGR, taken by `camera`; best one with nobody in front.

    Raises TableError where the rails show next to nothing that could be followed.
    """
    grey, scale = _prepared(picture)
    band = np.zeros(grey.shape, np.uint8)
    for back, value in ((165.0, 255), (-4.0, 0)):
        px = (project(camera, _ring(table, back), RAIL_HEIGHT_MM) + 0.5) / scale - 0.5
        cv2.fillPoly(band, [np.round(np.clip(px, -1e4, 1e5)).astype(np.int32)], value)
    found = cv2.goodFeaturesToTrack(grey, MOST_MARKS, 0.02, max(6, grey.shape[1] // 110), mask=band)
    if found is None or len(found) < LEAST_MARKS:
        raise TableError(
            "The rails show too little to tell whether the camera moves: light them or move nearer, and do not touch it."
        )
    px = np.asarray(found, np.float32).reshape(-1, 2)
    whole = (px + 0.5) * scale - 0.5
    flat = unproject(camera, whole, RAIL_HEIGHT_MM)
    middle = np.array([[table.length_mm / 2, table.width_mm / 2]])
    per_mm = px_per_mm(camera, table, np.array([0]), middle, table.radius_mm)[0][0]
    return Landmarks(
        grey, scale, px, np.c_[flat, np.full(len(flat), RAIL_HEIGHT_MM)], float(1 / max(per_mm, 1e-6))
    )


def moved_since(mark: Landmarks, later: Picture) -> Move:
    """Whether the camera moved between the landmarks' picture and `later`, (H, W) luma or (H, W, 3) of the same size.

    Raises TableError if the sizes differ. A sway below LEAST_MOVE_PX is no move.
    """
    grey, _ = _prepared(later)
    if grey.shape != mark.grey.shape:
        raise TableError("The pictures differ in size, so they are not of one camera: give one clip at a time.")
    before, after, held = _followed(mark, grey)
    shift = np.hypot(*(after - before).T) * mark.scale
    least = LEAST_MOVE_PX * max(mark.grey.shape[1] * mark.scale / 1280, 0.6)
    stay = shift < least
    if len(before) < LEAST_MARKS:
        return _unknown(len(before))
    if stay.sum() >= max(LEAST_MARKS, STILL_SHARE * len(mark.px)) or stay.mean() > MOVED_SHARE:
        return _told(mark, False, before[stay], after[stay], held[stay])
    # the rails lie in one plane, nearly: two views of a plane differ by a homography
    matrix, inlier = cv2.findHomography(before, after, cv2.RANSAC, 2.0, maxIters=2000, confidence=0.999)
    if matrix is None:
        return _unknown(len(before))
    alike = inlier.ravel() > 0
    spread = np.ptp(before[alike], axis=0).max() if alike.any() else 0.0
    enough = alike.sum() >= LEAST_MARKS and alike.mean() >= MOVED_SHARE and spread > 0.3 * np.ptp(mark.px, axis=0).max()
    size = float(abs(np.linalg.det(matrix[:2, :2])))
    if not enough or not 0.6 < size < 1.6:
        return _unknown(int(alike.sum()))
    return _told(mark, True, before[alike], after[alike], held[alike])


def turned_camera(camera: Camera, move: Move) -> Camera:
    """The camera after the move: its pose from the followed marks, its lens as before."""
    pose = cv2.solvePnPRefineLM(
        move.found[0], move.found[1], camera.matrix, camera.distortion,
        np.array(camera.rotation, float).reshape(3, 1), np.array(camera.translation, float).reshape(3, 1),
    )  # fmt: skip
    return replace(
        camera, rotation=np.asarray(pose[0], float).ravel(), translation=np.asarray(pose[1], float).ravel()
    )


def refit(surface: Surface, move: Move, pictures: Sequence[Picture]) -> Surface:
    """The surface after a move, measured anew in pictures (H, W, 3) taken since; half a second's work.

    Raises TableError where the table is not found again: then find it as at the start.
    """
    if not move.moved:
        return surface
    return find_near(pictures, surface, turned_camera(surface.camera, move))


def _ring(table: Table, back_mm: float) -> Array:
    """A rectangle `back_mm` behind the nose lines, dense because a lens bends it."""
    t = np.linspace(0, 1, 40, endpoint=False)
    parts = []
    for side in range(4):
        length = table.width_mm if side % 2 else table.length_mm
        along = -back_mm + t * (length + 2 * back_mm)
        along = along if side < 2 else along[::-1]
        parts.append(places(table, side, along, np.full(len(t), back_mm)))
    return np.concatenate(parts)


def _prepared(picture: Picture) -> tuple[Picture, float]:
    """Small, and in units of what varies near by: a lamp that is switched or a cloud changes little of it."""
    grey = picture if picture.ndim == 2 else np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)
    scale = max(1.0, max(grey.shape) / WORKING_WIDTH_PX)
    if scale > 1:
        size = (round(grey.shape[1] / scale), round(grey.shape[0] / scale))
        grey = np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.uint8)
        scale = picture.shape[1] / grey.shape[1]
    value = grey.astype(np.float32)
    mean = cv2.blur(value, (41, 41))
    variance = cv2.blur(value * value, (41, 41)) - mean * mean
    even = 128 + 42 * (value - mean) / np.sqrt(np.maximum(variance, 0) + 36)
    return np.asarray(np.clip(even, 0, 255), np.uint8), scale


def _followed(mark: Landmarks, grey: Picture) -> tuple[Array, Array, NDArray[np.int64]]:
    """Marks there and back: pixels before and after (M, 2), and which marks they are.

    Followed from where they were, and, if few are found there, from where the whole picture seems to have gone.
    """
    best: tuple[Array, Array, NDArray[np.int64]] = (np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0, np.int64))
    guesses = [np.zeros(2, np.float32)]
    for guess in guesses:
        start = mark.px + guess
        options = {
            "winSize": (21, 21), "maxLevel": 4,
            "criteria": (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 30, 0.01),
        }  # fmt: skip
        there, ok, _ = cv2.calcOpticalFlowPyrLK(
            mark.grey, grey, mark.px, start.copy(), flags=cv2.OPTFLOW_USE_INITIAL_FLOW, **options
        )
        back, ok_back, _ = cv2.calcOpticalFlowPyrLK(
            grey, mark.grey, there, mark.px.copy(), flags=cv2.OPTFLOW_USE_INITIAL_FLOW, **options
        )
        same = (ok.ravel() > 0) & (ok_back.ravel() > 0) & (np.hypot(*(back - mark.px).T) < 0.6)
        same[same] &= _alike(mark.grey, grey, mark.px[same], there[same])
        if same.sum() > len(best[0]):
            best = (mark.px[same].astype(float), there[same].astype(float), np.flatnonzero(same))
        if len(guesses) == 1 and same.sum() < 0.4 * len(mark.px):
            window = cv2.createHanningWindow(mark.grey.shape[::-1], cv2.CV_32F)
            (dx, dy), _ = cv2.phaseCorrelate(mark.grey.astype(np.float32), grey.astype(np.float32), window)
            guesses.append(np.array([dx, dy], np.float32))
    return best


def _alike(one: Picture, other: Picture, at: Array, there: Array) -> NDArray[np.bool_]:
    """Which places look alike in both pictures: correlation of 21 by 21 pixels about them."""
    alike = np.zeros(len(at), bool)
    for i, (a, b) in enumerate(zip(at, there, strict=True)):
        p = cv2.getRectSubPix(one, (21, 21), (float(a[0]), float(a[1]))).astype(np.float32)
        q = cv2.getRectSubPix(other, (21, 21), (float(b[0]), float(b[1]))).astype(np.float32)
        alike[i] = float(cv2.matchTemplate(p, q, cv2.TM_CCOEFF_NORMED)[0, 0]) > 0.6
    return alike


def _told(mark: Landmarks, moved: bool, before: Array, after: Array, held: NDArray[np.int64]) -> Move:
    shift_px = float(np.hypot(*np.median(after - before, axis=0))) * mark.scale
    typical = float(np.median(np.hypot(*(after - before).T))) * mark.scale if moved else shift_px
    matrix = cv2.estimateAffinePartial2D(before, after)[0]
    turn = 0.0 if matrix is None else float(np.degrees(np.arctan2(matrix[1, 0], matrix[0, 0])))
    now = (after + 0.5) * mark.scale - 0.5
    return Move(moved, typical, typical * mark.spacing_mm, turn, len(before), (mark.places_mm[held], now))


def _unknown(marks: int) -> Move:
    return Move(None, None, None, None, marks, (np.zeros((0, 3)), np.zeros((0, 2))))
