"""Who stands between the camera and the cloth: there, lines on the cloth are not drawn."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from lessonkit.lesson.picture import U8, Box, Cutout, Picture

TINT, LIGHT = 14, 60
"""Levels by which chroma (a sleeve, a hand, a cue) or luma (hair, a dark shirt) differ from the open table; a
shadow on the cloth stays below both."""
CHANGED_LIGHT_SHARE = 0.6
"""Where more than so much of the box differs, the lamp or the camera has changed, and nobody stands in front."""


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
        mask = np.zeros(self._told.shape, np.uint8)
        for now, then, limit in zip(self._small(picture), self._table, (LIGHT, TINT, TINT), strict=True):
            mask |= np.asarray(
                cv2.threshold(cv2.absdiff(now, then), limit, 255, cv2.THRESH_BINARY)[1], np.uint8
            )
        mask &= self._told
        mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)), np.uint8)
        share = cv2.countNonZero(mask) / max(1, mask.size)
        if share == 0 or share > CHANGED_LIGHT_SHARE:
            return None
        # a pixel more, for what is in front is blurred at its rim
        return np.asarray(cv2.blur(cv2.dilate(mask, np.ones((3, 3), np.uint8)), (3, 3)), np.uint8)
