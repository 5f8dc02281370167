"""Time of one plan for a note, and of ranking a layout's options, on one core.

python benchmarks/bench_planning.py [--layouts N]

Layouts and calls are drawn at random with a fixed seed; the first plan, which loads the compiled loop, is not counted.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from lessonkit.model import Intent, Landing, Layout, SeenShot, Table
from lessonkit.planning.plan import make_plan
from lessonkit.tactics.openings import openings
from lessonkit.tactics.options import STEADY, rank

TABLE = Table("9ft", 2540.0, 1270.0)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--layouts", type=int, default=20)
    args = parser.parse_args()
    rng = np.random.default_rng(7)
    plans, ranks = [], []
    for k in range(args.layouts + 1):
        balls = int(rng.integers(3, 16))
        layout: Layout = {
            n: (float(rng.uniform(60, 2480)), float(rng.uniform(60, 1210))) for n in range(balls)
        }
        open_to = openings(layout, TABLE, STEADY)
        if not open_to:
            continue
        place = (float(rng.uniform(200, 2340)), float(rng.uniform(200, 1070)))
        stroke = ("draw", "stun", "follow", "force follow")[k % 4]
        intent = Intent(
            ball=open_to[0].ball, pocket=open_to[0].pocket, stroke=stroke, landing=Landing(place, "", True)
        )  # type: ignore[arg-type]
        seen = SeenShot(k, 0.0, 1.0, layout, layout, (), np.zeros((0, 3)), {}, (), (), None)
        first = time.process_time()
        make_plan(seen, TABLE, intent)
        then = time.process_time()
        rank(layout, TABLE)
        if k:
            plans.append(then - first)
            ranks.append(time.process_time() - then)
    for name, took in (("one plan", plans), ("options of a layout", ranks)):
        print(
            f"{name:20s} median {np.median(took):.2f} s, worst {max(took):.2f} s of one core, {len(took)} layouts"
        )


if __name__ == "__main__":
    main()
