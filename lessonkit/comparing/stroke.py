"""The stroke that best explains what the tracked cue ball did."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, degrees

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import CUE_BALL, Layout, SeenShot, StrokeEstimate, Table, Track
from lessonkit.physics.impacts import MISCUE_LIMIT, strike
from lessonkit.physics.laws import DEFAULT, Laws
from lessonkit.physics.simulate import simulate

PLACE_MM = 3.0
"""Usual error of a tracked place."""
STRIKE_S = 0.006
"""Usual error of the time of the strike."""
AFTER_S = 0.9
"""So much of the way after the first ball contact is used."""
STEPS = np.array([0.01, 0.01, 0.02, 0.001, 0.02])
"""Steps of the differences: speed m/s, height R, aim deg, strike s, side R."""
LEAST_POINTS = 4
SURE_UP = 0.1
SURE_LEFT = 0.08
SURE_SPEED = 0.08
"""Standard errors (radii; share of the speed) above which a number is not told."""
SURE_UP_LATE = 0.05
GOOD_LATE_MM = 8.0
"""Stricter bounds for a height that only the way after a cushion shows: the cushion's law adds its own error."""
GOOD_FIT_MM = 25.0
"""A way that the best stroke misses by more (root mean square) tells nothing about the tip."""


@dataclass(frozen=True, eq=False)
class Stretch:
    """The part of the cue ball's path that a stroke can be read from."""

    track: Track
    until_s: float
    """From the strike."""
    cushion: bool
    """A cushion is met in it after or before the first ball."""


def estimate_stroke(shot: SeenShot, table: Table, laws: Laws = DEFAULT) -> StrokeEstimate:
    """Speed at the tip and the tip's place, fitted by playing strokes until the simulated cue ball follows the track.

    First the way up to the second contact after the first ball (or AFTER_S) for speed and height, then, if a cushion
    follows with nothing in between, a little of the way after it for the side. Numbers whose standard error (from the
    fit's curvature and residuals) is above the SURE_ bounds are None.
    """
    stretch = _stretch(shot, table)
    if stretch is None or CUE_BALL not in shot.layout_before:
        return StrokeEstimate(None, None, None)
    fit = _Fit(shot, table, laws, stretch)
    values, errors, rms = fit.best(with_side=False)
    if values is None:
        return StrokeEstimate(None, None, None)
    speed = float(values[0]) if errors[0] <= SURE_SPEED * values[0] else None
    up: float | None = float(values[1]) if errors[1] <= SURE_UP and rms <= GOOD_FIT_MM else None
    left: float | None = None
    longer = _stretch(shot, table, past_cushion=True)
    if longer is not None and longer.cushion:
        side, side_errors, side_rms = _Fit(shot, table, laws, longer).best(with_side=True, start=values)
        if side is not None and side_errors[4] <= SURE_LEFT and side_rms <= GOOD_FIT_MM:
            left = float(side[4])
        if side is not None and up is None and side_errors[1] <= SURE_UP_LATE and side_rms <= GOOD_LATE_MM:
            up = float(side[1])
    return StrokeEstimate(
        None if speed is None else round(speed, 3),
        None if up is None else round(up, 3),
        None if left is None else round(left, 3),
    )


def _stretch(shot: SeenShot, table: Table, past_cushion: bool = False) -> Stretch | None:
    """The cue ball's way up to where other things than the stroke begin to shape it; None: too little was seen."""
    mine = [e for e in shot.events if CUE_BALL in e.balls and e.t_s > shot.strike_s]
    end = shot.rest_s
    cushion = False
    seen_ball = False
    for event in mine:
        if event.kind == "ball" and not seen_ball:
            seen_ball = True
            end = min(end, event.t_s + AFTER_S)
        elif event.kind == "cushion" and past_cushion and not cushion:
            cushion = True
            end = max(end, min(event.t_s + 0.5, shot.rest_s))
        elif event.t_s < end:
            end = event.t_s
            break
    track = shot.cue_path
    inside = (
        (track[:, 0] >= shot.strike_s - 1e-3) & (track[:, 0] <= end + 1e-6)
        if len(track)
        else np.zeros(0, bool)
    )
    if int(np.sum(inside)) < LEAST_POINTS:
        return None
    used = track[inside]
    if len(used) > 60:
        used = used[np.linspace(0, len(used) - 1, 60).round().astype(int)]
    return Stretch(used, float(end - shot.strike_s), cushion)


def _near(layout: Layout, track: Track, diameter_mm: float) -> Layout:
    """The balls that can have a part in a stretch of the cue ball's way: near it, or touching one that is."""
    gaps = {n: float(np.min(np.hypot(*(track[:, 1:] - np.array(p)).T))) for n, p in layout.items()}
    near = {n for n, gap in gaps.items() if gap < 2.5 * diameter_mm or n == CUE_BALL}
    for n, p in layout.items():
        if any(np.hypot(p[0] - layout[m][0], p[1] - layout[m][1]) < 1.2 * diameter_mm for m in list(near)):
            near.add(n)
    return {n: p for n, p in layout.items() if n in near}


class _Fit:
    """Least squares over speed (m/s), tip height (R), aim (deg), strike time (s) and, if asked, side (R)."""

    def __init__(self, shot: SeenShot, table: Table, laws: Laws, stretch: Stretch) -> None:
        self.shot, self.table, self.laws, self.stretch = shot, table, laws, stretch
        self.layout = _near(shot.layout_before, stretch.track, table.ball_diameter_mm)
        self.times = stretch.track[:, 0] - shot.strike_s
        self.places = stretch.track[:, 1:]

    def best(
        self, with_side: bool, start: NDArray[np.float64] | None = None
    ) -> tuple[NDArray[np.float64] | None, NDArray[np.float64], float]:
        """Values, their standard errors and the root mean square miss in mm; None: no fit was possible."""
        from scipy.optimize import least_squares

        n = 5 if with_side else 4
        low = np.array([0.05, -MISCUE_LIMIT, -720.0, -0.03, -MISCUE_LIMIT][:n])
        high = np.array([12.0, MISCUE_LIMIT, 720.0, 0.03, MISCUE_LIMIT][:n])
        steps = STEPS[:n]
        best = None
        for up in (0.2, -0.3) if start is None else (float(start[1]),):
            first = self._guess(up) if start is None else np.asarray(start[:4])
            side = self._first_side(first) if with_side else 0.0
            x0 = np.clip(np.concatenate([first, [side]])[:n], low + 1e-6, high - 1e-6)
            fit = least_squares(
                self._residuals,
                x0,
                self._slopes,
                bounds=(low, high),
                x_scale=steps,
                loss="soft_l1",
                max_nfev=25,
            )
            if best is None or fit.cost < best.cost:
                best = fit
        if best is None:
            return None, np.full(n, np.inf), float("inf")
        rms = float(np.sqrt(np.mean(np.sum(self._miss(best.x) ** 2, axis=1))))
        return best.x, self._errors(best.x, rms), rms

    def _guess(self, up: float) -> NDArray[np.float64]:
        """Speed and aim from the first points of the track."""
        contact = next((e.t_s for e in self.shot.events if CUE_BALL in e.balls), self.shot.rest_s)
        free = self.times <= max(contact - self.shot.strike_s, self.times[min(2, len(self.times) - 1)])
        free &= self.times <= 0.4
        x, y = self.shot.layout_before[CUE_BALL]
        far = self.places[free][-1]
        t = max(float(self.times[free][-1]), 1e-3)
        way = float(np.hypot(far[0] - x, far[1] - y))
        speed = (way / t + 0.5 * self.laws.mu_slide * 9810.0 * t * 0.5) / 1000.0
        return np.array([max(speed, 0.1), up, degrees(atan2(far[1] - y, far[0] - x)), 0.0])

    def _first_side(self, values: NDArray[np.float64]) -> float:
        """The side (R) that misses least with all else held: rebounds do not answer to side evenly, so try them all."""
        tries = np.linspace(-0.45, 0.45, 10)
        costs = [np.sum(np.sqrt(1.0 + self._residuals(np.append(values, side)) ** 2)) for side in tries]
        return float(tries[int(np.argmin(costs))])

    def _miss(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Simulated minus tracked places, shape (N, 2), mm."""
        speed, up, aim, late = (float(v) for v in values[:4])
        left = float(values[4]) if len(values) > 4 else 0.0
        x, y = self.shot.layout_before[CUE_BALL]
        cue = strike(x, y, aim, speed, up, left, self.table.radius_mm)
        run = simulate(
            self.shot.layout_before, cue, self.table, self.laws, until_s=self.stretch.until_s + 0.05
        )
        got = np.array([run.place(CUE_BALL, max(0.0, float(t) - late)) for t in self.times])
        return got - self.places

    def _residuals(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        prior = [float(values[3]) / STRIKE_S, float(values[1]) / (2 * MISCUE_LIMIT)]
        return np.concatenate([(self._miss(values) / PLACE_MM).ravel(), prior])

    def _slopes(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Derivatives of the residuals by central differences with steps fit for each number."""
        columns = []
        for k in range(len(values)):
            up, down = values.copy(), values.copy()
            up[k] += STEPS[k]
            down[k] -= STEPS[k]
            columns.append((self._residuals(up) - self._residuals(down)) / (2 * STEPS[k]))
        return np.column_stack(columns)

    def _errors(self, values: NDArray[np.float64], rms: float) -> NDArray[np.float64]:
        """Standard errors from the residuals' slopes at the fit, never better than PLACE_MM a place."""
        slopes = self._slopes(values)
        scale = max(1.0, rms / (PLACE_MM * np.sqrt(2.0)))
        covariance = np.linalg.pinv(slopes.T @ slopes) * scale**2
        return np.asarray(np.sqrt(np.maximum(np.diag(covariance), 0.0)))
