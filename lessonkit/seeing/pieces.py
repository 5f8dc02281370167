"""Pieces of a ball's way: between two contacts it moves on a smooth law, so few points tell a lot.

A piece is fitted by a parabola in time (constant acceleration holds while a ball slides as well as while it rolls).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Track

Floats = NDArray[np.float64]

SIGHT_MM = (0.2, 2.0)
"""Least and greatest error of a sight that is believed; the scale for what a change of velocity is worth."""
OUTLIER_MM = 6.0
"""A sight this far from where its neighbours on both sides put it is a false one."""


@dataclass(frozen=True, eq=False)
class Motion:
    """Where a ball is about a time: place(t) = p + v (t - t0) + a (t - t0)² / 2, millimetres and seconds."""

    t0_s: float
    p: Floats
    v: Floats
    a: Floats

    def place(self, t_s: float) -> Floats:
        """Centre at `t_s`, shape (2,)."""
        d = t_s - self.t0_s
        return np.asarray(self.p + self.v * d + 0.5 * self.a * d * d, float)

    def velocity(self, t_s: float) -> Floats:
        """Millimetres a second at `t_s`, shape (2,)."""
        return np.asarray(self.v + self.a * (t_s - self.t0_s), float)

    @classmethod
    def through(cls, track: Track, t0_s: float) -> Motion | None:
        """The motion through all of a short track, referred to `t0_s`; None for fewer than two points.

        Two or three points give a straight one; four or more a parabola whose bend is held back to what cloth can do
        (sliding friction about 2 m/s²), so that noise over few frames is not taken for curvature.
        """
        if len(track) < 2:
            return None
        d = track[:, 0] - t0_s
        A = np.c_[np.ones(len(d)), d, 0.5 * d * d]
        held = np.array([[0.0, 0.0, HOLD_MM / BEND_MMPS2]])
        rows = np.r_[A, held]
        out = np.empty((3, 2))
        for c in range(2):
            out[:, c] = np.linalg.lstsq(rows, np.r_[track[:, 1 + c], 0.0], rcond=None)[0]
        if len(track) < 4:
            line = np.linalg.lstsq(A[:, :2], track[:, 1:], rcond=None)[0]
            out[:2], out[2] = line, 0.0
        return cls(t0_s, out[0], out[1], out[2])


HOLD_MM = 1.0
"""Typical error of a sight, against which the bend is weighed."""
BEND_MMPS2 = 1500.0
"""Typical acceleration on the cloth, see `Motion.through`."""


def scatter_mm(track: Track) -> float:
    """Typical error of a sight of a ball's track, millimetres, from how much each is off the middle of its neighbours."""
    moving = track[1:]
    if len(moving) < 6:
        return 0.6
    bend = moving[2:, 1:] - 2 * moving[1:-1, 1:] + moving[:-2, 1:]
    # the variance of a second difference is six times a sight's; 0.6745 of a standard error is the median
    return float(np.clip(np.median(np.abs(bend)) / (0.6745 * np.sqrt(6.0)), *SIGHT_MM))


def without_outliers(track: Track) -> Track:
    """The track without single sights that jump away and back."""
    if len(track) < 5:
        return track
    t, xy = track[:, 0], track[:, 1:]
    span = (t[2:] - t[:-2])[:, None]
    share = ((t[1:-1] - t[:-2])[:, None]) / np.where(span > 0, span, 1)
    expected = xy[:-2] * (1 - share) + xy[2:] * share
    off = np.hypot(*(xy[1:-1] - expected).T)
    step = np.hypot(*(xy[2:] - xy[:-2]).T)
    bad = np.zeros(len(track), bool)
    bad[1:-1] = (off > OUTLIER_MM) & (off > 2.0 * step)
    # where a ball turns back, the sight lies on the way there or on the way back
    for i in np.nonzero(bad)[0]:
        for a, b in ((i - 2, i - 1), (i + 2, i + 1)):
            if 0 <= a < len(track) and t[a] != t[b]:
                on = xy[b] + (xy[b] - xy[a]) * (t[i] - t[b]) / (t[b] - t[a])
                bad[i] &= bool(np.hypot(*(xy[i] - on)) > OUTLIER_MM)
    return track[~bad]


def smoothed(track: Track, contacts_s: list[float], reach: int = 4) -> Track:
    """The track with each place put onto the parabola through its neighbours of the same piece.

    For balls that stand out little from the cloth, whose sights scatter; `contacts_s` part the pieces.
    """
    out = track.copy()
    piece = np.searchsorted(np.sort(np.asarray(contacts_s, float)), track[:, 0])
    for i in range(1, len(track) - 1):
        near = np.arange(max(0, i - reach), min(len(track), i + reach + 1))
        near = near[piece[near] == piece[i]]
        if len(near) < 5:
            continue
        d = track[near, 0] - track[i, 0]
        A = np.c_[np.ones(len(d)), d, d * d]
        out[i, 1:] = np.linalg.lstsq(A, track[near, 1:], rcond=None)[0][0]
    return out


def before(track: Track, t_s: float, since_s: float, points: int = 6) -> Track:
    """The last few points of a track before a time and not before another."""
    return track[(track[:, 0] < t_s) & (track[:, 0] >= since_s)][-points:]


def after(track: Track, t_s: float, until_s: float, points: int = 6) -> Track:
    """The first few points of a track after a time and not after another."""
    return track[(track[:, 0] > t_s) & (track[:, 0] <= until_s)][:points]


def place_at(track: Track, t_s: float) -> Floats:
    """Place on a track by interpolation, shape (2,); its ends beyond them."""
    return np.array([np.interp(t_s, track[:, 0], track[:, c]) for c in (1, 2)])
