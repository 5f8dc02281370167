"""What really happened in a scene, in the form that clips with truth have it (see docs/analysis-format.md for the frame)."""

from __future__ import annotations

from typing import Any

import numpy as np

from lessonkit.model import Layout
from lessonkit.table.camera import project, rotation_matrix
from tests.scenes.layouts import touch_mm
from tests.scenes.lens import Array, make_camera
from tests.scenes.scene import Scene, Shot

HZ = 120.0


def _lay(layout: Layout) -> dict[str, list[float]]:
    return {str(n): [round(x, 2), round(y, 2)] for n, (x, y) in layout.items()}


def _path(path: Array, strike_s: float) -> list[list[float]]:
    t = np.arange(path[0, 0], path[-1, 0] + 1e-9, 1 / HZ)
    if t[-1] < path[-1, 0] - 1e-6:
        t = np.r_[t, path[-1, 0]]
    x, y = np.interp(t, path[:, 0], path[:, 1]), np.interp(t, path[:, 0], path[:, 2])
    return [[round(float(a), 4) for a in row] for row in np.c_[t + strike_s, x, y]]


def shot_truth(index: int, shot: Shot) -> dict[str, Any]:
    """One shot's truth."""
    m = shot.motion
    events = [{**e, "t": round(e["t"] + shot.strike_s, 4)} for e in m.events]
    rails = [e for e in events if e["kind"] == "cushion" and e["balls"] == [0] and not e["jaw"]]
    return {
        "index": index,
        "strike_s": round(shot.strike_s, 4),
        "rest_s": round(shot.rest_s, 4),
        "actual": {"speed_mps": m.speed_mps, "tip_a": 0.0, "tip_b": m.tip_b, "aim_deg": m.aim_deg},
        "layout_before": _lay(m.before),
        "layout_after": _lay(m.after),
        "pocketed": [
            {"number": n, "pocket": d.pocket, "t": round(d.t_s + shot.strike_s, 4)}
            for n, d in m.drops.items()
        ],
        "scratch": 0 in m.drops,
        "cue_path": _path(m.paths[0], shot.strike_s),
        "paths": {str(n): _path(p, shot.strike_s) for n, p in m.paths.items() if n},
        "events": events,
        "first_hit": m.first_hit,
        "contact_fullness": m.fullness,
        "cue_rails": len(rails),
        "cue_rail_names": [e["cushion"] for e in rails],
    }


def _rests(scene: Scene) -> list[dict[str, Any]]:
    """Stretches in which nothing moves, with the layout and the balls' pixels."""
    camera, r = make_camera(scene.view, scene.table), scene.table.radius_mm
    cuts: list[tuple[float, float, Layout]] = []
    now, since = dict(scene.layout), 0.0
    moves: list[tuple[float, float, Layout]] = [(s.strike_s, s.rest_s, s.motion.after) for s in scene.shots]
    for p in sorted(scene.placements, key=lambda p: p.t0_s):
        moves.append((p.t0_s, p.t1_s, {p.ball: p.to}))
    placed = {(p.t0_s, p.t1_s) for p in scene.placements}
    for t0, t1, after in sorted(moves, key=lambda m: m[0]):
        if t0 > since:
            cuts.append((since, t0, now))
        now = {**now, **after} if (t0, t1) in placed else dict(after)
        since = max(since, t1)
    cuts.append((since, scene.duration_s, now))
    out = []
    for t0, t1, lay in cuts:
        px = project(camera, np.array([lay[n] for n in lay], float).reshape(-1, 2), r)
        shown = {str(n): [round(float(a), 2) for a in p] for n, p in zip(lay, px, strict=True)}
        out.append({"t0": round(t0, 4), "t1": round(t1, 4), "layout": _lay(lay), "px": shown})
    return out


def truth(scene: Scene, fps: float = 30.0) -> dict[str, Any]:
    """All of a scene's truth, ready for JSON."""
    camera, table, v = make_camera(scene.view, scene.table), scene.table, scene.view
    L, W = table.length_mm, table.width_mm
    corners = np.array([[0, 0], [L, 0], [L, W], [0, W]], float)
    return {
        "name": scene.name,
        "fps": fps,
        "duration": scene.duration_s,
        "table": {
            "length": L, "width": W, "radius": table.radius_mm, "corner_mouth": table.corner_mouth_mm,
            "side_mouth": table.side_mouth_mm, "nose_height": table.nose_height_mm, "nose_touch": touch_mm(table),
        },
        "camera": {
            "width": v.width, "height": v.height, "K": camera.matrix.tolist(),
            "distortion": camera.distortion.tolist(), "R": rotation_matrix(camera).tolist(),
            "t": np.asarray(camera.translation).tolist(),
            "corners_px": project(camera, corners, 0.0).round(2).tolist(),
            "nose_corners_px": project(camera, corners, table.nose_height_mm).round(2).tolist(),
        },
        "shots": [shot_truth(k, s) for k, s in enumerate(scene.shots)],
        "rests": _rests(scene),
        "interruptions": [
            {"t0": round(p.t0_s, 4), "t1": round(p.t1_s, 4), "ball": p.ball, "to": list(p.to)}
            for p in scene.placements
        ],
        "person": [{"what": a.kind, "t0": round(a.t0_s, 3), "t1": round(a.t1_s, 3)} for a in scene.acts],
        "traits": list(scene.traits),
    }  # fmt: skip
