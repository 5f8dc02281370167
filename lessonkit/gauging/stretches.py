"""A ball's way from one contact to the next: slide, roll, rest; fitted to its tracked places."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import CUE_BALL, Cushion, Event, SeenShot, Track
from lessonkit.physics.laws import GRAVITY_MMPS2, Laws

Floats = NDArray[np.float64]
NEAR_S = 0.004
"""Places so near a contact were put there by reckoning, not seen."""
BEFORE_DROP_S = 0.1
"""A ball about to drop no longer lies on the cloth."""
LEAST_POINTS = 9
"""Six numbers are fitted to two coordinates each; fewer places than this leave nothing to judge the fit by."""
LEAST_MM = 40.0
MOST_POINTS = 70
EARLY_S = 0.7
"""What slides does so within this time after a contact; its places are all kept."""
NOISE_MM = 0.3
"""No tracked place is taken to be better than this."""
USUAL_MM = 0.5
SCALES = (1.0, 1.0, 10.0, 10.0, 10.0, 10.0)
"""Usual error of a tracked place, and steps of place (mm), velocity and slip (mm/s) that matter alike."""
BEST_MM = 4.0
"""A stretch that the laws miss by more (root mean square) had a contact in it that was not seen."""


@dataclass(frozen=True, eq=False)
class Stretch:
    """The tracked places of one ball between two of its contacts."""

    ball: int
    start_s: float
    end_s: float
    begin: Event | None
    """The contact with which it starts; None: the strike."""
    end: Event | None
    """The contact with which it ends; None: rest."""
    from_rest: bool
    """Whether the ball lay still before."""
    times_s: Floats
    """From start_s, shape (N,)."""
    places: Floats
    """Shape (N, 2), mm."""
    coming: Floats | None
    """Rough velocity just before start_s, mm/s, shape (2,)."""

    @property
    def cushion_before(self) -> Cushion | None:
        """The cushion that it comes from."""
        return self.begin.cushion if self.begin is not None else None

    @property
    def cushion_after(self) -> Cushion | None:
        """The cushion that it comes to."""
        return self.end.cushion if self.end is not None else None


def stretches(shots: Iterable[SeenShot]) -> Iterator[Stretch]:
    """Every stretch with enough tracked places to fit."""
    for shot in shots:
        yield from _of_ball(shot, CUE_BALL, shot.cue_path)
        for ball, track in sorted(shot.paths.items()):
            yield from _of_ball(shot, ball, track)


def _of_ball(shot: SeenShot, ball: int, track: Track) -> Iterator[Stretch]:
    if len(track) < LEAST_POINTS or not bool(np.all(np.isfinite(track))):
        return
    mine = sorted((e for e in shot.events if ball in e.balls), key=lambda e: e.t_s)
    starts: list[Event | None] = [None, *mine] if ball == CUE_BALL else list(mine)
    ends: list[Event | None] = [*mine, None] if ball == CUE_BALL else [*mine[1:], None]
    for begin, end in zip(starts, ends, strict=True):
        if begin is not None and begin.kind == "pocket":
            continue
        start_s = shot.strike_s if begin is None else begin.t_s
        end_s = shot.rest_s if end is None else end.t_s
        last_s = end_s - BEFORE_DROP_S if end is not None and end.kind == "pocket" else end_s
        inside = (track[:, 0] >= start_s + NEAR_S) & (track[:, 0] <= last_s - NEAR_S)
        part = _thinned(track[inside], start_s)
        if len(part) >= LEAST_POINTS and np.hypot(*(part[-1, 1:] - part[0, 1:])) >= LEAST_MM:
            still = begin is not None and ball != CUE_BALL and begin is mine[0]
            yield Stretch(
                ball, start_s, end_s, begin, end, still, part[:, 0] - start_s, part[:, 1:], _coming(track, start_s)
            )  # fmt: skip


def _coming(track: Track, start_s: float) -> Floats | None:
    """The velocity that the last places before a time show; None for fewer than three."""
    last = track[(track[:, 0] < start_s - NEAR_S) & (track[:, 0] > start_s - 0.15)][-5:]
    return np.asarray(np.polyfit(last[:, 0] - start_s, last[:, 1:], 1)[0]) if len(last) >= 3 else None


def _thinned(part: Track, start_s: float) -> Track:
    """At most MOST_POINTS places, the early ones all kept."""
    if len(part) <= MOST_POINTS:
        return part
    early = int(np.sum(part[:, 0] <= start_s + EARLY_S))
    early = min(early, MOST_POINTS // 2)
    late = np.linspace(early, len(part) - 1, MOST_POINTS - early).round().astype(int)
    return np.asarray(part[np.unique(np.concatenate([np.arange(early), late]))])


@dataclass(frozen=True, eq=False)
class Fitted:
    """The motion that a stretch shows under given laws."""

    stretch: Stretch
    values: Floats
    """Place (mm), velocity and slip (mm/s) at the start, shape (6,); slip is v less what rolling would be."""
    covariance: Floats
    """Of `values`, shape (6, 6)."""
    rms_mm: float
    """Root mean square miss per coordinate."""
    pull: Floats
    """What the misses ask of (mu_slide, mu_roll): gradient, shape (2,), the fitted six allowed for."""
    weight: Floats
    """How strongly they ask: information matrix, shape (2, 2)."""

    def at_end(self, laws: Laws) -> tuple[Floats, Floats]:
        """Velocity and slip at the stretch's end, mm/s."""
        v, u = self.values[2:4], self.values[4:6]
        t = self.stretch.end_s - self.stretch.start_s
        a = laws.mu_slide * GRAVITY_MMPS2
        size = max(float(np.hypot(*u)), 1e-9)
        slides = 2.0 * size / (7.0 * a)
        if t < slides:
            return v - a * t * u / size, u * (1.0 - t / slides)
        rolled = v - 2.0 / 7.0 * u
        fast = float(np.hypot(*rolled))
        left = max(0.0, fast - laws.mu_roll * GRAVITY_MMPS2 * (t - slides))
        return rolled * left / max(fast, 1e-9), np.zeros(2)


def places_at(values: Floats, times_s: Floats, mu_slide: float, mu_roll: float) -> Floats:
    """Where a ball is that slides, rolls and stops (docs/physics.md, "On the cloth"), shape (N, 2), mm.

    values: place, velocity, slip at time 0, shape (6,). Sliding: deceleration mu g along the slip for 2|u| / 7 mu g, then rolling
    with v - (2/7) u.
    """
    p, v, u = values[:2], values[2:4], values[4:6]
    a, ar = mu_slide * GRAVITY_MMPS2, mu_roll * GRAVITY_MMPS2
    size = max(float(np.hypot(*u)), 1e-9)
    slides = 2.0 * size / (7.0 * a)
    t = np.minimum(times_s, slides)[:, None]
    got = p + v * t - 0.5 * a * (u / size) * t * t
    rolled = v - 2.0 / 7.0 * u
    fast = max(float(np.hypot(*rolled)), 1e-9)
    s = np.clip(times_s - slides, 0.0, fast / ar)[:, None]
    return np.asarray(got + rolled * s * (1.0 - 0.5 * ar * s / fast), np.float64)


def fit(stretch: Stretch, laws: Laws) -> Fitted | None:
    """Least squares over place, velocity and slip at the start; None where no motion of this kind fits.

    A ball that lay still and was hit leaves with hardly any spin, so its slip is held near its velocity; a cue ball from
    the tip slips along its way (level cue).
    """
    from scipy.optimize import least_squares

    good = np.ones(len(stretch.times_s), bool)
    starts = _first_guesses(stretch)
    for last in (False, True):
        keep = good

        def miss(x: Floats, keep: NDArray[np.bool_] = keep) -> Floats:
            away = places_at(x, stretch.times_s[keep], laws.mu_slide, laws.mu_roll) - stretch.places[keep]
            return np.concatenate([away.ravel() / USUAL_MM, _held(stretch, x)])

        tried = [least_squares(miss, x, method="lm", x_scale=SCALES, max_nfev=300) for x in starts]
        found = min(tried, key=lambda f: float(f.cost))
        away = places_at(found.x, stretch.times_s, laws.mu_slide, laws.mu_roll) - stretch.places
        rms = max(NOISE_MM, float(np.sqrt(np.mean(away[keep] ** 2))))
        good = np.hypot(*away.T) <= 4.0 * rms
        if last or bool(np.all(good)) or good.sum() < LEAST_POINTS:
            break
        starts = [found.x]
    if rms > BEST_MM or not bool(np.all(np.isfinite(found.x))):
        return None
    return _with_errors(stretch, laws, found.x, found.jac, keep, rms)


def _first_guesses(stretch: Stretch) -> list[Floats]:
    """Places to start from: a slip that has run down to nothing has no slope, so large ones are tried as well."""
    t, xy = stretch.times_s, stretch.places
    k = max(3, min(len(t), int(np.searchsorted(t, t[0] + 0.15))))
    slope, place = np.polyfit(t[:k], xy[:k], 1)
    slips = [slope] if stretch.from_rest else [0.3 * slope]
    if stretch.coming is not None and stretch.begin is not None:
        # the contact turns the ball but leaves it much of its spin
        slips.append(0.6 * (slope - stretch.coming))
    return [np.concatenate([place, slope, slip]) for slip in slips]


def _held(stretch: Stretch, x: Floats) -> Floats:
    """What is known of the slip beforehand, in mm-like weights that cannot drown the places."""
    v, u = x[2:4], x[4:6]
    fast = float(np.hypot(*v)) + 50.0
    if stretch.from_rest:
        return np.asarray((u - v) / (0.12 * fast))
    if stretch.begin is None:
        return np.array([(v[0] * u[1] - v[1] * u[0]) / (0.05 * fast * fast)])
    return np.asarray(u / (4.0 * fast))


def _with_errors(
    stretch: Stretch, laws: Laws, x: Floats, slopes: Floats, keep: NDArray[np.bool_], rms: float
) -> Fitted:
    t, xy = stretch.times_s[keep], stretch.places[keep]
    n = 2 * len(t)
    sigma = rms * np.sqrt(n / max(n - 6, 1))
    # the held rows are in their own errors already; only the places' rows are rescaled to theirs
    J = slopes.copy()
    J[:n] *= USUAL_MM / sigma
    away = (places_at(x, t, laws.mu_slide, laws.mu_roll) - xy).ravel()
    r = np.concatenate([away / sigma, _held(stretch, x)])
    K = np.zeros((len(J), 2))
    for k, step in enumerate(((1e-3, 0.0), (0.0, 1e-5))):
        up = places_at(x, t, laws.mu_slide + step[0], laws.mu_roll + step[1])
        down = places_at(x, t, laws.mu_slide - step[0], laws.mu_roll - step[1])
        K[:n, k] = (up - down).ravel() / (2.0 * sum(step)) / sigma
    covariance = np.asarray(np.linalg.pinv(J.T @ J), np.float64)
    free = K - J @ (covariance @ (J.T @ K))
    return Fitted(stretch, x, covariance, rms, -free.T @ r, free.T @ free)
