"""How well a still table is seen, over many made-up scenes of known truth (`tests/scenes`): camera, size, balls, numbers.

    python benchmarks/measure_stills.py --first 5000 --count 200 --out stills.jsonl
    python benchmarks/measure_stills.py --show stills.jsonl

One line of JSON for each scene, written as it comes, so that a run that is stopped counts as far as it got. Two runs with
other seeds may go side by side. `--show` prints the figures, the calibration of the numbers' confidences, and the worst
scenes. The scenes differ in size, cloth, lamps, lens, angle, noise, blur and layout; nobody stands in front.
"""

from __future__ import annotations

import argparse
import json
import sys
from itertools import pairwise
from pathlib import Path
from typing import Any

import cv2
import numpy as np

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from lessonkit.errors import LessonkitError  # noqa: E402
from lessonkit.model import Camera, Point  # noqa: E402
from lessonkit.seeing.bedview import VIEW_MM_PER_PX, BedView  # noqa: E402
from lessonkit.seeing.calibration import honest  # noqa: E402
from lessonkit.seeing.cloth import bare_table  # noqa: E402
from lessonkit.seeing.identities import name_strings  # noqa: E402
from lessonkit.seeing.parts import Part  # noqa: E402
from lessonkit.seeing.patches import Patcher  # noqa: E402
from lessonkit.seeing.residences import residences  # noqa: E402
from lessonkit.seeing.sampling import Sampler  # noqa: E402
from lessonkit.seeing.watch import _find, _look_closely  # noqa: E402
from lessonkit.table.camera import project, unproject  # noqa: E402
from tests.scenes import make_camera, random_scene  # noqa: E402
from tests.seeing.filming import frame  # noqa: E402

SIZES = ((1280, 720), (960, 540), (1920, 1080))
DIFFICULTIES = ("easy", "middling", "hard")
TIMES_S = (0.0, 0.1, 0.2, 0.3)
NEAR_MM = 28.0
BINS = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.99, 1.001)


def main() -> None:
    """Measure or show."""
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("--first", type=int, default=5000)
    p.add_argument("--count", type=int, default=200)
    p.add_argument("--step", type=int, default=1)
    p.add_argument("--out", type=Path, default=Path("stills.jsonl"))
    p.add_argument("--show", type=Path, nargs="*")
    asked = p.parse_args()
    if asked.show:
        show([json.loads(line) for f in asked.show for line in f.read_text().splitlines()])
        return
    cv2.setNumThreads(1)
    with asked.out.open("a") as out:
        for seed in range(asked.first, asked.first + asked.count, asked.step):
            out.write(json.dumps(measure(seed)) + "\n")
            out.flush()


def measure(seed: int) -> dict[str, Any]:
    """One scene: what was seen of it against what is there."""
    size = SIZES[seed % len(SIZES)]
    difficulty = DIFFICULTIES[(seed // len(SIZES)) % len(DIFFICULTIES)]
    scene = random_scene(np.random.default_rng(seed), difficulty, 1, size=size)
    frames = [frame(scene, t) for t in TIMES_S]
    row: dict[str, Any] = {
        "seed": seed, "difficulty": difficulty, "width": size[0], "table": scene.table.size,
        "tilt_deg": round(scene.view.tilt_deg, 1), "k1": round(scene.view.k1, 2), "balls": len(scene.layout),
    }  # fmt: skip
    true = make_camera(scene.view, scene.table)
    try:
        surface = _find(frames, "auto", _head(true, scene.table.length_mm, scene.table.width_mm), None)
    except LessonkitError as e:
        return row | {"refused": str(e)[:60]}
    row |= {"size_right": surface.table.length_mm == scene.table.length_mm, "size_sure": surface.size_sure}
    row |= {"stated_mm": surface.camera.error_mm, **_camera_error(true, surface.camera, scene.table)}
    bare = bare_table(BedView.of(surface.camera, surface.table, VIEW_MM_PER_PX), frames)
    view = bare.view
    sampler = Sampler(view, bare, Patcher(surface.camera, surface.table))
    found = residences([sampler.sample(f) for f in frames], view)
    resting = _look_closely(found, [Part(0.0, float("inf"), bare)])
    heads = list(range(len(found)))
    cue = {min(heads, key=lambda i: resting.white[i])} if heads else set()
    named = name_strings(heads, resting.looks, [heads], cue)
    balls = [i for i in heads if named.get(i) is not None and named[i].number >= 0]
    places = {i: resting.places[i] for i in balls}
    row |= _against(scene.layout, places, resting.errors_mm)
    # on a table taken for another size all places are out by some percent, and a ball of a rack would be held against
    # its neighbour's number: which ball is meant is told by the share of the table's length at which it lies
    share = scene.table.length_mm / surface.table.length_mm
    return row | _numbers(
        scene.layout, {i: (x * share, y * share) for i, (x, y) in places.items()}, named, surface.size_sure
    )


def _head(camera: Camera, length_mm: float, width_mm: float) -> str:
    """The side of the picture on which the head lies."""
    head, foot = project(camera, [(0.0, width_mm / 2), (length_mm, width_mm / 2)])
    dx, dy = head - foot
    if abs(dx) > abs(dy):
        return "left" if dx < 0 else "right"
    return "top" if dy < 0 else "bottom"


def _camera_error(true: Camera, got: Camera, table: Any) -> dict[str, float]:
    xs, ys = np.linspace(30, table.length_mm - 30, 9), np.linspace(30, table.width_mm - 30, 5)
    grid = np.array([(x, y) for x in xs for y in ys])
    off = np.hypot(*(unproject(got, project(true, grid, table.radius_mm), table.radius_mm) - grid).T)
    return {"camera_mm": round(float(np.median(off)), 3), "camera_worst_mm": round(float(off.max()), 3)}


def _pairs(truth: dict[int, Point], places: dict[int, Point]) -> list[tuple[int, int, float]]:
    """Which thing is which true ball, and how far off it was found, each to at most one."""
    from scipy.optimize import linear_sum_assignment

    numbers, got = list(truth), list(places)
    off = np.array([[np.hypot(*np.subtract(truth[n], places[i])) for i in got] for n in numbers]).reshape(
        len(numbers), len(got)
    )
    rows, columns = linear_sum_assignment(np.minimum(off, 3 * NEAR_MM))
    return [
        (numbers[r], got[c], float(off[r, c]))
        for r, c in zip(rows, columns, strict=True)
        if off[r, c] < NEAR_MM
    ]


def _against(truth: dict[int, Point], places: dict[int, Point], errors: Any) -> dict[str, Any]:
    pairs = _pairs(truth, places)
    return {
        "found": len(pairs), "false": len(places) - len(pairs),
        "missed": sorted(set(truth) - {n for n, _, _ in pairs}),
        "place_mm": [round(d, 2) for _, _, d in pairs],
        "place_error_mm": [errors[i] and round(errors[i], 2) for _, i, _ in pairs],
    }  # fmt: skip


def _numbers(
    truth: dict[int, Point], places: dict[int, Point], named: Any, size_sure: bool
) -> dict[str, Any]:
    pairs = _pairs(truth, places)
    return {
        "right": [named[i].number == n for n, i, _ in pairs],
        "likely": [round(named[i].confidence, 5) for _, i, _ in pairs],
        "confidence": [round(honest(named[i], size_sure).confidence, 4) for _, i, _ in pairs],
        "wrong": [f"{n} as {named[i].number}" for n, i, _ in pairs if named[i].number != n],
    }


def show(rows: list[dict[str, Any]]) -> None:
    """Print the figures of many scenes."""
    seen = [r for r in rows if "refused" not in r]
    sized = [r for r in seen if r["size_right"]]
    print(f"{len(rows)} scenes, {len(rows) - len(seen)} refused, size right in {len(sized)},", end=" ")
    print(f"of those said to be sure {sum(r['size_right'] for r in seen if r['size_sure'])} of {sum(r['size_sure'] for r in seen)}")  # fmt: skip
    for key in ("camera_mm", "camera_worst_mm"):
        _spread(key, [r[key] for r in sized])
    ratio = [r["camera_mm"] / r["stated_mm"] for r in sized if r["stated_mm"]]
    _spread("camera_mm / stated", ratio)
    places = [d for r in sized for d in r["place_mm"]]
    _spread("place_mm (size right)", places)
    ratio = [d / e for r in sized for d, e in zip(r["place_mm"], r["place_error_mm"], strict=True) if e]
    _spread("place_mm / stated", ratio)
    balls = sum(r["balls"] for r in seen)
    found = sum(r["found"] for r in seen)
    false = sum(r["false"] for r in seen)
    print(f"balls {balls}, recall {found / balls:.4f}, precision {found / max(1, found + false):.4f}")
    right = [x for r in seen for x in r["right"]]
    confidence = np.array([x for r in seen for x in r["confidence"]])
    print(f"numbers right {np.mean(right):.4f} of {len(right)}")
    for low, high in pairwise(BINS):
        inside = (confidence >= low) & (confidence < high)
        if inside.any():
            print(f"  said {low:.2f}-{min(high, 1):.2f}: {inside.sum():5d} balls, right {np.array(right)[inside].mean():.3f}")  # fmt: skip
    print("worst:")
    bad = sorted(seen, key=lambda r: -(len(r["missed"]) + r["false"] + len(r["wrong"]) + r["camera_mm"] / 3))
    for r in [*(r for r in rows if "refused" in r), *bad[:12]]:
        print(
            "  ",
            {k: v for k, v in r.items() if k not in ("place_mm", "place_error_mm", "right", "confidence")},
        )


def _spread(label: str, values: list[float]) -> None:
    q = np.percentile(values, [50, 90, 95, 100]) if values else [np.nan] * 4
    print(f"{label}: median {q[0]:.2f}, 90 % {q[1]:.2f}, 95 % {q[2]:.2f}, worst {q[3]:.2f}")


if __name__ == "__main__":
    main()
