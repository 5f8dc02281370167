"""A scene: a table, its camera and look, and what happens on it; pictures of it at any time."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from scipy.spatial.transform import Rotation

from lessonkit.model import Camera, Layout, Point, Table
from lessonkit.table.camera import centre_mm
from tests.scenes.bed import Float, make_bed
from tests.scenes.lens import Array, Picture, View, make_camera, plane_map
from tests.scenes.look import Look
from tests.scenes.motion import Motion
from tests.scenes.people import Act, Box, draw_acts
from tests.scenes.spheres import Drawer, Placed

FALL_S = 0.14
"""How long a dropping ball is still seen."""


@dataclass(frozen=True, eq=False)
class Shot:
    """One stroke at a time of the clip."""

    strike_s: float
    motion: Motion

    @property
    def rest_s(self) -> float:
        """When the last ball stops."""
        return self.strike_s + self.motion.rest_s


@dataclass(frozen=True)
class Placement:
    """A ball put down by hand between two shots; unseen before `t0_s` if it was off the table."""

    t0_s: float
    t1_s: float
    ball: int
    to: Point


@dataclass(frozen=True, eq=False)
class Scene:
    """Everything that is filmed."""

    table: Table
    view: View
    look: Look
    layout: Layout
    """At time 0."""
    shots: tuple[Shot, ...] = ()
    placements: tuple[Placement, ...] = ()
    acts: tuple[Act, ...] = ()
    """People, hands, cues."""
    duration_s: float = 1.0
    seed: int = 0
    """Of the balls' turns and the picture's noise."""
    name: str = "scene"
    traits: tuple[str, ...] = field(default=())
    """Words for what is hard about it, for reports."""


@dataclass(frozen=True, eq=False)
class _Span:
    """A stretch of time between two settled layouts' changes."""

    t0_s: float
    still: dict[int, Placed]
    shot: Shot | None
    turns: dict[int, Array]
    """Turn of each ball at the start."""


def _rolled(path: Array, turn: Array, r: float, each: int = 8) -> tuple[Array, Array]:
    """Times (N,) and turns (N, 3, 3) of a ball rolling without slip along a path, from a starting turn."""
    p = path[::each]
    d = np.diff(p[:, 1:], axis=0)
    axis = np.c_[-d[:, 1], d[:, 0], np.zeros(len(d))] / r
    steps = Rotation.from_rotvec(axis).as_matrix() if len(d) else np.zeros((0, 3, 3))
    out = np.empty((len(p), 3, 3))
    out[0] = turn
    for k in range(len(steps)):
        out[k + 1] = steps[k] @ out[k]
    return p[:, 0], out


def _joined(boxes: list[Box]) -> list[Box]:
    """Boxes with overlapping ones merged."""
    out: list[Box] = []
    for b in sorted(boxes):
        for k, o in enumerate(out):
            if b[0] <= o[2] and o[0] <= b[2] and b[1] <= o[3] and o[1] <= b[3]:
                out[k] = (min(b[0], o[0]), min(b[1], o[1]), max(b[2], o[2]), max(b[3], o[3]))
                break
        else:
            out.append(b)
    return out


class Stage:
    """A scene with everything computed that does not change from frame to frame."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        v = scene.view
        self.camera: Camera = make_camera(v, scene.table)
        self.bed = make_bed(self.camera, v.width, v.height, scene.table, scene.look)
        self.drawer = Drawer(self.camera, scene.table, scene.look, self.bed)
        rng = np.random.default_rng(scene.seed)
        self.turns0 = {n: np.asarray(Rotation.random(random_state=rng).as_matrix(), float) for n in range(16)}
        self.gain = self._gain()
        self.glare = self._glare()
        self.noise = self._noise_bank(rng)
        self.rolls = rng.integers(0, 32, (997, 2))
        self.moods = rng.normal(0, 1, 997)
        self.spans = self._spans()
        self._still: tuple[int, Float, Float, Picture] | None = None
        self._roll_cache: dict[tuple[int, int], tuple[Array, Array]] = {}

    def _gain(self) -> Float:
        v, look = self.scene.view, self.scene.look
        x = (np.arange(v.width) - v.width / 2) / (v.width / 2)
        y = (np.arange(v.height) - v.height / 2) / (v.width / 2)
        fall = 1 - look.vignette * (x[None] ** 2 + y[:, None] ** 2)
        return np.asarray(fall[..., None] * np.array(look.white_balance) * look.brightness, np.float32)

    def _glare(self) -> Float | None:
        look, table = self.scene.look, self.scene.table
        if look.glare <= 0:
            return None
        v = self.scene.view
        xy = plane_map(self.camera, v.width, v.height, 0.0)
        c = centre_mm(self.camera)
        out = np.zeros((v.height, v.width), np.float32)
        for lamp in look.lamps:
            m = xy + (xy - c[:2].astype(np.float32)) * np.float32(lamp.z_mm / c[2])
            dx = np.maximum(np.abs(m[..., 0] - lamp.x * table.length_mm) - lamp.half_x_mm, 0)
            dy = np.maximum(np.abs(m[..., 1] - lamp.y * table.width_mm) - lamp.half_y_mm, 0)
            out += np.exp(-(dx * dx + dy * dy) / (2 * 330.0**2)) * lamp.shine
        return np.asarray(look.glare * 120 * out * (0.3 + 0.7 * self.bed.opening - self.bed.hole), np.float32)

    def _noise_bank(self, rng: np.random.Generator) -> tuple[Picture, Picture] | None:
        look, v = self.scene.look, self.scene.view
        if look.noise <= 0:
            return None
        shape = (v.height + 32, v.width + 32)
        luma = rng.standard_normal(shape, np.float32)[..., None]
        g = luma * 0.8 + 0.6 * rng.standard_normal((*shape, 3), np.float32)
        g = cv2.GaussianBlur(g, (0, 0), 0.45)
        g *= look.noise / g.std()
        return np.clip(np.round(g), 0, 255).astype(np.uint8), np.clip(np.round(-g), 0, 255).astype(np.uint8)

    def _spans(self) -> list[_Span]:
        """The clip cut where layouts change: at strikes, rests and placements."""
        r = self.scene.table.radius_mm
        turns = dict(self.turns0)

        def lie(layout: Layout) -> dict[int, Placed]:
            return {n: Placed(n, (*p, r), turns[n]) for n, p in layout.items()}

        now = dict(self.scene.layout)
        out = [_Span(-1e9, lie(now), None, dict(turns))]
        marks: list[tuple[float, Any]] = [(s.strike_s, s) for s in self.scene.shots]
        marks += [(p.t0_s, p) for p in self.scene.placements] + [(p.t1_s, p) for p in self.scene.placements]
        for t, what in sorted(marks, key=lambda m: m[0]):
            if isinstance(what, Shot):
                m = what.motion
                still = {n: p for n, p in lie(m.before).items() if n not in m.paths}
                out.append(_Span(t, still, what, dict(turns)))
                for n, path in m.paths.items():
                    turns[n] = _rolled(path, turns[n], r)[1][-1]
                now = dict(m.after)
                out.append(_Span(what.rest_s, lie(now), None, dict(turns)))
            else:
                now.pop(what.ball, None)
                if t >= what.t1_s:
                    now[what.ball] = what.to
                out.append(_Span(t, lie(now), None, dict(turns)))
        return out

    def moving(self, span: int, t: float) -> list[Placed]:
        """The balls under way at a time."""
        s = self.spans[span]
        if s.shot is None:
            return []
        r, u, out = self.scene.table.radius_mm, t - s.shot.strike_s, []
        for n, path in s.shot.motion.paths.items():
            key = (span, n)
            if key not in self._roll_cache:
                self._roll_cache[key] = _rolled(path, s.turns[n], r)
            times, turns = self._roll_cache[key]
            turn = turns[min(len(turns) - 1, max(0, int(np.searchsorted(times, u, "right")) - 1))]
            drop = s.shot.motion.drops.get(n)
            if drop is not None and u > drop.t_s:
                f = u - drop.t_s
                if f < FALL_S:
                    # it falls with the speed it had, held by the back of the pocket
                    go = 0.6 * min(f, 40 / max(np.hypot(*drop.speed), 1.0))
                    z = r - 0.5 * 9810 * f * f - 120 * f
                    out.append(
                        Placed(n, (drop.at[0] + drop.speed[0] * go, drop.at[1] + drop.speed[1] * go, z), turn)
                    )
                continue
            x, y = np.interp(u, path[:, 0], path[:, 1]), np.interp(u, path[:, 0], path[:, 2])
            out.append(Placed(n, (float(x), float(y), r), turn))
        return out

    def span_at(self, t: float) -> int:
        """Index of the stretch that holds a time."""
        return max(k for k, s in enumerate(self.spans) if s.t0_s <= t)

    def balls_at(self, t: float) -> list[Placed]:
        """Every ball in sight at a time."""
        k = self.span_at(t)
        return [*self.spans[k].still.values(), *self.moving(k, t)]

    def tone(self, img: Float, box: tuple[int, int, int, int]) -> Picture:
        """The camera's answer, BGR, to a box of the picture (cut from a float RGB picture)."""
        look, v = self.scene.look, self.scene.view
        pad = int(3 * look.blur_px) + 1 if look.blur_px > 0 else 0
        x0, y0, x1, y1 = box
        u0, v0, u1, v1 = max(0, x0 - pad), max(0, y0 - pad), min(v.width, x1 + pad), min(v.height, y1 + pad)
        a = np.asarray(img[v0:v1, u0:u1] * self.gain[v0:v1, u0:u1], np.float32)
        if self.glare is not None:
            a += self.glare[v0:v1, u0:u1, None]
        if look.contrast != 1:
            a = (a - 105) * look.contrast + 105
        if pad:
            a = np.asarray(cv2.GaussianBlur(a, (0, 0), look.blur_px), np.float32)
        a = a[y0 - v0 : y1 - v0, x0 - u0 : x1 - u0, ::-1]
        # highlights roll off softly instead of clipping hard
        hot = a > 200
        if hot.any():
            a = np.where(hot, 255 - 55 * np.exp(-(a - 200) / 55), a)
        return np.asarray(np.clip(a + 0.5, 0, 255), np.uint8)

    def still(self, span: int) -> tuple[Float, Float, Picture]:
        """What does not move in a stretch of time: float RGB clean, the same to draw upon, and toned."""
        if self._still is None or self._still[0] != span:
            img = self.bed.picture.copy()
            self.drawer.draw(img, [[b] for b in self.spans[span].still.values()], 2)
            v = self.scene.view
            self._still = (span, img, img.copy(), self.tone(img, (0, 0, v.width, v.height)))
        return self._still[1:]

    def frame(self, t: float) -> Picture:
        """The picture of the exposure that starts at t, BGR."""
        k = self.span_at(t)
        clean, img, toned = self.still(k)
        out = toned.copy()
        moments = self._exposure(k, t)
        boxes = self.drawer.draw(img, moments, 1 if self.fine else 2, self._beside(k, moments))
        boxes += draw_acts(self.drawer, img, [a for a in self.scene.acts if a.t0_s <= t < a.t1_s], t)
        v = self.scene.view
        pad = int(3 * self.scene.look.blur_px) + 1
        for b in _joined(boxes):
            box = (
                max(0, b[0] - pad),
                max(0, b[1] - pad),
                min(v.width, b[2] + pad),
                min(v.height, b[3] + pad),
            )
            out[box[1] : box[3], box[0] : box[2]] = self.tone(img, box)
        for x0, y0, x1, y1 in boxes:
            img[y0:y1, x0:x1] = clean[y0:y1, x0:x1]
        return self._finish(out, t)

    @property
    def fine(self) -> bool:
        """Whether a ball has pixels enough to be drawn without finer samples while it moves."""
        return bool(self.camera.matrix[0, 0] / self.scene.view.distance_mm * self.scene.table.radius_mm > 11)

    def _beside(self, k: int, moments: list[list[Placed]]) -> list[Placed]:
        """Balls at rest so near moving ones that they must be drawn again, in the right order."""
        near = 2.5 * self.scene.table.ball_diameter_mm
        at = np.array([b.centre[:2] for m in moments for b in m]).reshape(-1, 2)
        still = self.spans[k].still.values()
        return [b for b in still if len(at) and np.hypot(*(at - np.array(b.centre[:2])).T).min() < near]

    def _exposure(self, k: int, t: float) -> list[list[Placed]]:
        e = self.scene.look.exposure_s
        first, last = self.moving(k, t), {b.number: b for b in self.moving(k, t + e)}
        per_mm = self.camera.matrix[0, 0] / self.scene.view.distance_mm
        out = []
        for b in first:
            c = last.get(b.number)
            way = per_mm * np.hypot(c.centre[0] - b.centre[0], c.centre[1] - b.centre[1]) if c else 0.0
            n = int(np.clip(np.ceil(way / 2.5), 1, 9))
            out.append([b] if n == 1 else self._between(k, t, b.number, n))
        return out

    def _between(self, k: int, t: float, number: int, n: int) -> list[Placed]:
        e = self.scene.look.exposure_s
        return [b for f in range(n) for b in self.moving(k, t + e * (f + 0.5) / n) if b.number == number]

    def _finish(self, out: Picture, t: float) -> Picture:
        look, v = self.scene.look, self.scene.view
        n = round(t * 240) % 997
        if look.flicker > 0 or look.drift > 0:
            beat = look.flicker * float(np.sin(200 * np.pi * t) + 0.3 * self.moods[n])
            slow = look.drift * float(np.sin(t * 0.9 + self.moods[0]))
            out = np.asarray(cv2.convertScaleAbs(out, alpha=1 + beat + slow), np.uint8)
        if look.shake_px > 0:
            a, b = (
                look.shake_px * np.sqrt(2) * float(np.sin(w * t + self.moods[k]))
                for k, w in ((1, 5.1), (2, 6.7))
            )
            move = np.array([[1, 0, a], [0, 1, b]])
            out = np.asarray(
                cv2.warpAffine(out, move, (v.width, v.height), borderMode=cv2.BORDER_REPLICATE), np.uint8
            )
        if self.noise is not None:
            dx, dy = (int(a) for a in self.rolls[n])
            box = np.s_[dy : dy + v.height, dx : dx + v.width]
            return np.asarray(cv2.subtract(cv2.add(out, self.noise[0][box]), self.noise[1][box]), np.uint8)
        return out


@lru_cache(maxsize=2)
def stage(scene: Scene) -> Stage:
    """The scene made ready to film; kept for the last two scenes."""
    return Stage(scene)


def render(scene: Scene, t: float) -> Picture:
    """The picture at time t, BGR uint8 (height, width, 3)."""
    return stage(scene).frame(t)
