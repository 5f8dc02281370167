"""The part of the tracked ways that a stroke can be read from, and how far simulated strokes lie from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import CUE_BALL, Event, Layout, SeenShot, Table, Track
from lessonkit.physics.laws import Laws
from lessonkit.physics.many import simulate_many

Floats = NDArray[np.float64]
PLACE_MM = 1.0
"""Usual error of a tracked place of the cue ball."""
BLUR = 0.05
"""What a moving ball's place is off by as a share of its way between two pictures: it is smeared, and lit unevenly."""
BALL_MM, BALL_MMPS = 1.5, 60.0
"""The same of another ball, and what each second between pictures adds: its way is smoothed over some pictures."""
AFTER_S = 0.9
"""So much of the cue ball's way after its first ball contact is used."""
BALL_AFTER_S = 0.45
"""And so much of that ball's."""
PAST_CUSHION_S = 0.5
NEAR_S = 0.004
RECKONED_S = 0.0015
TOGETHER_S = 0.05
"""A cushion met so soon after a ball was met together with it: how, hangs on tenths of a millimetre."""
BEFORE_DROP_S = 0.1
MOST_POINTS = 50
MOST_BALL_POINTS = 20
MOST_LATE_POINTS = 16
LEAST_POINTS = 4
FAR_MM = 2000.0
"""How far off a ball counts that the simulation has lost in a pocket."""


@dataclass(frozen=True, eq=False)
class Sights:
    """Tracked places of the cue ball and of the first ball that it met, by seconds from the strike."""

    layout: Layout
    """The balls that can have a part in it."""
    cue_s: Floats
    cue: Floats
    """Shape (N, 2), mm."""
    ball: int | None
    ball_s: Floats
    ball_places: Floats
    """Shape (M, 2), mm; M = 0 where the first ball was not followed."""
    errors_mm: Floats
    """Of the cue ball's places, then of the other's, shape (N + M,)."""
    until_s: float
    since_s: float | None = None
    """When the contact was that comes before the later places; None: there was none."""

    def drift(self, miss: Floats) -> list[Floats]:
        """Columns of misses by which balls that leave a contact a little faster, or a little to the left, than the laws
        have it drift off: of the cue ball, then of the other; per unit share. miss: of one stroke, as of `miss`."""
        columns = []
        n = len(self.cue_s)
        places = np.concatenate([self.cue, self.ball_places])
        played = miss.reshape(-1, 2) * self.errors_mm[:, None] + places
        times = np.concatenate([self.cue_s, self.ball_s])
        for part in (np.arange(len(times)) < n, np.arange(len(times)) >= n):
            after = np.flatnonzero(part & (times >= (self.since_s if self.since_s is not None else np.inf)))
            if len(after) < 2:
                continue
            for turned in (False, True):
                way = np.zeros_like(played)
                way[after] = played[after] - played[after[0]]
                way = way[:, ::-1] * np.array([-1.0, 1.0]) if turned else way
                columns.append((way / self.errors_mm[:, None]).ravel())
        return columns

    def miss(
        self, strokes: Floats, late_s: float, table: Table, laws: Laws, shift: Floats | None = None
    ) -> Floats:
        """Simulated less tracked places in errors, shape (strokes, 2 (N + M)).

        strokes: shape (S, 4 or 5) as of `simulate_many`. late_s: how much later than seen the strike was. shift: of the
        first ball, mm, shape (2,).
        """
        layout = self.layout
        if shift is not None and self.ball is not None:
            x, y = layout[self.ball]
            layout = {**layout, self.ball: (x + float(shift[0]), y + float(shift[1]))}
        of = [CUE_BALL] + ([self.ball] if self.ball is not None else [])
        times = np.concatenate([self.cue_s, self.ball_s]) - late_s
        order = np.argsort(times, kind="stable")
        many = simulate_many(
            layout, strokes, table, laws, until_s=self.until_s + 0.1, times_s=np.maximum(times[order], 0.0), of=of
        )  # fmt: skip
        back = np.empty_like(order)
        back[order] = np.arange(len(order))
        got = many.samples[:, back]
        n = len(self.cue_s)
        away = np.concatenate([got[:, :n, 0] - self.cue, got[:, n:, -1] - self.ball_places], axis=1)
        away = np.nan_to_num(np.clip(away, -FAR_MM, FAR_MM), nan=FAR_MM)
        return np.asarray((away / self.errors_mm[:, None]).reshape(len(strokes), -1))


def usable(shot: SeenShot) -> bool:
    """Whether a shot's track and layout are numbers that a stroke can be looked for in."""
    track = shot.cue_path
    if (
        CUE_BALL not in shot.layout_before
        or len(track) < LEAST_POINTS
        or track.ndim != 2
        or track.shape[1] != 3
    ):
        return False
    places = np.array(list(shot.layout_before.values()), float)
    return bool(np.all(np.isfinite(track)) and np.all(np.isfinite(places)) and np.all(np.abs(places) < 1e4))


def _mine(shot: SeenShot) -> list[Event]:
    return sorted(
        (e for e in shot.events if CUE_BALL in e.balls and e.t_s > shot.strike_s), key=lambda e: e.t_s
    )


def _other(event: Event) -> int | None:
    return next((b for b in event.balls if b != CUE_BALL), None)


def first_sights(shot: SeenShot, table: Table) -> Sights | None:
    """The cue ball's way up to its second contact (at most AFTER_S after its first ball), and the first ball's; None: too
    little was seen."""
    end = shot.rest_s
    met: Event | None = None
    for event in _mine(shot):
        if event.kind == "ball" and met is None:
            met = event
            end = min(end, event.t_s + AFTER_S)
        elif event.t_s < end:
            end = event.t_s
            break
    track = _between(_seen(shot.cue_path, shot), shot.strike_s - NEAR_S, end, MOST_POINTS)
    if len(track) < LEAST_POINTS:
        return None
    ball = _other(met) if met is not None else None
    if ball not in shot.layout_before:
        ball = None
    way = _way_of(shot, ball, met.t_s) if ball is not None and met is not None else np.zeros((0, 3))
    return _sights(shot, table, track, ball, way, end, met)


def late_sights(shot: SeenShot, table: Table) -> Sights | None:
    """The cue ball's way for a little after its first cushion, if at most one ball was met before it."""
    balls = 0
    mine = _mine(shot)
    for k, event in enumerate(mine):
        balls += event.kind == "ball"
        if event.kind == "pocket" or balls > 1:
            return None
        if event.kind == "cushion":
            if k and event.t_s - mine[k - 1].t_s < TOGETHER_S:
                return None
            end = min(event.t_s + PAST_CUSHION_S, shot.rest_s, *(e.t_s for e in mine[k + 1 : k + 2]))
            track = _between(_seen(shot.cue_path, shot), event.t_s + NEAR_S, end, MOST_LATE_POINTS)
            if len(track) < LEAST_POINTS:
                return None
            return _sights(shot, table, track, None, np.zeros((0, 3)), end, event)
    return None


def _way_of(shot: SeenShot, ball: int, met_s: float) -> Track:
    """The first ball's places between the contact and its own next one."""
    track = shot.paths.get(ball, np.zeros((0, 3)))
    if track.ndim != 2 or not bool(np.all(np.isfinite(track))):
        return np.zeros((0, 3))
    later = [
        e.t_s - (BEFORE_DROP_S if e.kind == "pocket" else 0.0)
        for e in shot.events
        if ball in e.balls and e.t_s > met_s + 1e-6
    ]
    return _between(
        _seen(track, shot), met_s + NEAR_S, min([met_s + BALL_AFTER_S, *later]) - NEAR_S, MOST_BALL_POINTS
    )


def _seen(track: Track, shot: SeenShot) -> Track:
    """A track without the places at its contacts, which are reckoned from those about them."""
    times = np.array([e.t_s for e in shot.events])
    if len(times) == 0 or len(track) == 0:
        return track
    return np.asarray(track[np.min(np.abs(track[:, :1] - times[None, :]), axis=1) > RECKONED_S])


def _between(track: Track, start_s: float, end_s: float, most: int) -> Track:
    part = track[(track[:, 0] >= start_s) & (track[:, 0] <= end_s + 1e-6)]
    if len(part) > most:
        part = part[np.linspace(0, len(part) - 1, most).round().astype(int)]
    return part


def _sights(
    shot: SeenShot, table: Table, cue: Track, ball: int | None, way: Track, end_s: float, since: Event | None
) -> Sights:
    upto = shot.cue_path[shot.cue_path[:, 0] <= end_s + 1e-6]
    layout = _near(shot.layout_before, upto, table.ball_diameter_mm)
    if ball is not None:
        layout[ball] = shot.layout_before[ball]
    step = float(np.median(np.diff(way[:, 0]))) if len(way) > 1 else 0.0
    errors = np.concatenate(
        [
            _blurred_mm(cue, shot.cue_path),
            np.full(len(way), BALL_MM + BALL_MMPS * step + 3.0 * _unevenness(way)),
        ]
    )
    last = max(float(cue[-1, 0]), float(way[-1, 0]) if len(way) else 0.0)
    return Sights(
        layout, cue[:, 0] - shot.strike_s, cue[:, 1:], ball, way[:, 0] - shot.strike_s, way[:, 1:], errors,
        last - shot.strike_s, None if since is None else since.t_s - shot.strike_s,
    )  # fmt: skip


def _blurred_mm(cue: Track, track: Track) -> Floats:
    """Usual error of each of the cue ball's places, shape (N,)."""
    if len(cue) < 2:
        return np.full(len(cue), PLACE_MM)
    gaps = np.maximum(np.diff(cue[:, 0]), 1e-4)
    speeds = np.hypot(*np.diff(cue[:, 1:], axis=0).T) / gaps
    speed = np.maximum(np.append(speeds, speeds[-1]), np.append(speeds[0], speeds))
    step = float(np.clip(np.median(np.diff(track[:, 0])), 1e-3, 0.1))
    return np.asarray(PLACE_MM + BLUR * step * np.minimum(speed, 1e4))


def _unevenness(way: Track) -> float:
    """How far a ball's places lie from one smooth curve, root mean square, mm: a way badly followed shows in it."""
    if len(way) < 5:
        return 0.0
    d = (way[:, 0] - way[0, 0]) / max(float(way[-1, 0] - way[0, 0]), 1e-6)
    A = np.vander(d, 4)
    left = way[:, 1:] - A @ np.linalg.lstsq(A, way[:, 1:], rcond=None)[0]
    return float(np.sqrt(np.mean(left**2)))


def _near(layout: Layout, track: Track, diameter_mm: float) -> Layout:
    """The balls that can have a part in a stretch of the cue ball's way: near it, or touching one that is."""
    gaps = {n: float(np.min(np.hypot(*(track[:, 1:] - np.array(p)).T))) for n, p in layout.items()}
    near = {n for n, gap in gaps.items() if gap < 2.5 * diameter_mm or n == CUE_BALL}
    for n, p in layout.items():
        if any(np.hypot(p[0] - layout[m][0], p[1] - layout[m][1]) < 1.2 * diameter_mm for m in list(near)):
            near.add(n)
    return {n: p for n, p in layout.items() if n in near}
