"""Captions drawn into the picture itself, for places where a player shows none."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lessonkit.lesson import style
from lessonkit.lesson.caption_places import HIGH_LINE
from lessonkit.lesson.cutlist import Cue, Piece
from lessonkit.lesson.picture import Layer, Overlay, Picture
from lessonkit.lesson.text import balanced, line_height_px, text_mask, top_px, width_px

SIZE = 0.05
"""Size of the letters as a share of the picture's height, as browsers have it for WebVTT (W3C WebVTT, "Rendering": 5vh)."""
UPRIGHT_SIZE = 0.055
"""The same as a share of the width, where two lines are too wide: about 25 letters then fill it (BBC, 3.3)."""
WIDEST = 0.92
LOWEST = 0.96
"""Lower edge of captions at the lower edge, share of the height."""


class Burner:
    """Lays the captions of a lesson over its pictures."""

    def __init__(self, cues: Sequence[Cue], size: tuple[int, int], rate: Fraction) -> None:
        self._cues, self._size, self._rate = tuple(cues), size, rate
        self._first = [round(c.start_s * rate) for c in cues]
        self._end = [round(c.end_s * rate) for c in cues]
        self._overlay = lru_cache(maxsize=2)(self._drawn)

    def words(self, piece: Piece) -> list[tuple[int, int, str, bool]]:
        """What a piece shows: first frame within it, end, text and place of each caption."""
        begin, end = round(piece.start_s * self._rate), round(piece.end_s * self._rate)
        return [
            (a - begin, b - begin, c.text, c.high)
            for a, b, c in zip(self._first, self._end, self._cues, strict=True)
            if a < end and b > begin
        ]

    def over(self, pictures: Iterator[tuple[Picture, int]], frame: int) -> Iterator[tuple[Picture, int]]:
        """Pictures with the frames that each stands, from lesson frame `frame` on, the same with their captions."""
        last: tuple[Picture, int, Picture] | None = None
        for picture, repeat in pictures:
            while repeat > 0:
                cue, until = self._at(frame)
                count = repeat if until is None else min(repeat, until - frame)
                if cue is None:
                    yield picture, count
                else:
                    if last is None or last[0] is not picture or last[1] != cue:
                        last = (picture, cue, picture.copy())
                        last[2].lay(self._overlay(cue))
                    yield last[2], count
                frame += count
                repeat -= count

    def _at(self, frame: int) -> tuple[int | None, int | None]:
        """The caption shown at a frame, and the frame at which that changes (None: never)."""
        k = bisect_right(self._first, frame) - 1
        if k >= 0 and frame < self._end[k]:
            return k, self._end[k]
        return None, self._first[k + 1] if k + 1 < len(self._first) else None

    def _drawn(self, k: int) -> Overlay:
        cue, (width, height) = self._cues[k], self._size
        px = max(10, round(height * SIZE))
        room = round(width * WIDEST)
        lines = cue.text.split("\n")
        widest = max(width_px(line, px, bold=False) for line in lines)
        if widest > room:
            # An upright picture takes three shorter lines (BBC Subtitle Guidelines, 3.1); what is longer is made smaller.
            px = max(8, round(width * UPRIGHT_SIZE))
            shorter = balanced(" ".join(lines), px, room, bold=False)
            lines = shorter if len(shorter) <= 3 else lines
            widest = max(width_px(line, px, bold=False) for line in lines)
            px = px if widest <= room else max(8, px * room // widest)
        pad, step = max(3, px // 3), line_height_px(px, bold=False)
        widths = [width_px(line, px, bold=False) for line in lines]
        w, h = max(widths) + 2 * pad, step * len(lines) + pad
        x0 = (width - w) // 2
        y0 = round(height * HIGH_LINE) if cue.high else round(height * LOWEST) - h
        layer = Layer(width, height)
        layer.fill(_box(x0, y0, w, h), style.PLATE, style.PLATE_ALPHA)
        for i, (line, line_w) in enumerate(zip(lines, widths, strict=True)):
            mask = text_mask(line, px, bold=False)
            y = y0 + pad // 2 + i * step + top_px(line, px, bold=False)
            layer.stamp(mask, (width - line_w) // 2, y, style.WHITE)
        return layer.overlay()


def _box(x: float, y: float, w: float, h: float) -> NDArray[np.float64]:
    return np.array([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], float)
