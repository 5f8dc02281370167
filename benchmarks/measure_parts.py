"""What each part of the seeing buys: the same made-up scenes measured with the part and with what would stand in its place.

    python benchmarks/measure_parts.py stills --first 5200 --count 24
    python benchmarks/measure_parts.py motion --first 5300 --count 12

`stills`, under the true camera, so that the error is the part's own: a ball's place by the whole outline through the camera, by the disc
that gathers most votes, by the middle of all pixels that are not cloth; numbers for all balls of a table at once, and
the likeliest number of each ball by itself. `motion`: strike, first contact and fullness from the fitted ways, and from raw
sights (the frame in which a ball is first seen off its place, the last two sights of the cue ball before it, told which ball was met). The whole camera
against a plane homography is `measure_seeing.py plane`. Seeds are those of `tests/scenes`.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from lessonkit.model import CUE_BALL, Point, Track  # noqa: E402
from lessonkit.seeing.bedview import Live  # noqa: E402
from lessonkit.seeing.centres import refine_centre  # noqa: E402
from lessonkit.seeing.cloth import LINEAR  # noqa: E402
from lessonkit.seeing.looks import Lighting, close_look, look, white_point  # noqa: E402
from lessonkit.seeing.moving import Moving  # noqa: E402
from lessonkit.seeing.numbers import assign, costs  # noqa: E402
from lessonkit.seeing.onsets import strike  # noqa: E402
from lessonkit.seeing.report import describe_shot  # noqa: E402
from lessonkit.seeing.sampling import Sampler  # noqa: E402
from lessonkit.seeing.shots import rest_time  # noqa: E402
from lessonkit.seeing.tracking import MOVED_MM, Tracker  # noqa: E402
from tests.scenes import Scene, random_scene  # noqa: E402
from tests.seeing.filming import Filmed, frame, frames  # noqa: E402

SIZE = (1280, 720)
DIFFICULTIES = ("easy", "middling", "hard")
TIMES_S = [0.0, 0.2, 0.4, 0.6]
NEAR_MM = 28.0
FPS = 30
FAR = 0.1
"""A fullness this far off is listed."""


def main() -> None:
    """Measure one of the two."""
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("what", choices=["stills", "motion"])
    p.add_argument("--first", type=int, default=5200)
    p.add_argument("--count", type=int, default=24)
    asked = p.parse_args()
    cv2.setNumThreads(1)
    seeds = range(asked.first, asked.first + asked.count)
    stills(seeds) if asked.what == "stills" else motion(seeds)


def stills(seeds: Sequence[int]) -> None:
    """Places and numbers of balls at rest."""
    off: dict[str, list[float]] = {
        "whole outline": [],
        "disc with most votes": [],
        "middle of what is not cloth": [],
    }
    together, alone = [], []
    for seed in seeds:
        scene = random_scene(np.random.default_rng(seed), DIFFICULTIES[seed % 3], 0, size=SIZE, people=False)
        filmed = Filmed.of(scene, TIMES_S)
        shown = [frame(scene, t) for t in TIMES_S]
        sample = Sampler(filmed.view, filmed.bare, filmed.patcher).sample(shown[0])
        foreign = sample.foreign()
        found = [s.place for s in sample.sightings]
        if not found:
            continue
        near = {
            n: f
            for n, q in scene.layout.items()
            if _away(f := min(found, key=lambda f, q=q: _away(f, q)), q) < NEAR_MM
        }
        places: dict[int, Point] = {}
        closes = {}
        lighting = Lighting(filmed.bare)
        for n, f in near.items():
            patches = [filmed.patcher.patch(x, f) for x in shown]
            places[n], _ = refine_centre(patches, f, filmed.bare, [o for o in found if o != f])
            closes[n] = close_look(patches, places[n], lighting)
            truth = scene.layout[n]
            off["whole outline"].append(_away(places[n], truth))
            off["disc with most votes"].append(_away(f, truth))
            off["middle of what is not cloth"].append(_away(_middle(foreign, f, filmed), truth))
        white = white_point(list(closes.values()))
        table = np.array([costs([look(closes[n], white, len(shown))]) for n in near])
        together += [m.number == n for n, m in zip(near, assign(table), strict=True)]
        alone += [int(row.argmin()) == n for n, row in zip(near, table, strict=True)]
    print(f"{len(seeds)} scenes, {len(together)} balls")
    for name, values in off.items():
        print(f"{name}: {_spread(values)} mm")
    print(
        f"numbers right: all balls of a table at once {np.mean(together):.4f}, each by itself {np.mean(alone):.4f}"
    )


def motion(seeds: Sequence[int]) -> None:
    """Strike, first contact and fullness."""
    off: dict[str, list[float]] = {f"{what}, {how}": [] for what in ("strike (ms)", "first contact (ms)", "fullness") for how in ("fitted", "raw")}  # fmt: skip
    for seed in seeds:
        scene = random_scene(np.random.default_rng(seed), DIFFICULTIES[seed % 3], 1, size=SIZE, people=False)
        if not scene.shots:
            continue
        shot = scene.shots[0]
        hit = next((e for e in shot.motion.events if e["kind"] == "ball" and CUE_BALL in e["balls"]), None)
        balls = _followed(scene)
        cue = balls[CUE_BALL].track()
        if len(cue) < 3 or hit is None:
            continue
        # a frame bears the time at which its exposure begins; on the average it shows half an exposure later
        late_s = scene.look.exposure_s / 2
        others = {n: b.track() for n, b in balls.items() if n != CUE_BALL and len(b.seen) > 2}
        strike_s = strike(cue, list(others.values()), scene.table.ball_diameter_mm)
        off["strike (ms), fitted"].append(1000 * abs(strike_s + late_s - shot.strike_s))
        off["strike (ms), raw"].append(1000 * abs(_first_off(cue) + late_s - shot.strike_s))
        true_s = shot.strike_s + hit["t"]
        seen = _described(scene, balls, strike_s)
        first = next((e for e in seen.events if e.kind == "ball" and CUE_BALL in e.balls), None)
        if first is not None:
            off["first contact (ms), fitted"].append(1000 * abs(first.t_s + late_s - true_s))
        # raw sights are told which ball was met
        met = next(n for n in hit["balls"] if n != CUE_BALL)
        if met in others and (start_s := _first_off(others[met])) < np.inf:
            off["first contact (ms), raw"].append(1000 * abs(start_s + late_s - true_s))
            if shot.motion.fullness is not None:
                raw = _raw_fullness(cue, scene.layout[met], start_s, scene.table.ball_diameter_mm)
                off["fullness, raw"].append(abs(raw - shot.motion.fullness))
        if shot.motion.fullness is not None and seen.fullness is not None:
            off["fullness, fitted"].append(abs(seen.fullness - shot.motion.fullness))
            if off["fullness, fitted"][-1] > FAR:
                print(
                    f"  seed {seed}: fullness {seen.fullness:.2f}, true {shot.motion.fullness:.2f}",
                    flush=True,
                )
    for name, values in off.items():
        print(f"{name}: {len(values)} shots, {_spread(values)}")


def _followed(scene: Scene) -> dict[int, Moving]:
    filmed = Filmed.of(scene, list(np.linspace(0, scene.duration_s, 9)))
    seen = filmed.view.warp_frame(frame(scene, 0.0))
    looks = {}
    for n, p in scene.layout.items():
        x, y = (round(float(a)) for a in filmed.view.to_view([p])[0])
        looks[n] = LINEAR[seen[y - 4 : y + 5, x - 4 : x + 5]].reshape(-1, 3).mean(0).astype(float)
    tracker = Tracker(filmed.view, filmed.bare, scene.layout, looks, 1.0)
    shown = frames(scene, max(0.0, scene.shots[0].strike_s - 0.2), scene.duration_s, FPS)
    tracker.follow((Live(filmed.view, f) for f in shown), CUE_BALL)
    return tracker.balls


def _described(scene: Scene, balls: dict[int, Moving], strike_s: float):  # type: ignore[no-untyped-def]
    names = {n: n for n in balls}
    return describe_shot(
        1, balls, strike_s, rest_time(balls.values(), strike_s), before=scene.layout, after={}, linked={}, numbers=names,
        doubtful=set(), table=scene.table, clear_before_s=None, clear_after_s=None,
    )  # fmt: skip


def _first_off(track: Track) -> float:
    """The time of the first sight off the place of rest."""
    moved = np.hypot(*(track[:, 1:] - track[0, 1:]).T) > MOVED_MM
    return float(track[int(moved.argmax()), 0]) if moved.any() else np.inf


def _raw_fullness(cue: Track, met: Point, start_s: float, diameter_mm: float) -> float:
    """From the last two sights of the cue ball before the other one sets off."""
    before = cue[cue[:, 0] < start_s - 1e-6][-2:, 1:]
    if len(before) < 2 or np.allclose(before[0], before[1]):
        return float("nan")
    way = (before[1] - before[0]) / np.hypot(*(before[1] - before[0]))
    to = np.asarray(met) - before[1]
    return 1.0 - min(1.0, abs(float(way[0] * to[1] - way[1] * to[0])) / diameter_mm)


def _middle(foreign: np.ndarray, place: Point, filmed: Filmed) -> Point:
    """The mean place of all pixels within 1.3 radii of a find that do not show bare table."""
    x, y = filmed.view.to_view([place])[0]
    rows, columns = np.nonzero(foreign)
    near = np.hypot(columns - x, rows - y) < 1.3 * filmed.view.radius_px
    if not near.any():
        return place
    p = filmed.view.to_mm([(columns[near].mean(), rows[near].mean())])[0]
    return float(p[0]), float(p[1])


def _away(a: Point, b: Point) -> float:
    return float(np.hypot(a[0] - b[0], a[1] - b[1]))


def _spread(values: list[float]) -> str:
    """Median, 95th percentile and worst."""
    known = [v for v in values if np.isfinite(v)]
    return " / ".join(f"{np.percentile(known, q):.3g}" for q in (50, 95, 100)) if known else "none"


if __name__ == "__main__":
    main()
