"""Shots simulated per second: a break, ordinary shots, a batch, and the same shots by small steps of the same laws.

Processor seconds of one thread, the least of a few runs. Run from the repository: python benchmarks/bench_physics.py
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from math import hypot, sqrt
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from lessonkit.model import Layout, Table
from lessonkit.physics.impacts import strike
from lessonkit.physics.laws import DEFAULT
from lessonkit.physics.many import simulate_many
from lessonkit.physics.simulate import simulate
from tests.physics.small_steps import small_steps

TABLE = Table("9ft", 2540.0, 1270.0)
R = TABLE.radius_mm
ORDINARY: Layout = {
    0: (600.0, 500.0), 4: (1200.0, 620.0), 5: (1900.0, 300.0), 6: (2100.0, 900.0), 7: (400.0, 1000.0),
    8: (1500.0, 800.0), 9: (1000.0, 300.0), 10: (2300.0, 600.0),
}  # fmt: skip
STROKES = 10_000
STEP_S = 2e-5
FEW = 12
"""Shots that are also played by small steps."""


def rack(gap_mm: float = 0.02) -> Layout:
    """A cue ball and 15 balls with the apex on the foot spot."""
    pitch = TABLE.ball_diameter_mm + gap_mm
    x, y = 0.75 * TABLE.length_mm, 0.5 * TABLE.width_mm
    spots = [
        (x + row * pitch * sqrt(3) / 2, y + (k - row / 2) * pitch) for row in range(5) for k in range(row + 1)
    ]
    return {0: (600.0, 650.0), **{n + 1: p for n, p in enumerate(spots)}}


def cpu_s(work: Callable[[], object], runs: int = 5) -> float:
    """Least processor seconds of a few runs after one that warms up."""
    work()
    costs = []
    for _ in range(runs):
        began = time.process_time()
        work()
        costs.append(time.process_time() - began)
    return min(costs)


def strokes(n: int) -> np.ndarray:
    """Random strokes in all directions, 0.5 to 4 m/s, tip within 0.4 R, shape (n, 4)."""
    return np.random.default_rng(1).uniform([0, 0.5, -0.4, -0.4], [360, 4.0, 0.4, 0.4], (n, 4))


def off_by_mm(a: Layout, b: Layout) -> float:
    """Greatest distance of a ball's two places."""
    return max((hypot(a[n][0] - b[n][0], a[n][1] - b[n][1]) for n in a.keys() & b.keys()), default=0.0)


def main() -> None:
    """Print one line for each piece of work."""
    layout = rack()
    cue = strike(*layout[0], -0.66, 8.0, 0.1, 0.0, R)
    one = cpu_s(lambda: simulate(layout, cue, TABLE), 20)
    print(f"a break into 15 balls at 8 m/s       {1e3 * one:8.2f} ms  {1 / one:9.0f} shots/s")

    given = strokes(STROKES)
    cues = [strike(*ORDINARY[0], *row, R) for row in given[:200].tolist()]
    each = cpu_s(lambda: [simulate(ORDINARY, c, TABLE) for c in cues]) / len(cues)
    print(f"one by one, 8 balls, 0.5 to 4 m/s    {1e3 * each:8.2f} ms  {1 / each:9.0f} shots/s")

    many = cpu_s(lambda: simulate_many(ORDINARY, given, TABLE), 3)
    print(f"{STROKES} in one call               {many:8.2f} s   {STROKES / many:9.0f} shots/s")
    short = cpu_s(lambda: simulate_many(ORDINARY, given, TABLE, to_contact=True), 3)
    print(f"the same to the first ball           {short:8.2f} s   {STROKES / short:9.0f} shots/s")

    few = cues[:FEW]
    exact = cpu_s(lambda: simulate_many(ORDINARY, given[:FEW], TABLE)) / FEW
    slow = cpu_s(lambda: [small_steps(ORDINARY, c, TABLE, DEFAULT, STEP_S) for c in few], 1) / FEW
    runs = [simulate(ORDINARY, c, TABLE) for c in few]
    apart = [
        off_by_mm(r.rest, small_steps(ORDINARY, c, TABLE, DEFAULT, STEP_S))
        for r, c in zip(runs, few, strict=True)
    ]
    calm = [d for d, r in zip(apart, runs, strict=True) if len(r.hits) <= 4]
    print(
        f"by compiled steps of {1e6 * STEP_S:.0f} us           {1e3 * slow:8.2f} ms  {1 / slow:9.0f} shots/s"
    )
    print(f"ratio {slow / exact:.0f}; places differ by {np.median(apart):.2f} mm (median of {FEW}), "
          f"{max(calm, default=0.0):.2f} mm at most up to 4 contacts ({len(calm)} shots)")  # fmt: skip


if __name__ == "__main__":
    main()
