"""Balls: ray-traced spheres in their own boxes of pixels, with what is painted on them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Camera, Table
from lessonkit.table.camera import centre_mm, project
from tests.scenes.bed import Bed, Float, light_at
from tests.scenes.lens import Array, box_rays
from tests.scenes.look import Look


@dataclass(frozen=True, eq=False)
class Placed:
    """One ball at one moment."""

    number: int
    centre: tuple[float, float, float]
    """Millimetres; z is the radius when the ball lies on the cloth."""
    turn: Array
    """Rotation matrix ball -> table."""


@lru_cache(maxsize=512)
def _digits(number: int, blur: int = 1) -> NDArray[np.uint8]:
    """The number's disc, 128 x 128: 255 white, 0 ink, softened by `blur` texels."""
    t = np.full((128, 128), 255, np.uint8)
    s = str(number)
    scale = 2.6 if len(s) == 1 else 1.9
    (w, h), _ = cv2.getTextSize(s, cv2.FONT_HERSHEY_DUPLEX, scale, 7)
    cv2.putText(t, s, ((128 - w) // 2, (128 + h) // 2), cv2.FONT_HERSHEY_DUPLEX, scale, 0, 7, cv2.LINE_AA)
    if number in (6, 9):
        cv2.line(t, (44, 108), (84, 108), 0, 6)
    return np.asarray(cv2.GaussianBlur(t, (0, 0), blur), np.uint8)


def _paint(number: int, local: Array, look: Look, soft: float) -> Array:
    """Colour, shape (..., 3), of a ball's surface at unit places `local`; `soft` is one sample's width over r."""
    shape = local.shape[:-1]
    base = np.array(look.ball_rgb[number if number <= 8 else number - 8], float)
    col = np.broadcast_to(base, (*shape, 3)).copy()
    if number == 0:
        if look.cue_dots:
            top = np.sort(np.abs(local), axis=-1)[..., 2]
            near = np.clip((np.sqrt(np.maximum(2 - 2 * top, 0)) - 0.08) / soft + 0.5, 0, 1)[..., None]
            col = col * near + np.array([190.0, 24, 30]) * (1 - near)
        return col
    if number > 8:
        white = np.clip((np.abs(local[..., 2]) - look.band) / soft + 0.5, 0, 1)[..., None]
        col = col * (1 - white) + np.array(look.stripe_white) * white
    rho = np.hypot(local[..., 1], local[..., 2])
    on = np.clip((look.disc - rho) / soft + 0.5, 0, 1)[..., None]
    if look.disc <= 0 or not on.any():
        return col
    k = 60.0 / look.disc
    u = (64 + k * local[..., 1] * np.sign(local[..., 0])).astype(np.float32)
    v = (64 - k * local[..., 2]).astype(np.float32)
    # at small sizes the digit runs into grey as a lens would have it
    ink = _digits(number, round(min(40.0, max(1.0, 0.5 * soft * k))))
    g = cv2.remap(ink, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=255)
    disc = np.array(look.stripe_white) * (0.12 + 0.88 * g[..., None] / 255.0)
    return np.asarray(col * (1 - on) + disc * on, float)


def _shine(look: Look, table: Table, at: Array, d: Array, n: Array) -> Array:
    """Light of the lamps mirrored at places `at` with normals n towards the eye, shape (...)."""
    r = d - 2 * (d * n).sum(axis=-1, keepdims=True) * n
    up = np.maximum(r[..., 2], 1e-3)
    out = np.zeros(d.shape[:-1])
    for lamp in look.lamps:
        s = (lamp.z_mm - at[..., 2]) / up
        dx = np.abs(at[..., 0] + s * r[..., 0] - lamp.x * table.length_mm)
        dy = np.abs(at[..., 1] + s * r[..., 1] - lamp.y * table.width_mm)
        lit = np.clip((lamp.half_x_mm - dx) / 60 + 0.5, 0, 1) * np.clip(
            (lamp.half_y_mm - dy) / 60 + 0.5, 0, 1
        )
        halo = np.exp(
            -(np.maximum(dx - lamp.half_x_mm, 0) ** 2 + np.maximum(dy - lamp.half_y_mm, 0) ** 2) / 4e5
        )
        out += lamp.shine * (0.85 * lit + 0.06 * halo) * (r[..., 2] > 0.02)
    return out


def box_of(
    camera: Camera, centre: tuple[float, float, float], reach_mm: float, size: tuple[int, int]
) -> tuple[int, int, int, int]:
    """x0, y0, x1, y1 of the pixels within `reach_mm` of a place, cut to the picture of (width, height)."""
    c = np.array(centre)
    o = np.array([[sx, sy, sz] for sx in (-1, 1) for sy in (-1, 1) for sz in (-1, 0.6)]) * reach_mm
    o[:, 2] = np.clip(o[:, 2], -c[2] if c[2] > 0 else -reach_mm, 40)
    px = project(camera, c + o)
    lo, hi = np.floor(px.min(axis=0)).astype(int) - 1, np.ceil(px.max(axis=0)).astype(int) + 2
    x0, y0 = max(0, int(lo[0])), max(0, int(lo[1]))
    return x0, y0, max(x0, min(size[0], int(hi[0]))), max(y0, min(size[1], int(hi[1])))


@dataclass(frozen=True, eq=False)
class Drawer:
    """Draws balls of one scene into float pictures of its camera."""

    camera: Camera
    table: Table
    look: Look
    bed: Bed

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the picture."""
        return self.bed.picture.shape[1], self.bed.picture.shape[0]

    def _light(self, centre: tuple[float, float, float]) -> float:
        return float(light_at(self.look, self.table, np.array([[centre[:2]]], np.float32))[0, 0])

    def shade(
        self, img: Float, centre: tuple[float, float, float], weight: float = 1.0
    ) -> tuple[int, int, int, int]:
        """Darkens the cloth about a ball's foot; gives the box touched. Occlusion of a plane under a sphere."""
        r = self.table.radius_mm
        if centre[2] < 0.5 * r:
            return 0, 0, 0, 0
        box = x0, y0, x1, y1 = box_of(self.camera, (centre[0], centre[1], 0.0), 2.4 * r, self.size)
        if x1 <= x0 or y1 <= y0:
            return box
        d = box_rays(self.camera, x0, y0, x1 - x0, y1 - y0)
        c = centre_mm(self.camera)
        xy = c[:2] - (c[2] / d[..., 2])[..., None] * d[..., :2]
        away = np.zeros(2)
        for lamp in self.look.lamps:
            v = np.array(centre[:2]) - np.array([lamp.x * self.table.length_mm, lamp.y * self.table.width_mm])
            away += lamp.shine * v / lamp.z_mm * r
        q = ((xy - np.array(centre[:2]) - 0.5 * away / max(len(self.look.lamps), 1)) ** 2).sum(axis=2)
        fall = 1.25 * r**3 / (r * r * (centre[2] / r) ** 2 + q) ** 1.5
        edge = np.clip(2.0 - np.sqrt(q) / r, 0, 1) ** 0.7
        on = 0.25 + 0.75 * self.bed.opening[y0:y1, x0:x1]
        img[y0:y1, x0:x1] *= (1 - weight * 0.62 * fall * edge * on)[..., None].astype(np.float32)
        return box

    def sphere(self, ball: Placed, box: tuple[int, int, int, int], ss: int) -> tuple[Array, Array]:
        """Cover (h, w) and cover times colour (h, w, 3) of a ball in a box."""
        x0, y0, x1, y1 = box
        r, P = self.table.radius_mm, np.array(ball.centre)
        d = box_rays(self.camera, x0, y0, x1 - x0, y1 - y0, ss)
        oc = centre_mm(self.camera) - P
        b = d @ oc
        m2 = np.maximum(oc @ oc - b * b, 0)
        per_mm = self.camera.matrix[0, 0] / np.linalg.norm(oc) * ss
        cover = np.clip((r - np.sqrt(m2)) * per_mm + 0.5, 0, 1)
        on = cover > 0
        col = np.zeros((*cover.shape, 3))
        if on.any():
            dd, s = d[on], -b[on] - np.sqrt(np.maximum(r * r - m2[on], 0))
            at = centre_mm(self.camera) + s[:, None] * dd
            n = at - P
            n /= np.linalg.norm(n, axis=1, keepdims=True)
            paint = _paint(ball.number, (n @ ball.turn)[None], self.look, 1.0 / (per_mm * r))[0]
            eye = np.clip(-(dd * n).sum(axis=1), 0, 1)
            light = self._light(ball.centre) * (1.0 if ball.centre[2] > 0.8 * r else 0.45)
            diffuse = 0.66 + 0.36 * np.clip(n[:, 2], -0.4, 1) - 0.30 * (1 - eye) ** 3
            bounce = 0.16 * np.clip(1 - n[:, 2], 0, 1)[:, None] * np.array(self.look.cloth)
            shine = _shine(self.look, self.table, at[None], dd[None], n[None])[0]
            c = (
                paint * diffuse[:, None] * (1 - 0.1 * (1 - eye))[:, None] + bounce * (0.3 + paint / 360)
            ) * light
            col[on] = c + (225 * shine * (0.85 + 0.5 * (1 - eye) ** 3))[:, None]
            # what lies lower than the noses is seen only through the opening between them
            open_ = self.bed.opening[y0:y1, x0:x1]
            if ss > 1:
                big = cv2.resize(open_, None, fx=ss, fy=ss, interpolation=cv2.INTER_LINEAR)
                open_ = np.asarray(big, np.float32)
            low = np.clip((self.table.nose_height_mm - at[:, 2]) / 4, 0, 1)
            cover[on] *= 1 - low * (1 - open_[on])
        if ss > 1:
            k = (x1 - x0, y1 - y0)
            col = cv2.resize(col * cover[..., None], k, interpolation=cv2.INTER_AREA)
            return cv2.resize(cover, k, interpolation=cv2.INTER_AREA), col
        return cover, col * cover[..., None]

    def draw(
        self, img: Float, moments: list[list[Placed]], ss: int, again: list[Placed] | None = None
    ) -> list[tuple[int, int, int, int]]:
        """Draws balls, each given at one or more moments of an exposure; gives the boxes touched.

        Balls in `again` are on the picture with their shadows already and are drawn over once more.
        """
        boxes = []
        known = [[b] for b in again or []]
        far = sorted(
            [*moments, *known],
            key=lambda m: -float(np.linalg.norm(np.array(m[0].centre) - centre_mm(self.camera))),
        )
        for m in moments:
            keep = m if len(m) <= 2 else [m[0], m[len(m) // 2], m[-1]]
            boxes += [self.shade(img, b.centre, 1.0 / len(keep)) for b in keep]
        for m in far:
            bs = np.array([box_of(self.camera, b.centre, 1.15 * self.table.radius_mm, self.size) for b in m])
            box = (int(bs[:, 0].min()), int(bs[:, 1].min()), int(bs[:, 2].max()), int(bs[:, 3].max()))
            x0, y0, x1, y1 = box
            if x1 <= x0 or y1 <= y0:
                continue
            cover, col = np.zeros((y1 - y0, x1 - x0)), np.zeros((y1 - y0, x1 - x0, 3))
            for b, (u0, v0, u1, v1) in zip(m, bs.tolist(), strict=True):
                if u1 <= u0 or v1 <= v0:
                    continue
                a, c = self.sphere(b, (u0, v0, u1, v1), ss)
                cover[v0 - y0 : v1 - y0, u0 - x0 : u1 - x0] += a / len(m)
                col[v0 - y0 : v1 - y0, u0 - x0 : u1 - x0] += c / len(m)
            part = img[y0:y1, x0:x1]
            part[:] = (part * (1 - cover)[..., None] + col).astype(np.float32)
            boxes.append(box)
        return [b for b in boxes if b[2] > b[0] and b[3] > b[1]]
