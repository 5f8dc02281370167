"""Whether the camera was moved for good while it filmed, when, and how the picture went.

    for bump in find_bumps(footage, footage.spread(26)):
        bump.last_s, bump.first_s, bump.move

Nothing is known of the table yet. Corners of all that the picture shows are followed from one view into the others, in
pictures evened out in brightness; people and balls move some of them, and each elsewhere, the camera moves all alike.
"""

from __future__ import annotations

import itertools
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.footage.reader import Frame, OpenFootage

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

WORKING_PX = 960
LEAST_MOVE = 1.5 / 1920
"""As a share of the picture's longer side: 1.5 pixels of a 1080p picture. What moves less is left alone."""
SWAYS = 4.0
"""A move must be so many times as large as what the view sways by anyhow."""
AROUND = 4
"""So many pictures before and after a move say where the view was and where it went."""
LEAST_ALIKE = 12
SHARE_ALIKE = 0.3
"""So much of what was followed must have gone alike; less tells nothing (somebody before the lens, a dark room)."""
PROBE_S = 0.1
FAR_S = 30.0
"""Pictures that are looked at are no farther apart than this, where there are key frames."""
MOST_KNOWN = 8
CELLS = (10, 6)
PER_CELL = 5


@dataclass(frozen=True, eq=False)
class Bump:
    """One move of the camera that stayed."""

    last_s: float
    """Last picture that shows the old view."""
    first_s: float
    """First picture that shows the new view; pictures between the two are of neither."""
    shift_px: float
    """How far the picture went: the median over it, whole pixels of the footage."""
    move: Array
    """Shape (3, 3): homography from a pixel of the old view to that of the new one."""


@dataclass(frozen=True, eq=False)
class _Seen:
    """One picture's view: None where it could not be told."""

    t_s: float
    move: Array | None
    """From the first picture's working pixels to this one's."""
    at: Array
    """Shape (9, 2): where nine places of the first picture are now."""


def find_bumps(footage: OpenFootage, frames: Sequence[Frame]) -> list[Bump]:
    """Moves of the camera between frames spread over the footage, ascending in time; decodes more only about a move.

    Raises FootageError when the footage is damaged.
    """
    if len(frames) < 2:
        return []
    views = _Views(frames[0])
    seen = [s for f in frames if (s := views.of(f)).move is not None]
    seen = _with_keys(footage, views, seen)
    least = LEAST_MOVE * max(frames[0].size) / views.scale
    bumps = []
    for k in changes([s.at for s in seen], least):
        since, until = seen[max(0, k - AROUND) : k], seen[k : k + AROUND]
        old, new = _middle(since), _middle(until)
        near = max(0.6 * least, 2 * _sway(since, old), 2 * _sway(until, new))
        last_s, first_s = _when(footage, views, (seen[k - 1].t_s, seen[k].t_s), (old, new), near)
        before, after = seen[k - 1].move, seen[k].move
        assert before is not None and after is not None
        whole = np.diag([views.scale, views.scale, 1.0])
        move = whole @ after @ np.linalg.inv(before) @ np.linalg.inv(whole)
        shift = float(np.median(np.hypot(*(new - old).T))) * views.scale
        bumps.append(Bump(last_s, first_s, shift, np.asarray(move / move[2, 2], float)))
    return [b for b in bumps if b.first_s > b.last_s]


def changes(at: Sequence[Array], least: float) -> list[int]:
    """Indices k at which the view, `at` (each (9, 2)), changed for good between k - 1 and k by more than `least`.

    The view before and after is that of several pictures; what comes back is no change.
    """
    found: list[int] = []
    # of few pictures one cannot tell how far the view sways; of all of them, by what it goes from one to the next
    steps = [float(np.median(np.hypot(*(b - a).T))) for a, b in itertools.pairwise(at)]
    usual = SWAYS * 0.7 * float(np.median(steps)) if steps else 0.0
    least = max(least, usual)
    start, k = 0, 1
    while k < len(at):
        if _leap(at, start, k) > least:
            here = max(range(k, min(k + 3, len(at))), key=lambda j: _leap(at, start, j))
            found.append(here)
            start, k = here, here + 1
        else:
            k += 1
    return found


def _leap(at: Sequence[Array], start: int, k: int) -> float:
    """How far the view went at k; 0 where it sways as much anyhow, or is back soon."""
    before, after = np.array(at[max(start, k - AROUND) : k]), np.array(at[k : k + AROUND])
    old, new = np.median(before, 0), np.median(after, 0)
    sway = max(_spread(before, old), _spread(after, new))
    far = float(np.median(np.hypot(*(new - old).T)))
    first = float(np.median(np.hypot(*(after[0] - before[-1]).T)))
    return min(far, first) if far > SWAYS * sway else 0.0


def _spread(views: Array, middle: Array) -> float:
    """The median distance of several views from their middle."""
    return float(np.median(np.median(np.hypot(*np.moveaxis(views - middle, -1, 0)), axis=1)))


def _middle(seen: Sequence[_Seen]) -> Array:
    return np.asarray(np.median([s.at for s in seen], axis=0), float)


def _sway(seen: Sequence[_Seen], middle: Array) -> float:
    return _spread(np.array([s.at for s in seen]), middle)


def _with_keys(footage: OpenFootage, views: _Views, seen: list[_Seen]) -> list[_Seen]:
    """The views, and those of key frames where they lie far apart and near the end, which the others end well before."""
    wanted = _wanted(footage.key_times(), [s.t_s for s in seen])
    more = [f for k in wanted if (f := footage.key_frame(k))]
    also = [s for f in more if (s := views.of(f)).move is not None]
    return sorted([*seen, *also], key=lambda s: s.t_s)


def _wanted(keys: Sequence[float], have: Sequence[float]) -> list[float]:
    """Those of the times `keys` that leave no gap longer than FAR_S, and the last two."""
    wanted = [k for k in keys if have and k > have[-1] + 1.0][-2:]
    last, k = have[0] if have else 0.0, 0
    for key in keys:
        while k < len(have) and have[k] <= key:
            last, k = max(last, have[k]), k + 1
        near = k < len(have) and have[k] - key < 1.0
        if key - last > FAR_S and not near and key not in wanted:
            wanted.append(key)
            last = key
    return sorted(wanted)


def _when(
    footage: OpenFootage,
    views: _Views,
    between: tuple[float, float],
    old_new: tuple[Array, Array],
    near: float,
) -> tuple[float, float]:
    """The last time that shows the old view and the first that shows the new one, to about PROBE_S."""
    lo, hi = between

    def is_old(s: _Seen) -> bool | None:
        off = [float(np.median(np.hypot(*(s.at - v).T))) for v in old_new]
        return None if s.move is None or min(off) > near else off[0] < off[1]

    keys = footage.key_times()
    while inner := [k for k in keys[bisect_right(keys, lo) :] if k < hi]:
        middle = inner[len(inner) // 2]
        frame = footage.key_frame(middle)
        answer = is_old(views.of(frame)) if frame is not None else None
        if answer is None:
            break
        lo, hi = (middle, hi) if answer else (lo, middle)
    for every_s in (PROBE_S, 0.0):
        lo, hi = _narrowed(footage, views, (lo, hi), every_s, is_old)
    return lo, hi


def _narrowed(
    footage: OpenFootage, views: _Views, between: tuple[float, float], every_s: float,
    is_old: Callable[[_Seen], bool | None],
) -> tuple[float, float]:  # fmt: skip
    """The same two times, from pictures so far apart between them."""
    last_s, first_s, due_s = between[0], between[1], between[0]
    for frame in footage.frames(*between, every=every_s == 0.0):
        if frame.t_s < due_s:
            continue
        due_s = frame.t_s + every_s
        answer = is_old(views.of(frame))
        if answer:
            last_s, first_s = frame.t_s, between[1]
        elif answer is False and first_s == between[1]:
            first_s = frame.t_s
    return last_s, first_s


class _Views:
    """The views met so far, each followed back to the first."""

    def __init__(self, first: Frame) -> None:
        self.scale = max(1.0, max(first.size) / WORKING_PX)
        """Pixels of the footage per working pixel."""
        w, h = (s / self.scale for s in first.size)
        x, y = np.meshgrid([0.1 * w, 0.5 * w, 0.9 * w], [0.1 * h, 0.5 * h, 0.9 * h])
        self._nine = np.stack([x.ravel(), y.ravel()], 1)
        grey = prepared(first.luma(), self.scale)
        self._known = [(grey, corners(grey), np.eye(3))]

    def of(self, frame: Frame) -> _Seen:
        """Where the view of a frame is."""
        grey = prepared(frame.luma(), self.scale)
        for k, (known, marks, base) in enumerate(self._known):
            move = followed(known, marks, grey)
            if move is not None:
                self._known.insert(0, self._known.pop(k))
                return self._seen(frame.t_s, move @ base)
        known, _, base = self._known[0]
        move = recognised(known, grey)
        if move is None:
            return _Seen(frame.t_s, None, np.full((9, 2), np.nan))
        self._known = [(grey, corners(grey), move @ base), *self._known[: MOST_KNOWN - 1]]
        return self._seen(frame.t_s, move @ base)

    def _seen(self, t_s: float, move: Array) -> _Seen:
        at = cv2.perspectiveTransform(self._nine[:, None], move)[:, 0]
        return _Seen(t_s, move, np.asarray(at, float))


def prepared(luma: Picture, scale: float) -> Picture:
    """A small picture in units of what varies near by: a lamp that is switched or an exposure changes little of it."""
    grey = np.ascontiguousarray(luma)
    if scale > 1:
        size = (round(grey.shape[1] / scale), round(grey.shape[0] / scale))
        grey = np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.uint8)
    # noise would be evened out into a pattern as strong as any, and followed
    value = cv2.GaussianBlur(grey, (0, 0), 1.5).astype(np.float32)
    mean = cv2.blur(value, (41, 41))
    variance = cv2.blur(value * value, (41, 41)) - mean * mean
    even = 128 + 42 * (value - mean) / cv2.sqrt(np.maximum(variance, 0) + 64)
    return np.asarray(np.clip(even, 0, 255), np.uint8)


def corners(grey: Picture) -> NDArray[np.float32]:
    """Places worth following, shape (N, 2), spread over the whole picture."""
    found = cv2.goodFeaturesToTrack(grey, 700, 0.03, 8)
    if found is None:
        return np.zeros((0, 2), np.float32)
    px = np.asarray(found, np.float32).reshape(-1, 2)
    cell = (px / (np.array(grey.shape[::-1]) / CELLS)).astype(int)
    taken: dict[tuple[int, int], int] = {}
    kept = []
    for p, (a, b) in zip(px, cell, strict=True):
        key = (int(a), int(b))
        taken[key] = taken.get(key, 0) + 1
        if taken[key] <= PER_CELL:
            kept.append(p)
    return np.array(kept, np.float32).reshape(-1, 2)


def followed(known: Picture, marks: NDArray[np.float32], grey: Picture) -> Array | None:
    """How the picture went from `known` to `grey` where it went a little, shape (3, 3); None where too few agree."""
    if len(marks) < LEAST_ALIKE:
        return None
    size = {"winSize": (17, 17), "maxLevel": 2}
    stop = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 20, 0.01)
    there, ok, _ = cv2.calcOpticalFlowPyrLK(known, grey, marks, None, criteria=stop, **size)  # type: ignore[call-overload]
    back, ok_back, _ = cv2.calcOpticalFlowPyrLK(grey, known, there, None, criteria=stop, **size)  # type: ignore[call-overload]
    same = (ok.ravel() > 0) & (ok_back.ravel() > 0) & (np.hypot(*(back - marks).T) < 0.5)
    before, after = marks[same].astype(float), there[same].astype(float)
    if len(before) < max(LEAST_ALIKE, SHARE_ALIKE * len(marks)):
        return None
    matrix, alike = cv2.estimateAffinePartial2D(before, after, ransacReprojThreshold=0.7)
    if matrix is None or alike.sum() < max(LEAST_ALIKE, SHARE_ALIKE * len(marks)):
        return None
    move = np.r_[np.asarray(matrix, float), [[0, 0, 1]]]
    # marks that stay where they were outweigh any that seem to move alike, such as somebody's shirt
    still = int((np.hypot(*(after - before).T) < 0.35).sum())
    if still > 0.6 * int(alike.sum()) and still >= LEAST_ALIKE and _far(move, known) > 0.7:
        return np.eye(3)
    return move if _far(move, known) < 8.0 else None


def _far(move: Array, picture: Picture) -> float:
    """How far the picture's corners go."""
    h, w = picture.shape
    c = np.array([[[0.0, 0.0]], [[w, 0.0]], [[w, h]], [[0.0, h]]])
    return float(np.hypot(*(cv2.perspectiveTransform(c, move) - c)[:, 0].T).max())


def recognised(known: Picture, grey: Picture) -> Array | None:
    """How the picture went from `known` to `grey` however far, shape (3, 3); None where they show too little alike.

    SIFT (Lowe, Int. J. Comput. Vision 60 (2004) 91), each match being clearly better than the next best.
    """
    sift = cv2.SIFT.create(nfeatures=1500)
    a, of_a = sift.detectAndCompute(known, None)
    b, of_b = sift.detectAndCompute(grey, None)
    if of_a is None or of_b is None or len(a) < LEAST_ALIKE or len(b) < LEAST_ALIKE:
        return None
    pairs = cv2.BFMatcher().knnMatch(of_a, of_b, k=2)
    good = [p[0] for p in pairs if len(p) == 2 and p[0].distance < 0.75 * p[1].distance]
    if len(good) < LEAST_ALIKE:
        return None
    before = np.array([a[m.queryIdx].pt for m in good])
    after = np.array([b[m.trainIdx].pt for m in good])
    move, alike = cv2.findHomography(before, after, cv2.RANSAC, 2.0)
    # balls and people that went from one place to another gather in one spot; a view is borne out all over
    if move is None or alike.sum() < max(LEAST_ALIKE, 0.25 * len(good)):
        return None
    spread = np.ptp(before[alike.ravel() > 0], axis=0) / known.shape[::-1]
    return np.asarray(move, float) if spread.min() > 0.35 else None
