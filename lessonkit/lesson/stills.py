"""Clean stills: the layout before or after a shot with nobody in front of it.

Where the analysis names a moment at which all lies open, that frame is taken. Otherwise several frames of the rest
are laid over each other and each pixel keeps its middle value, so that somebody who walks through vanishes. What
stays covered throughout the rest is made from the table as the other rests show it, and the balls from this rest
or from a rest next to it in which the same ball lay in the same place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.footage.reader import OpenFootage
from lessonkit.lesson import projected
from lessonkit.lesson.bare_table import bare_table
from lessonkit.lesson.cursor import Cursor
from lessonkit.lesson.drawn_table import DrawnTable
from lessonkit.lesson.picture import Picture, output_size
from lessonkit.lesson.view import View, make_view
from lessonkit.model import Analysis, Layout, SeenShot
from lessonkit.table.camera import project

SAMPLES = 11
"""Frames per rest: odd, so that the middle value is one that was seen."""
BACKGROUND_SAMPLES = 2
"""Frames per rest for the table without balls."""
NEIGHBOURS = (-1, 1, -2, 2)
"""Rests in which a ball is looked for that somebody covers in its own."""
SAME_PLACE_MM = 3.0
WINDOW_S = 10.0
"""Only so much of a rest, from its start, is looked at: the player has not bent down yet, and decoding costs."""
KEPT_MIDDLES = 5
"""Rests whose middle pictures are kept: the present one and its neighbours."""
MAX_RESTS = 12
"""Rests looked at for the table without balls, spread over the footage; bounds memory and time."""
DIFFERENT = 30
"""Levels of luma (a third of it in chroma) by which a person differs from the cloth; noise stays below."""
COVERED_SHARE = 0.002
"""Share of the table covered by somebody from which on the still is made anew; a fifth of an arm."""
FRAME_MM = 200.0
"""Rail and cushion around the surface that are cleared of people too."""

BALL_REACH = 1.6
"""A ball's own shadow and gleam on the cloth reach so many radii."""


@dataclass(frozen=True)
class Rest:
    """A stretch in which nothing moves."""

    start_s: float
    end_s: float
    layout: Layout


def rests(analysis: Analysis) -> list[Rest]:
    """The rests between shots, one before each shot and one after the last."""
    found: list[Rest] = []
    start = 0.0
    for shot in (s.seen for s in analysis.shots):
        found.append(Rest(min(start, shot.strike_s), shot.strike_s, shot.layout_before))
        start = shot.rest_s
    if analysis.shots:
        last = analysis.shots[-1].seen
        found.append(Rest(last.rest_s, max(last.rest_s, analysis.footage.duration_s), last.layout_after))
    return found


class Stills:
    """Takes stills from one open piece of footage; the table without balls is worked out only if it is needed."""

    def __init__(
        self, footage: OpenFootage, analysis: Analysis, cursor: Cursor | None = None, view: View | None = None
    ) -> None:  # fmt: skip
        """`view` of the lesson; None: the footage as it is, at the usual size."""
        self._analysis = analysis
        self._cursor = cursor or Cursor(footage)
        self._view = view or make_view(analysis, output_size(footage.info.width, footage.info.height))
        self.size = self._view.size
        self._camera = self._view.camera
        self._drawn = DrawnTable(self._view, analysis) if self._view.diagram == "alone" else None
        self._rests = rests(analysis)
        self._middles: dict[int, Picture] = {}
        self._bare: tuple[Picture, NDArray[np.bool_]] | None = None

    def before(self, shot: SeenShot) -> Picture:
        """The layout before a shot."""
        if self._drawn is not None:
            return self._drawn.picture(shot.layout_before)
        if shot.clear_before_s is not None:
            return self._frame(shot.clear_before_s)
        return self._clean(self._index(shot), shot.layout_before)

    def after(self, shot: SeenShot) -> Picture:
        """The layout after a shot."""
        if self._drawn is not None:
            return self._drawn.picture(shot.layout_after)
        if shot.clear_after_s is not None:
            return self._frame(shot.clear_after_s)
        return self._clean(self._index(shot) + 1, shot.layout_after)

    def expect(self, shot: SeenShot) -> None:
        """Take the still after this shot, and that before the next, in passing, if the shot's play is read first."""
        if self._drawn is not None:
            return
        k = self._index(shot)
        following = (
            self._analysis.shots[k + 1].seen.clear_before_s if k + 1 < len(self._analysis.shots) else None
        )
        self._cursor.keep(t for t in (shot.clear_after_s, following) if t is not None)

    def first(self) -> Picture:
        """The footage's first frame, or the bare table of the diagram."""
        if self._drawn is not None:
            return self._drawn.picture({})
        return self._frame(0.0)

    def _index(self, shot: SeenShot) -> int:
        return next(
            k for k, s in enumerate(self._analysis.shots) if s.seen is shot or s.seen.number == shot.number
        )

    def _frame(self, t_s: float) -> Picture:
        return self._view.picture(self._cursor.at(t_s))

    def _clean(self, k: int, layout: Layout) -> Picture:
        picture = self._middle(k).copy()
        bare, known = self._table_without_balls()
        covered = self._covered(picture, bare, known, layout)
        if covered.sum() > COVERED_SHARE * self._area(0.0).sum():
            self._rebuild(picture, bare, known, k, layout)
        return picture

    def _rebuild(
        self, picture: Picture, table: Picture, known: NDArray[np.bool_], k: int, layout: Layout
    ) -> None:
        """The bare table everywhere on the table, then each ball on it."""
        shown = picture.copy()
        _mix(picture, table, self._area(FRAME_MM) & known)
        for n in NEIGHBOURS:
            if not 0 <= k + n < len(self._rests):
                continue
            there = self._rests[k + n].layout
            same = {b: p for b, p in layout.items() if b in there and math.dist(p, there[b]) < SAME_PLACE_MM}
            if same:
                self._mend(shown, self._middle(k + n), table, same)
        # around a ball its own shadow is darker than the cloth; what is lighter is a cue or a sleeve
        beside = ~self._ball_mask(layout, 1.12) & (shown.y > table.y.astype(np.int16) + DIFFERENT // 3)
        _mix(picture, shown, self._ball_mask(layout, BALL_REACH) & ~beside)

    def _mend(self, shown: Picture, other: Picture, table: Picture, balls: Layout) -> None:
        """Take a ball from another rest where around it that rest is nearer to the bare table than this one."""
        balls_and_edges = self._ball_mask(balls, 1.15)
        for ball, place in balls.items():
            ring = self._ball_mask({ball: place}, 2.2) & ~balls_and_edges
            own = np.abs(shown.y[ring].astype(int) - table.y[ring]) > DIFFERENT
            theirs = np.abs(other.y[ring].astype(int) - table.y[ring]) > DIFFERENT
            if theirs.mean() < own.mean():
                _mix(shown, other, self._ball_mask({ball: place}, 2.2))

    def _middle(self, k: int) -> Picture:
        """Each pixel's middle value over frames of rest `k`; the last few are kept, as neighbours ask for them."""
        if k in self._middles:
            return self._middles[k]
        frames = [self._frame(t).i420 for t in _times(self._rests[k], SAMPLES)]
        picture = Picture(*self.size)
        # in bands, for a median over whole frames would hold them several times over
        for y in range(0, picture.i420.shape[0], 64):
            picture.i420[y : y + 64] = np.sort(np.stack([f[y : y + 64] for f in frames]), axis=0)[
                len(frames) // 2
            ]
        while len(self._middles) >= KEPT_MIDDLES:
            del self._middles[min(self._middles)]  # shots are asked for in their order
        self._middles[k] = picture
        return picture

    def _table_without_balls(self) -> tuple[Picture, NDArray[np.bool_]]:
        """The bare table and where it is known; worked out once."""
        if self._bare is None:
            step = max(1, -(-len(self._rests) // MAX_RESTS))
            frames: list[Picture] = []
            free: list[NDArray[np.bool_]] = []
            for rest in self._rests[::step]:
                for t in _times(rest, BACKGROUND_SAMPLES):
                    frames.append(self._frame(t))
                    free.append(~self._ball_mask(rest.layout, BALL_REACH))
            self._bare = bare_table(frames, free, self._area(0.0))
        return self._bare

    def _ball_mask(self, layout: Layout, grow: float) -> NDArray[np.bool_]:
        w, h = self.size
        mask = np.zeros((h, w), np.uint8)
        for place in layout.values():
            outline = projected.ball_outline(self._camera, place, self._analysis.table.radius_mm, scale=grow)
            cv2.fillPoly(mask, [np.round(outline).astype(np.int32)], 1)
        return mask > 0

    def _covered(
        self, picture: Picture, bare: Picture, known: NDArray[np.bool_], layout: Layout
    ) -> NDArray[np.bool_]:
        """Where something lies over the cloth that is no ball of the layout, per luma pixel."""
        y, u, v = (np.abs(a.astype(np.int16) - b) for a, b in zip(picture.planes, bare.planes, strict=True))
        off = (u > DIFFERENT // 3) | (v > DIFFERENT // 3)
        apart = (y > DIFFERENT) | np.repeat(np.repeat(off, 2, axis=0), 2, axis=1)
        apart &= self._area(0.0) & known & ~self._ball_mask(layout, BALL_REACH)
        radius = self._analysis.table.radius_mm * projected.px_per_mm(
            self._camera, (self._analysis.table.length_mm / 2, self._analysis.table.width_mm / 2)
        )
        small = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (max(3, round(radius / 3)) | 1,) * 2)
        return np.asarray(cv2.morphologyEx(apart.astype(np.uint8), cv2.MORPH_OPEN, small) > 0)

    def _area(self, around_mm: float) -> NDArray[np.bool_]:
        """The playing surface and so much around it, per luma pixel."""
        L, W, a = self._analysis.table.length_mm, self._analysis.table.width_mm, around_mm
        rim = projected.sampled([(-a, -a), (L + a, -a), (L + a, W + a), (-a, W + a), (-a, -a)], 50.0)
        mask = np.zeros((self.size[1], self.size[0]), np.uint8)
        cv2.fillPoly(mask, [np.round(project(self._camera, rim, 0.0)).astype(np.int32)], 1)
        return mask > 0


def _times(rest: Rest, count: int) -> list[float]:
    """Times spread over a rest's first part, its very ends left out; the strike itself lies at an end."""
    length = min(WINDOW_S, max(0.0, rest.end_s - rest.start_s))
    inset = min(0.15, length / 4)
    times = np.linspace(rest.start_s + inset, rest.start_s + length - inset, count if length > 0.2 else 1)
    return [float(t) for t in times]


def _mix(picture: Picture, other: Picture, where: NDArray[np.bool_]) -> None:
    """Put `other` into the picture where told (per luma pixel), the seam softened inwards and outwards."""
    w, h = picture.width, picture.height
    share = cv2.GaussianBlur(where.astype(np.float32), (9, 9), 0)
    for k, (plane, theirs) in enumerate(zip(picture.planes, other.planes, strict=True)):
        s = share if k == 0 else cv2.resize(share, (w // 2, h // 2), interpolation=cv2.INTER_AREA)
        plane[:] = np.rint(plane + (theirs - plane.astype(np.float32)) * s)
