"""Where balls lie: random, clustered, frozen, in the jaws, racked. Never overlapping."""

from __future__ import annotations

import numpy as np

from lessonkit.model import Layout, Point, Table
from tests.scenes.bed import cushions, pits

GAP_MM = 0.02
"""Between balls that are said to touch."""


def touch_mm(table: Table) -> float:
    """Distance of a ball's centre from the nose line that it is frozen to."""
    r, h = table.radius_mm, table.nose_height_mm
    return float(np.sqrt(r * r - (h - r) ** 2))


def free(table: Table, layout: Layout, p: Point, room_mm: float = 0.0) -> bool:
    """Whether a ball can lie at p: clear of the others by `room_mm`, of noses, jaws and holes."""
    q = np.array(p)
    if any(
        np.hypot(*(q - np.array(o))) < table.ball_diameter_mm + max(room_mm, GAP_MM / 2)
        for o in layout.values()
    ):
        return False
    t = touch_mm(table) - 1e-6
    if not (-60 < p[0] < table.length_mm + 60 and -60 < p[1] < table.width_mm + 60):
        return False
    if any(np.hypot(*(q - np.array(h.centre))) < h.radius_mm + 2 for h in pits(table)):
        return False
    for c in cushions(table).values():
        for a, b in ((c[0], c[1]), (c[1], c[2]), (c[3], c[0])):
            f = np.clip((q - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
            if np.hypot(*(q - a - f * (b - a))) < t:
                return False
    inside = 0 <= p[0] <= table.length_mm and 0 <= p[1] <= table.width_mm
    return inside or any(np.hypot(*(q - np.array(h.centre))) < h.radius_mm + 40 for h in pits(table))


def _candidate(rng: np.random.Generator, table: Table, layout: Layout, kind: str) -> Point:
    L, W, t = table.length_mm, table.width_mm, touch_mm(table)
    if kind == "frozen":
        side, u = int(rng.integers(0, 4)), rng.uniform(0.06, 0.94)
        return [(u * L, t), (u * L, W - t), (t, u * W), (L - t, u * W)][side]
    if kind == "jaws":
        h = pits(table)[int(rng.integers(0, 6))]
        to = np.array([L / 2, W / 2]) - h.centre
        if h.name.startswith("side"):
            to = np.array([rng.normal(0, 0.2), np.sign(to[1])])
        p = np.array(h.centre) + to / np.hypot(*to) * (h.radius_mm + rng.uniform(3, 25)) + rng.normal(0, 6, 2)
        return float(p[0]), float(p[1])
    if kind == "cluster" and layout:
        o = layout[list(layout)[int(rng.integers(0, len(layout)))]]
        a = rng.uniform(0, 2 * np.pi)
        d = table.ball_diameter_mm + GAP_MM + (rng.uniform(0, 30) if rng.random() < 0.4 else 0.0)
        return float(o[0] + d * np.cos(a)), float(o[1] + d * np.sin(a))
    return float(rng.uniform(t, L - t)), float(rng.uniform(t, W - t))


def random_layout(
    rng: np.random.Generator,
    table: Table,
    balls: int,
    clusters: float = 0.2,
    frozen: float = 0.1,
    jaws: float = 0.07,
) -> Layout:
    """The cue ball and `balls` - 1 others with random numbers; the shares say how many lie how."""
    numbers = [0, *(int(n) for n in rng.permutation(np.arange(1, 16))[: balls - 1])]
    kinds = ["cluster", "frozen", "jaws", "open"]
    odds = np.array([clusters, frozen, jaws, max(0.0, 1 - clusters - frozen - jaws)])
    layout: Layout = {}
    for n in numbers:
        kind = kinds[int(rng.choice(4, p=odds / odds.sum()))] if n else "open"
        for k in range(300):
            p = _candidate(rng, table, layout, kind if k < 60 else "open")
            if free(table, layout, p):
                layout[n] = p
                break
    return layout


def rack(rng: np.random.Generator, table: Table, apex: bool = False) -> Layout:
    """Balls racked tight behind the foot spot; straight pool leaves the apex out, its number is left out too."""
    d = table.ball_diameter_mm + GAP_MM
    x0, y0 = 0.75 * table.length_mm, table.width_mm / 2
    spots = [
        (x0 + row * d * np.sqrt(0.75), y0 + (i - row / 2) * d) for row in range(5) for i in range(row + 1)
    ]
    spots = spots if apex else spots[1:]
    numbers = rng.permutation(np.arange(1, 16))
    return {int(n): (float(x), float(y)) for n, (x, y) in zip(numbers, spots, strict=False)}
