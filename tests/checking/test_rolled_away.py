"""A check just after a break: what has rolled away is not ringed where it lay."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from lessonkit.checking.check import check
from tests.scenes import random_scene, write_clip


def test_no_ring_is_drawn_where_a_ball_lay(tmp_path: Path) -> None:
    """Two seconds into a break every ring has a ball in it, and no two overlap."""
    scene = random_scene(np.random.default_rng(301), "easy", 1, size=(1280, 720), people=False, racked=True)
    path = tmp_path / "break.mp4"
    write_clip(replace(scene, duration_s=scene.shots[0].strike_s + 3.5), path, sound=False)
    at_s = scene.shots[0].strike_s + 2.0
    balls = check(path, at_s=at_s, size=scene.table.size).report.balls
    motion = scene.shots[0].motion
    u = at_s - scene.shots[0].strike_s
    true = [p for n, p in motion.before.items() if n not in motion.paths]
    true += [
        (float(np.interp(u, path[:, 0], path[:, 1])), float(np.interp(u, path[:, 0], path[:, 2])))
        for n, path in motion.paths.items()
        if n not in motion.drops or motion.drops[n].t_s > u
    ]
    far = [min(np.hypot(*np.subtract(b.place, t)) for t in true) for b in balls]
    assert len(balls) >= 0.8 * len(true)
    assert max(far) < 60
    apart = [np.hypot(*np.subtract(a.place, b.place)) for k, a in enumerate(balls) for b in balls[:k]]
    assert min(apart) > 0.85 * scene.table.ball_diameter_mm
