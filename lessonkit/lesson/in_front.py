"""Who stands between the camera and the cloth: there, lines on the cloth are not drawn."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from lessonkit.lesson.picture import U8, Box, Cutout, Overlay, Picture

TINT, LIGHT = 14, 60
"""Levels by which chroma (a sleeve, a hand, a cue) or luma (hair, a dark shirt) differ from the open table; a
shadow on the cloth stays below both."""
CHANGED_LIGHT_SHARE = 0.6
"""Where more than so much of the box differs, the lamp or the camera has changed, and nobody stands in front."""

SHY_SHARE = 0.04
"""Words fade where so much of their ground is covered: a hand is more, a ball that rolls through is less."""
FADE_S, HOLD_S = 0.4, 0.8


class InFront:
    """Compares frames with the open table, in one box, at half size."""

    def __init__(self, open_table: Picture, box: Box, moved: Sequence[Cutout]) -> None:
        """`moved` are balls of the open table that may have gone since: their places tell nothing."""
        self.box = box
        x0, y0, x1, y1 = (v // 2 for v in box)
        self._half = np.s_[y0:y1, x0:x1]
        self._table = self._small(open_table)
        told = np.full(open_table.u.shape, 255, np.uint8)
        for cutout in moved:
            a, b, c, d = (v // 2 for v in cutout.box)
            told[max(0, b - 1) : d + 1, max(0, a - 1) : c + 1] = 0
        self._told: U8 = told[self._half]

    def _small(self, picture: Picture) -> tuple[U8, U8, U8]:
        x0, y0, x1, y1 = self.box
        luma = cv2.resize(
            picture.y[y0:y1, x0:x1], ((x1 - x0) // 2, (y1 - y0) // 2), interpolation=cv2.INTER_AREA
        )
        return np.asarray(luma, np.uint8), picture.u[self._half].copy(), picture.v[self._half].copy()

    def hidden(self, picture: Picture) -> U8 | None:
        """How much of each pixel of the box, at half size, somebody hides, 0-255; None where nobody is."""
        mask = self._changed(picture)
        share = cv2.countNonZero(mask) / max(1, mask.size)
        if share == 0 or share > CHANGED_LIGHT_SHARE:
            return None
        # a pixel more, for what is in front is blurred at its rim
        return np.asarray(cv2.blur(cv2.dilate(mask, np.ones((3, 3), np.uint8)), (3, 3)), np.uint8)

    def share(self, picture: Picture) -> float:
        """Share of the box, 0-1, that looks unlike the open table."""
        mask = self._changed(picture)
        return cv2.countNonZero(mask) / max(1, mask.size)

    def _changed(self, picture: Picture) -> U8:
        mask = np.zeros(self._told.shape, np.uint8)
        for now, then, limit in zip(self._small(picture), self._table, (LIGHT, TINT, TINT), strict=True):
            mask |= np.asarray(
                cv2.threshold(cv2.absdiff(now, then), limit, 255, cv2.THRESH_BINARY)[1], np.uint8
            )
        mask &= self._told
        return np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)), np.uint8)


class Shy:
    """An overlay in a fixed place that fades out while somebody is beneath it, so that no face is ever written over.

    It changes its mind at most once in FADE_S + HOLD_S, far below three flashes a second (WCAG 2.x, success criterion
    2.3.1).
    """

    def __init__(self, overlay: Overlay, open_table: Picture, moved: Sequence[Cutout]) -> None:
        self.overlay = overlay
        self._in_front = InFront(open_table, overlay.box, moved)
        self._opacity: float | None = None
        self._goal = 1.0
        self._changed_s = self._last_s = -np.inf

    def lay(self, picture: Picture, t_s: float) -> None:
        """Lay it on the picture of time `t_s`; times must ascend."""
        wanted = 0.0 if self._in_front.share(picture) > SHY_SHARE else 1.0
        if self._opacity is None:
            self._opacity = self._goal = wanted
            self._last_s = t_s
        if wanted != self._goal and t_s - self._changed_s >= FADE_S + HOLD_S:
            self._goal, self._changed_s = wanted, t_s
        step = max(0.0, t_s - self._last_s) / FADE_S
        self._last_s = t_s
        self._opacity = min(max(self._goal, self._opacity - step), self._opacity + step)
        if self._opacity > 0:
            picture.lay(self.overlay, opacity=self._opacity)
