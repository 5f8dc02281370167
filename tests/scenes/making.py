"""Scenes made up by chance, all through one random generator."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from lessonkit.model import Layout, Point, Table
from tests.scenes.layouts import free, rack, random_layout
from tests.scenes.lens import View
from tests.scenes.look import BALLS, CLOTHS, FLOORS, WOODS, Lamp, Look, Rgb
from tests.scenes.motion import Motion, simulate
from tests.scenes.people import Act
from tests.scenes.scene import Placement, Scene, Shot

Difficulty = Literal["easy", "middling", "hard"]
TABLES: dict[str, Table] = {
    "9ft": Table("9ft", 2540.0, 1270.0),
    "8ft": Table("8ft", 2235.2, 1117.6),
    "oversized 8ft": Table("2337x1168", 2336.8, 1168.4),
    "7ft": Table("7ft", 1981.2, 990.6),
    "7ft bar": Table("1930x965", 1930.4, 965.2),
}
"""Nose to nose; sizes of 7 and 8 ft beds as commonly sold (common practice, no source)."""
SHIRTS: list[Rgb] = [
    (56, 70, 112),
    (214, 214, 210),
    (196, 58, 50),
    (30, 30, 34),
    (40, 110, 70),
    (180, 150, 60),
    (26, 112, 206),
]
SKINS: list[Rgb] = [(226, 186, 160), (198, 148, 116), (128, 86, 62), (78, 54, 42)]
HAIRS: list[Rgb] = [(54, 38, 30), (24, 22, 22), (150, 120, 80), (150, 148, 146)]


@dataclass(frozen=True)
class Strength:
    """How far a difficulty goes."""

    tilt: float
    k1: tuple[float, float]
    noise: tuple[float, float]
    blur: tuple[float, float]
    bright: tuple[float, float]
    uneven: float
    glare: float
    odd_size: float
    cropped: float
    turned: float
    unsteady: float
    """Of brightness and mount, 0..1."""


STRENGTHS: dict[Difficulty, Strength] = {
    "easy": Strength(6, (-0.08, 0.0), (1, 2.5), (0.4, 0.7), (0.95, 1.2), 0.2, 0.0, 0.3, 0.0, 0.2, 0.0),
    "middling": Strength(16, (-0.16, 0.03), (1, 5), (0.4, 1.0), (0.8, 1.35), 0.4, 0.2, 0.6, 0.1, 0.4, 0.3),
    "hard": Strength(35, (-0.3, 0.05), (2, 9), (0.5, 1.6), (0.55, 1.45), 0.6, 0.5, 0.7, 0.25, 0.5, 1.0),
}
SIZES = [(1280, 720), (1920, 1080), (2560, 1440), (3840, 2160)]


def _pick(rng: np.random.Generator, of: list[Rgb]) -> Rgb:
    return of[int(rng.integers(0, len(of)))]


def _near(rng: np.random.Generator, rgb: Rgb, spread: float) -> Rgb:
    a = np.clip(np.array(rgb) * rng.uniform(1 - spread, 1 + spread) + rng.normal(0, 60 * spread, 3), 8, 245)
    return float(a[0]), float(a[1]), float(a[2])


def random_view(rng: np.random.Generator, s: Strength, size: tuple[int, int], table: Table) -> View:
    """A camera as a club would hang it."""
    cropped = rng.random() < s.cropped
    tilt = abs(rng.normal(0, s.tilt / 2)) if s.tilt < 20 else rng.uniform(0, s.tilt)
    roll = (180.0 if rng.random() < s.turned / 2 else 0.0) + rng.normal(0, 1.5)
    k1 = float(rng.uniform(*s.k1))
    return View(
        *size, distance_mm=float(rng.uniform(2500, 3600)) * table.length_mm / 2540 + 200,
        tilt_deg=float(min(tilt, s.tilt)), from_deg=float(rng.choice([270, 90, 0, 180]) + rng.normal(0, 12)),
        roll_deg=float(roll), fill=float(rng.uniform(1.0, 1.06) if cropped else rng.uniform(0.78, 0.95)),
        k1=k1, k2=-0.15 * k1, p1=float(rng.normal(0, 2e-4)), p2=float(rng.normal(0, 2e-4)),
    )  # fmt: skip


def random_lamps(rng: np.random.Generator) -> tuple[Lamp, ...]:
    """One long lamp, a row of three, tubes, or a lamp aside with a window."""
    z = float(rng.uniform(1400, 2200))
    kind = int(rng.integers(0, 4))
    if kind == 0:
        return (Lamp(0.5, 0.5, float(rng.uniform(300, 700)), float(rng.uniform(60, 140)), z),)
    if kind == 1:
        return tuple(Lamp(x, 0.5, 130, 130, z, 0.8) for x in (0.25, 0.5, 0.75))
    if kind == 2:
        return tuple(Lamp(0.5, y, 600, 50, z + 400, 0.8) for y in (0.2, 0.8))
    return (
        Lamp(float(rng.uniform(0.1, 0.9)), 0.5, 250, 250, z),
        Lamp(1.6, float(rng.uniform(-1, 2)), 500, 300, z, 0.5),
    )


def random_look(rng: np.random.Generator, s: Strength) -> Look:
    """Colours, light and picture quality."""
    cloth = CLOTHS[str(rng.choice(list(CLOTHS)))]
    floor = str(rng.choice(list(FLOORS)))
    warm = float(rng.normal(0, 0.06))
    # a camera opens up for a dark cloth and closes for a bright one
    exposure = float(np.clip((95 / np.mean(cloth)) ** 0.4, 0.85, 1.45))
    return Look(
        cloth=_near(rng, cloth, 0.12), wood=_near(rng, WOODS[str(rng.choice(list(WOODS)))], 0.1), floor=FLOORS[floor],
        floor_kind="plank" if "plank" in floor else "tile" if floor == "tile" else "carpet",
        sights=str(rng.choice(["diamond", "dot"])), head_string=bool(rng.random() < 0.5),
        foot_spot=bool(rng.random() < 0.8), cloth_noise=float(rng.uniform(0.02, 0.06)), marks=int(rng.integers(0, 60)), wear=float(rng.uniform(0, 2)),
        chalks=int(rng.integers(0, 4)), lamps=random_lamps(rng), unevenness=float(rng.uniform(0.05, s.uneven)),
        glare=float(rng.uniform(0, s.glare)), vignette=float(rng.uniform(0, 0.25)),
        brightness=exposure * float(rng.uniform(*s.bright)), white_balance=(1 + warm, 1.0, 1 - warm),
        contrast=float(rng.uniform(0.9, 1.15)), noise=float(rng.uniform(*s.noise)), blur_px=float(rng.uniform(*s.blur)),
        exposure_s=float(rng.choice([1 / 60, 1 / 120, 1 / 250])), rim_mm=float(rng.uniform(6, 22)),
        flicker=float(s.unsteady * rng.uniform(0, 0.02)), drift=float(s.unsteady * rng.uniform(0, 0.05)),
        shake_px=float(s.unsteady * rng.uniform(0, 0.5) * (rng.random() < 0.4)),
        rim_rgb=_pick(rng, [(62, 60, 64), (30, 28, 28), (120, 96, 60), (150, 150, 152)]),
        ball_rgb={n: _near(rng, c, 0.05) for n, c in BALLS.items()}, band=float(rng.uniform(0.42, 0.56)),
        disc=float(rng.uniform(0.28, 0.42)), cue_dots=bool(rng.random() < 0.5), grain_seed=int(rng.integers(0, 2**31)),
    )  # fmt: skip


def random_table(rng: np.random.Generator, odd: float) -> Table:
    """Nine feet, or with chance `odd` another size with mouths a little off."""
    if rng.random() >= odd:
        return TABLES["9ft"]
    t = list(TABLES.values())[int(rng.integers(0, len(TABLES)))]
    return replace(
        t, corner_mouth_mm=float(rng.uniform(110, 124)), side_mouth_mm=float(rng.uniform(122, 136))
    )


def _clear(layout: Layout, a: Point, b: Point, table: Table, but: set[int]) -> bool:
    p, d = np.array(a), np.array(b) - np.array(a)
    length = float(np.hypot(*d))
    for n, o in layout.items():
        if n in but or length < 1:
            continue
        u = float(np.clip((np.array(o) - p) @ d / length**2, 0, 1))
        if np.hypot(*(p + u * d - np.array(o))) < table.ball_diameter_mm * 1.02:
            return False
    return True


def choose_aim(rng: np.random.Generator, table: Table, layout: Layout, error_deg: float = 0.6) -> float:
    """Aim, degrees, at a ball that can be made; at any ball if none can."""
    cb = layout[0]
    best, cost = None, 1e9
    for n in layout:
        if n == 0:
            continue
        o = np.array(layout[n])
        for pocket in table.pockets.values():
            to = np.array(pocket) - o
            reach = float(np.hypot(*to))
            ghost = o - to / max(reach, 1.0) * table.ball_diameter_mm
            way = ghost - np.array(cb)
            far = float(np.hypot(*way))
            cut = float(way @ to) / max(far * reach, 1e-6)
            g = (float(ghost[0]), float(ghost[1]))
            if (
                cut < 0.35
                or not _clear(layout, cb, g, table, {0, n})
                or not _clear(layout, layout[n], pocket, table, {0, n})
            ):
                continue
            c = (far + reach) / cut * rng.uniform(0.7, 1.3)
            if c < cost:
                best, cost = way, c
    if best is None:
        others = [n for n in layout if n]
        best = (
            np.array(layout[others[int(rng.integers(0, len(others)))]]) - cb
            if others
            else np.array([1.0, 0.3])
        )
    return float(np.degrees(np.arctan2(best[1], best[0])) % 360 + rng.normal(0, error_deg))


def _person(rng: np.random.Generator) -> Act:
    return Act(
        "player", 0, 0, (0, 0), shirt=_pick(rng, SHIRTS), skin=_pick(rng, SKINS), hair=_pick(rng, HAIRS),
        trousers=_near(rng, (40, 42, 52), 0.2), long_sleeves=bool(rng.random() < 0.4),
        left_handed=bool(rng.random() < 0.15), stroke_s=float(rng.uniform(0.7, 1.2)),
    )  # fmt: skip


def _walk(rng: np.random.Generator, who: Act, table: Table, t0: float, t1: float) -> Act:
    y = -float(rng.uniform(420, 700)) if rng.random() < 0.5 else table.width_mm + float(rng.uniform(420, 700))
    a, b = (-900.0, y), (table.length_mm + 900.0, y)
    return replace(
        who, kind="walk", t0_s=t0, t1_s=t1, at=a if rng.random() < 0.5 else b, to=b if y > 0 else a
    )


def _spot(rng: np.random.Generator, table: Table, layout: Layout) -> Point:
    for _ in range(500):
        p = (float(rng.uniform(60, table.length_mm / 4)), float(rng.uniform(60, table.width_mm - 60)))
        if free(table, layout, p, 40):
            return p
    raise ValueError("no room for the cue ball in the kitchen")


@dataclass
class Script:
    """Shots one after another, with the people who play them."""

    rng: np.random.Generator
    table: Table
    people: bool = True
    lead_s: float = 2.5
    break_first: bool = False

    def play(self, layout: Layout, shots: int) -> tuple[list[Shot], list[Placement], list[Act], float]:
        """Shots, placements, acts and the length of the clip."""
        out: list[Shot] = []
        placed: list[Placement] = []
        acts: list[Act] = []
        who, now, t = _person(self.rng), dict(layout), 0.6
        for k in range(shots):
            if 0 not in now:
                to = _spot(self.rng, self.table, now)
                placed.append(Placement(t + 0.6, t + 1.1, 0, to))
                acts.append(replace(who, kind="hand", t0_s=t, t1_s=t + 1.9, at=to))
                now[0], t = to, t + 2.0
            if len(now) < 2:
                break
            shot, act = self._shot(now, t, who, k == 0 and self.break_first)
            out.append(shot)
            acts += [act] if self.people else []
            if self.people and self.rng.random() < 0.4:
                acts.append(_walk(self.rng, who, self.table, shot.rest_s - 0.5, shot.rest_s + 2.5))
            if self.people and shot.motion.after and self.rng.random() < 0.15:
                # somebody points at a ball between two shots
                at = list(shot.motion.after.values())[int(self.rng.integers(0, len(shot.motion.after)))]
                acts.append(replace(who, kind="hand", t0_s=shot.rest_s + 0.1, t1_s=shot.rest_s + 1.4, at=at))
            now, t = dict(shot.motion.after), shot.rest_s + float(self.rng.uniform(0.8, 1.5))
        return out, placed, acts, t + 0.8

    def _shot(self, now: Layout, t: float, who: Act, breaking: bool) -> tuple[Shot, Act]:
        rng = self.rng
        aim = choose_aim(rng, self.table, now)
        speed = float(rng.uniform(4.5, 6.5) if breaking else rng.uniform(0.9, 3.2))
        if breaking:
            near = min(
                (n for n in now if n), key=lambda n: np.hypot(now[n][0] - now[0][0], now[n][1] - now[0][1])
            )
            d = np.array(now[near]) - now[0]
            aim = float(np.degrees(np.arctan2(d[1], d[0])) + rng.normal(0, 0.4))
        motion: Motion = simulate(self.table, now, aim, speed, float(rng.uniform(-0.4, 0.4)))
        strike = t + self.lead_s + float(rng.uniform(0, 1.0))
        gone = min(strike + float(rng.uniform(1.2, 2.5)), strike + motion.rest_s + 0.7)
        act = replace(who, t0_s=t - 0.2, t1_s=gone, at=now[0], aim_deg=aim, strike_s=strike, speed_mps=speed)
        return Shot(strike, motion), act


def random_scene(
    rng: np.random.Generator, difficulty: Difficulty = "easy", shots: int = 0, size: tuple[int, int] | None = None,
    people: bool = True, racked: bool | None = None,
) -> Scene:  # fmt: skip
    """A made-up scene: a still one of 1 s with `shots` 0 (people may stand in front), else that many shots."""
    s = STRENGTHS[difficulty]
    table = random_table(rng, s.odd_size)
    if size is None:
        size = SIZES[int(rng.choice(4, p=[0.4, 0.45, 0.05, 0.1]))]
    view, look = random_view(rng, s, size, table), random_look(rng, s)
    whole = bool(rng.random() < 0.2) if racked is None else racked
    if whole:
        layout = rack(rng, table, apex=bool(rng.random() < 0.3))
        layout[0] = _spot(rng, table, layout)
    else:
        layout = random_layout(rng, table, int(rng.integers(3, 17)))
    seed = int(rng.integers(0, 2**31))
    if shots:
        out, placed, acts, end = Script(rng, table, people, break_first=whole).play(layout, shots)
        return Scene(table, view, look, layout, tuple(out), tuple(placed), tuple(acts), end, seed, "made-up")
    acts = []
    if people and rng.random() < 0.4:
        who = replace(_person(rng), t0_s=-5, t1_s=9, at=layout[0], strike_s=float("inf"))
        acts.append(replace(who, aim_deg=choose_aim(rng, table, layout)))
    return Scene(table, view, look, layout, (), (), tuple(acts), 1.0, seed, "made-up still")
