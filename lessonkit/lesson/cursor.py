"""Footage frames by time, nearest first: goes on decoding while times ascend, seeks only where that is shorter.

Times that will be asked for later can be told ahead, so that their frames are kept when they come by.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from lessonkit.errors import FootageError
from lessonkit.footage.reader import Frame, OpenFootage

AHEAD_S = (1.0, 4.0)
"""A frame this far ahead is reached by decoding on, further ones by seeking: where key frames stand close, and as long
as it is unknown how far apart they are. A seek begins at the key frame before its goal."""
_BACK_S = (0.5, 5.0)
"""How far before the wanted time reading starts: beyond any usual gap of a variable rate, else much further."""


class Cursor:
    """A place in one piece of open footage; do not read the footage otherwise while it is in use."""

    def __init__(self, footage: OpenFootage) -> None:
        self._footage = footage
        self._frames: Iterator[Frame] = iter(())
        self._now: Frame | None = None
        self._next: Frame | None = None
        self._from_s = 0.0
        """Before this, an earlier frame than the present one is nearer, or may be."""
        self._wanted: list[float] = []
        self._kept: dict[float, Frame] = {}
        self._key_s: float | None = None
        self._apart_s = 0.0

    def keep(self, times_s: Iterable[float]) -> None:
        """Remember the frames of these times (few, for each stays in memory) if they are passed on the way to others.

        Replaces what was to be kept before; each is given out by `at` and forgotten at the next call of `keep`.
        """
        wanted = list(times_s)
        self._kept = {t: f for t, f in self._kept.items() if t in wanted}
        self._wanted = sorted(t for t in wanted if t not in self._kept)

    def at(self, t_s: float) -> Frame:
        """The frame whose time is nearest to `t_s`, of two equally near the earlier; beyond the ends, the end's.

        Raises FootageError when no frame can be decoded there.
        """
        if t_s in self._kept:
            return self._kept[t_s]
        now = self._now
        if now is None or t_s < self._from_s or t_s > now.t_s + self._ahead_s(now):
            now = self._reopened(t_s)
        while self._next is not None and _nearer(self._next, now, t_s):
            self._pass(now, self._next)
            self._from_s = (now.t_s + self._next.t_s) / 2 + 1e-9
            now, self._next = self._next, self._read()
        self._now = now
        return now

    def around(self, t_s: float) -> tuple[Frame, Frame]:
        """The frames shown at `t_s` and after it; at the footage's ends the same frame twice.

        Raises FootageError when no frame can be decoded there.
        """
        now = self._now
        if now is None or t_s < now.t_s - 1e-9 or t_s > now.t_s + self._ahead_s(now):
            now = self._reopened(t_s)
        while self._next is not None and self._next.t_s <= t_s + 1e-9:
            self._pass(now, self._next)
            self._from_s = (now.t_s + self._next.t_s) / 2 + 1e-9
            now, self._next = self._next, self._read()
        self._now = now
        return now, (self._next or now)

    def _ahead_s(self, now: Frame) -> float:
        """How far ahead decoding on costs no more than seeking does on average."""
        since = now.t_s - self._key_s if self._key_s is not None else 0.0
        if self._apart_s == 0.0 and since < AHEAD_S[1]:
            return AHEAD_S[1]
        return max(AHEAD_S[0], max(self._apart_s, since) / 2 + _BACK_S[0])

    def _pass(self, now: Frame, following: Frame) -> None:
        """Keep `now` for the times to which it is nearest before it is let go."""
        while self._wanted and not _nearer(following, now, self._wanted[0]):
            t_s = self._wanted.pop(0)
            if t_s >= 2 * now.t_s - following.t_s:  # else it lies before where reading began
                self._kept[t_s] = now

    def _read(self) -> Frame | None:
        frame = next(self._frames, None)
        if frame is not None and frame.raw.key_frame:
            if self._key_s is not None and frame.t_s > self._key_s:
                self._apart_s = max(self._apart_s, frame.t_s - self._key_s)
            self._key_s = frame.t_s
        return frame

    def _reopened(self, t_s: float) -> Frame:
        wanted = min(max(0.0, t_s), self._footage.info.duration_s)
        for start in (*(max(0.0, wanted - back) for back in _BACK_S), 0.0):
            self._frames = self._footage.frames(start)
            self._key_s = None
            first = self._read()
            if first is not None and (first.t_s <= wanted or start == 0.0):
                self._next = self._read()
                self._from_s = first.t_s - 1e-9
                return first
        raise FootageError(
            f"No picture of {self._footage.path} can be decoded near {t_s:.1f} s; convert it to MP4."
        )


def _nearer(a: Frame, b: Frame, t_s: float) -> bool:
    """Whether `a` is nearer in time than `b`; not where both are equally near."""
    return abs(a.t_s - t_s) < abs(b.t_s - t_s) - 1e-9
