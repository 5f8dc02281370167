"""What gets in the way of the view: a player at the table, somebody walking by, a hand. Made of tapered rods."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from lessonkit.model import Point, Table
from lessonkit.table.camera import project, rotation_matrix
from tests.scenes.bed import Float, light_at
from tests.scenes.lens import RAIL_OUTER_MM, Array
from tests.scenes.look import Rgb
from tests.scenes.spheres import Drawer

Box = tuple[int, int, int, int]
CUE_MM = 1470.0


@dataclass(frozen=True)
class Act:
    """One thing that somebody does for a time."""

    kind: Literal["player", "walk", "hand"]
    t0_s: float
    t1_s: float
    at: Point
    """The cue ball addressed, the start of the walk, or the place that the hand reaches for."""
    to: Point = (0.0, 0.0)
    """The walk's end."""
    aim_deg: float = 0.0
    strike_s: float = 0.0
    """May be infinite: practice strokes only."""
    speed_mps: float = 2.0
    shirt: Rgb = (60, 76, 120)
    skin: Rgb = (222, 178, 150)
    hair: Rgb = (60, 40, 30)
    trousers: Rgb = (34, 34, 40)
    long_sleeves: bool = False
    left_handed: bool = False
    stroke_s: float = 0.9
    """Period of the practice strokes."""


@dataclass(frozen=True, eq=False)
class Rod:
    """A tapered rod with round ends."""

    a: Array
    ra: float
    b: Array
    rb: float
    rgb: Rgb


def _v(x: float, y: float, z: float) -> Array:
    return np.array([x, y, z], float)


def _ease(u: float) -> float:
    u = float(np.clip(u, 0, 1))
    return u * u * (3 - 2 * u)


def cue_gap_mm(act: Act, t: float) -> float:
    """Of the tip from the cue ball's surface; below 0 after the strike."""
    left = act.strike_s - t
    v = 1e3 * act.speed_mps
    if left < 0:
        return -min(60 + 45 * act.speed_mps, v * -left * 0.7)
    if left < 0.45:
        return min(190.0, v * left)
    phase = 2 * np.pi * ((left if np.isfinite(left) else t) - 0.45) / act.stroke_s
    return float(112 + 78 * np.cos(phase))


def _out_of(table: Table, p: Array, d: Array) -> tuple[Array, float]:
    """Direction to the rail behind which the player stands, and the way there."""
    L, W = table.length_mm, table.width_mm
    sides = [(-1, 0, p[0]), (1, 0, L - p[0]), (0, -1, p[1]), (0, 1, W - p[1])]
    best, cost = (_v(0, -1, 0), 0.0), 1e18
    for nx, ny, e in sides:
        n = _v(nx, ny, 0)
        c = abs(e) + 700 * float(d @ n)
        if c < cost:
            best, cost = (n, float(e)), c
    return best


def _cue(tip: Array, d: Array) -> list[Rod]:
    """The cue from its tip: leather, ferrule, shaft, wrap, butt."""
    back = -d + _v(0, 0, 0.09)
    parts: list[tuple[float, float, float, Rgb]] = [
        (0, 8, 6.4, (70, 110, 160)), (8, 26, 6.6, (236, 234, 226)), (26, 740, 9.5, (226, 196, 142)),
        (740, 1000, 12.5, (74, 40, 26)), (1000, 1300, 14.0, (96, 98, 102)), (1300, CUE_MM, 15.0, (44, 26, 20)),
    ]  # fmt: skip
    out, r0 = [], 6.2
    for s0, s1, r1, rgb in parts:
        out.append(Rod(tip + back * s0, r0, tip + back * s1, r1, rgb))
        r0 = r1
    return out


def _hand(at: Array, d: Array, skin: Rgb) -> list[Rod]:
    n = _v(-d[1], d[0], 0)
    out = [Rod(at - d * 60, 34, at, 38, skin)]
    for k in range(4):
        o = n * (k * 17 - 26)
        out.append(Rod(at + o, 11, at + o + d * (62 + 10 * (k in (1, 2))) - _v(0, 0, 6), 8, skin))
    return out


def player_rods(act: Act, table: Table, t: float) -> list[Rod]:
    """A player bent over the cue, stepping in and out."""
    a = np.radians(act.aim_deg)
    d = _v(np.cos(a), np.sin(a), 0)
    hand = -1.0 if act.left_handed else 1.0
    n = _v(-d[1], d[0], 0) * hand
    cb = _v(*act.at, 30)
    gap = cue_gap_mm(act, t)
    head = cb - d * 640 + _v(0, 0, 430)
    out_dir, way = _out_of(table, head, d)
    come, go = _ease((t - act.t0_s) / 0.9), _ease((act.t1_s - t) / 0.9)
    away = out_dir * 1500 * (1 - min(come, go)) + _v(0, 0, 250 * (1 - min(come, go)))
    tip = cb - d * (table.radius_mm + gap)
    bridge, grip = cb - d * 235 - n * 6, tip - d * 1180 + _v(0, 0, 105)
    reach = float(np.clip(way + RAIL_OUTER_MM + 150, 420, 1000))
    hips = head + out_dir * reach + _v(0, 0, 160)
    chest = head + out_dir * 190 - d * 60 + _v(0, 0, -30)
    axis = (hips - chest) / np.linalg.norm(hips - chest)
    across = np.cross(axis, _v(0, 0, 1))
    across = across * np.sign(across @ n or 1.0)
    s_bridge, s_grip = chest + across * 175, chest - across * 175
    if np.linalg.norm(s_bridge - bridge) > np.linalg.norm(s_grip - bridge):
        s_bridge, s_grip = s_grip, s_bridge
    e_bridge = (s_bridge + bridge) / 2 + across * 60 + _v(0, 0, 40)
    e_grip = grip * 0.35 + s_grip * 0.65 - d * 160 + _v(0, 0, 170)
    lower = act.shirt if act.long_sleeves else act.skin
    rods = [Rod(hips, 160, hips + out_dir * 350 - _v(0, 0, 500), 90, act.trousers), *_cue(tip, d)]
    body = [Rod(e_bridge, 46, bridge - d * 40, 32, lower), *_hand(bridge, d, act.skin)]
    body += [*_hand(grip - d * 20, d, act.skin), Rod(grip, 34, e_grip, 46, lower)]
    body += [Rod(hips, 165, chest, 165, act.shirt), Rod(s_bridge, 86, s_grip, 86, act.shirt)]
    body += [Rod(s_bridge, 78, e_bridge, 56, act.shirt), Rod(s_grip, 78, e_grip, 56, act.shirt)]
    body += [Rod(chest, 70, head, 62, act.skin), Rod(head, 98, head + d * 12, 98, act.hair)]
    return [Rod(r.a + away, r.ra, r.b + away, r.rb, r.rgb) for r in rods + body]


def walk_rods(act: Act, t: float) -> list[Rod]:
    """Somebody walking from act.at to act.to, seen from above."""
    u = (t - act.t0_s) / max(act.t1_s - act.t0_s, 1e-6)
    p, q = _v(*act.at, 0), _v(*act.to, 0)
    d = (q - p) / max(float(np.linalg.norm(q - p)), 1e-6)
    n = _v(-d[1], d[0], 0)
    o = p + (q - p) * u + _v(0, 0, -780)
    s = 260 * np.sin(2 * np.pi * t / 1.1)
    lower = act.shirt if act.long_sleeves else act.skin
    rods = [Rod(o + n * 90 + d * s, 52, o + n * 90 + d * s + d * 170, 40, act.trousers)]
    rods += [Rod(o - n * 90 - d * s, 52, o - n * 90 - d * s + d * 170, 40, act.trousers)]
    for k in (1.0, -1.0):
        shoulder = o + n * 210 * k + _v(0, 0, 1350)
        elbow = o + n * 250 * k - d * s * 0.5 * k + _v(0, 0, 1080)
        rods += [Rod(elbow, 44, elbow + d * (120 - 0.4 * s * k) - _v(0, 0, 120), 36, lower)]
        rods += [Rod(shoulder, 66, elbow, 52, act.shirt)]
    rods += [Rod(o + n * 190 + _v(0, 0, 1360), 92, o - n * 190 + _v(0, 0, 1360), 92, act.shirt)]
    return [*rods, Rod(o + _v(0, 0, 1560), 92, o + d * 30 + _v(0, 0, 1560), 86, act.hair)]


def hand_rods(act: Act, table: Table, t: float) -> list[Rod]:
    """An arm reaching over a rail for a place on the cloth."""
    p = _v(*act.at, 62)
    out_dir, way = _out_of(table, p, _v(0, 0, 0))
    move = min(_ease((t - act.t0_s) / 0.5), _ease((act.t1_s - t) / 0.5))
    away = out_dir * (way + 700) * (1 - move)
    d = -out_dir
    elbow, shoulder = p + out_dir * 320 + _v(0, 0, 130), p + out_dir * max(620, way + 250) + _v(0, 0, 420)
    lower = act.shirt if act.long_sleeves else act.skin
    rods = [
        *_hand(p, d, act.skin),
        Rod(p + out_dir * 60, 32, elbow, 46, lower),
        Rod(elbow, 58, shoulder, 84, act.shirt),
    ]
    rods += [Rod(shoulder, 120, shoulder + out_dir * 300, 190, act.shirt)]
    rods += [Rod(shoulder + out_dir * 120, 96, shoulder + out_dir * 135, 96, act.hair)]
    return [Rod(r.a + away, r.ra, r.b + away, r.rb, r.rgb) for r in rods]


def rods_of(act: Act, table: Table, t: float) -> list[Rod]:
    """The rods that an act consists of at a time."""
    if act.kind == "player":
        return player_rods(act, table, t)
    return walk_rods(act, t) if act.kind == "walk" else hand_rods(act, table, t)


def _flat(drawer: Drawer, rods: list[Rod]) -> tuple[Array, Array]:
    """Ends in pixels (N, 2, 2) and radii in pixels (N, 2)."""
    ends = np.array([[r.a, r.b] for r in rods])
    px = project(drawer.camera, ends.reshape(-1, 3)).reshape(-1, 2, 2)
    R, t = rotation_matrix(drawer.camera), np.asarray(drawer.camera.translation)
    depth = np.maximum((ends @ R.T + t)[..., 2], 250.0)
    # the lens shrinks what lies off its axis: measured by a second point beside each end
    beside = project(drawer.camera, (ends + R[0] * 20).reshape(-1, 3)).reshape(-1, 2, 2)
    per_mm = np.linalg.norm(beside - px, axis=2) / 20
    per_mm = np.where(depth > 260, per_mm, drawer.camera.matrix[0, 0] / depth)
    return px, per_mm * np.array([[r.ra, r.rb] for r in rods])


def _draw_rod(img: Float, px: Array, rad: Array, rgb: Rgb, light: float) -> Box | None:
    h, w = img.shape[:2]
    lo, hi = (px - rad[:, None]).min(axis=0) - 1, (px + rad[:, None]).max(axis=0) + 2
    if not np.isfinite([*lo, *hi]).all():
        return None
    x0, y0, x1, y1 = max(0, int(lo[0])), max(0, int(lo[1])), min(w, int(hi[0]) + 1), min(h, int(hi[1]) + 1)
    if x1 <= x0 or y1 <= y0:
        return None
    gx = np.arange(x0, x1, dtype=np.float32)[None] - np.float32(px[0, 0])
    gy = np.arange(y0, y1, dtype=np.float32)[:, None] - np.float32(px[0, 1])
    d = (px[1] - px[0]).astype(np.float32)
    u = np.clip((gx * d[0] + gy * d[1]) / max(float(d @ d), 1e-6), 0, 1)
    dist = np.sqrt((gx - u * d[0]) ** 2 + (gy - u * d[1]) ** 2)
    r = np.float32(rad[0]) + u * np.float32(rad[1] - rad[0])
    cover = np.clip(r - dist + 0.5, 0, 1)
    rho = np.minimum(dist / np.maximum(r, 0.5), 1)
    fold = 1 + (0.05 * np.sin(u * 17 + gx * 0.02) * np.cos(gy * 0.11) if rad.max() > 12 else 0)
    shade = (0.52 + 0.48 * np.sqrt(1 - rho * rho)) * light * fold
    part = img[y0:y1, x0:x1]
    part *= (1 - cover)[..., None]
    part += (cover * shade)[..., None] * np.array(rgb, np.float32)
    return x0, y0, x1, y1


def _shadow(drawer: Drawer, img: Float, rods: list[Rod]) -> list[Box]:
    """A soft shadow on the table under rods that are low enough."""
    low = [r for r in rods if max(r.a[2], r.b[2]) < 950 and min(r.a[2], r.b[2]) > -50]
    if not low:
        return []
    flat = [Rod(r.a * [1, 1, 0], r.ra * 1.1, r.b * [1, 1, 0], r.rb * 1.1, r.rgb) for r in low]
    px, rad = _flat(drawer, flat)
    h, w = img.shape[:2]
    k = max(4, round(w / 240))
    m = np.zeros((h // k + 1, w // k + 1), np.float32)
    for (a, b), r in zip(px / k, rad / k, strict=True):
        pa, pb = (int(np.clip(v, -2000, 2000)) for v in a), (int(np.clip(v, -2000, 2000)) for v in b)
        cv2.line(m, tuple(pa), tuple(pb), 1.0, max(1, int(r.mean() * 2)), cv2.LINE_8)
    m = cv2.GaussianBlur(m, (0, 0), 4.0)
    x, y, bw, bh = cv2.boundingRect((m > 0.02).astype(np.uint8))
    if bw == 0 or bh == 0:
        return []
    x0, y0, x1, y1 = x * k, y * k, min(w, (x + bw) * k), min(h, (y + bh) * k)
    big = cv2.resize(m[y : y + bh, x : x + bw], (bw * k, bh * k), interpolation=cv2.INTER_LINEAR)
    img[y0:y1, x0:x1] *= (1 - 0.38 * big[: y1 - y0, : x1 - x0])[..., None]
    return [(x0, y0, x1, y1)]


def draw_acts(drawer: Drawer, img: Float, acts: list[Act], t: float) -> list[Box]:
    """Draws what people do at a time; gives the boxes touched."""
    boxes: list[Box] = []
    for act in acts:
        rods = rods_of(act, drawer.table, t)
        boxes += _shadow(drawer, img, rods)
        px, rad = _flat(drawer, rods)
        for k, rod in enumerate(rods):
            where = ((rod.a + rod.b) / 2)[None, None, :2].astype(np.float32)
            light = float(light_at(drawer.look, drawer.table, where)[0, 0])
            b = _draw_rod(img, px[k], rad[k], rod.rgb, light)
            boxes += [b] if b else []
    return boxes
