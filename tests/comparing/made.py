"""Shots of our own as a camera shows them: simulated, then sampled with noise on places, layouts and times."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lessonkit.model import CUE_BALL, Event, Layout, Pocketed, SeenShot, Strike, Table
from lessonkit.physics.impacts import strike
from lessonkit.physics.laws import DEFAULT, Laws
from lessonkit.physics.simulate import Run, simulate

TABLE = Table("9ft", 2540.0, 1270.0)


@dataclass(frozen=True)
class Noise:
    """Standard deviations of what a camera gets wrong."""

    place_mm: float = 0.7
    strike_s: float = 0.004
    contact_s: float = 0.003


QUIET = Noise(0.0, 0.0, 0.0)


def played(layout: Layout, stroke: Strike, laws: Laws = DEFAULT, table: Table = TABLE) -> Run:
    """The shot as it really goes."""
    x, y = layout[CUE_BALL]
    cue = strike(x, y, stroke.aim_deg, stroke.speed_mps, stroke.tip_up, stroke.tip_left, table.radius_mm)
    return simulate(layout, cue, table, laws)


def filmed(
    layout: Layout,
    stroke: Strike,
    laws: Laws = DEFAULT,
    fps: float = 60.0,
    noise: Noise = Noise(),
    seed: int = 0,
    table: Table = TABLE,
) -> SeenShot:
    """A shot struck at 1 s, as tracked from `fps` pictures a second."""
    run = played(layout, stroke, laws, table)
    rng = np.random.default_rng(seed)
    frames = np.arange(np.ceil(1.0 * fps), np.floor((1.0 + run.end_s) * fps) + 1) / fps
    events = tuple(
        Event(1.0 + h.t_s + rng.normal(0, noise.contact_s), h.kind, h.balls, h.cushion, h.pocket)  # type: ignore[arg-type]
        for h in run.hits
        if not h.jaw
    )
    paths = {}
    for n, pieces in run.pieces.items():
        drop = next((h.t_s for h in run.hits if h.kind == "pocket" and h.balls == (n,)), run.end_s)
        t = frames[(frames >= 1.0 + pieces[0][0]) & (frames <= 1.0 + drop)]
        places = np.array([run.place(n, float(s) - 1.0) for s in t]).reshape(-1, 2)
        paths[n] = np.column_stack([t, places + rng.normal(0, noise.place_mm, places.shape)])
    seen = {n: _shaken(p, rng, noise.place_mm) for n, p in layout.items()}
    late = float(rng.normal(0, noise.strike_s))
    cue_path = np.vstack([[1.0 + late, *seen[CUE_BALL]], paths.pop(CUE_BALL)])
    cue_path = cue_path[np.argsort(cue_path[:, 0], kind="stable")]
    pocketed = tuple(
        Pocketed(h.balls[0], h.pocket, 1.0 + h.t_s) for h in run.hits if h.kind == "pocket" and h.pocket
    )
    after = {n: _shaken(p, rng, noise.place_mm) for n, p in run.rest.items()}
    return SeenShot(
        1, 1.0 + late, 1.0 + run.end_s, seen, after, (), cue_path, paths,
        tuple(sorted(events, key=lambda e: e.t_s)), pocketed, None,
    )  # fmt: skip


def _shaken(p: tuple[float, float], rng: np.random.Generator, mm: float) -> tuple[float, float]:
    return (p[0] + float(rng.normal(0, mm)), p[1] + float(rng.normal(0, mm)))


def _tasks(seed: int, shots: int, balls: int) -> list[tuple[Layout, Strike]]:
    rng = np.random.default_rng(seed)
    made = []
    for _ in range(shots):
        layout: Layout = {}
        while len(layout) < balls:
            p = (float(rng.uniform(60, 2480)), float(rng.uniform(60, 1210)))
            if all(np.hypot(p[0] - q[0], p[1] - q[1]) > 120 for q in layout.values()):
                layout[len(layout)] = p
        x, y = layout[0]
        target = layout[1]
        aim = float(np.degrees(np.arctan2(target[1] - y, target[0] - x)) + rng.uniform(-3, 3))
        speed, up, left = (float(rng.uniform(*span)) for span in ((0.9, 2.8), (-0.35, 0.4), (-0.3, 0.3)))
        made.append((layout, Strike(aim, speed, up, left)))
    return made


def struck(seed: int, shots: int = 6, balls: int = 5) -> list[Strike]:
    """The strokes of a session."""
    return [stroke for _, stroke in _tasks(seed, shots, balls)]


def session(
    laws: Laws, seed: int, shots: int = 6, fps: float = 60.0, noise: Noise = Noise(), balls: int = 5
) -> list[SeenShot]:
    """Random shots on one table."""
    return [
        filmed(layout, stroke, laws, fps, noise, seed=1000 * seed + k)
        for k, (layout, stroke) in enumerate(_tasks(seed, shots, balls))
    ]
