"""Footage frames by time, nearest first: goes on decoding while times ascend, seeks only where that is shorter."""

from __future__ import annotations

from collections.abc import Iterator

from lessonkit.errors import FootageError
from lessonkit.footage.reader import Frame, OpenFootage

AHEAD_S = 2.0
"""A frame this far ahead is reached by decoding on; further ones by seeking to a key frame before them."""
_BACK_S = (0.5, 5.0)
"""How far before the wanted time reading starts: beyond any usual gap of a variable rate, else much further."""


class Cursor:
    """A place in one piece of open footage; do not read the footage otherwise while it is in use."""

    def __init__(self, footage: OpenFootage) -> None:
        self._footage = footage
        self._frames: Iterator[Frame] = iter(())
        self._now: Frame | None = None
        self._next: Frame | None = None

    def at(self, t_s: float) -> Frame:
        """The frame whose time is nearest to `t_s`, of two equally near the earlier; beyond the ends, the end's.

        Raises FootageError when no frame can be decoded there.
        """
        now = self._now
        if now is None or t_s < now.t_s - 1e-9 or t_s > now.t_s + AHEAD_S:
            now = self._reopened(t_s)
        while self._next is not None and abs(self._next.t_s - t_s) < abs(now.t_s - t_s) - 1e-9:
            now, self._next = self._next, next(self._frames, None)
        self._now = now
        return now

    def _reopened(self, t_s: float) -> Frame:
        wanted = min(max(0.0, t_s), self._footage.info.duration_s)
        for start in (*(max(0.0, wanted - back) for back in _BACK_S), 0.0):
            self._frames = self._footage.frames(start)
            first = next(self._frames, None)
            if first is not None and (first.t_s <= wanted or start == 0.0):
                self._next = next(self._frames, None)
                return first
        raise FootageError(
            f"No picture of {self._footage.path} can be decoded near {t_s:.1f} s; convert it to MP4."
        )
