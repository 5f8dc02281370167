"""The table and the floor without balls: one still picture for one camera."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Camera, Table
from lessonkit.table.camera import project
from tests.scenes.lens import RAIL_OUTER_MM, RAIL_TOP_MM, Array, plane_map
from tests.scenes.look import Look, Rgb

Float = NDArray[np.float32]
CUSHION_MM = 48.0
"""Width of the cushion's cloth top, from the nose back to the wood."""
SIGHT_MM = 93.7
"""Distance of the sights behind the nose line (3 11/16 inches, common practice, no source)."""
CORNER_FACING_DEG, SIDE_FACING_DEG = 142.0, 104.0


@dataclass(frozen=True, eq=False)
class Pit:
    """One pocket's hole."""

    name: str
    centre: tuple[float, float]
    radius_mm: float


def pits(table: Table) -> list[Pit]:
    """The six holes, set back behind the nose lines."""
    L, W = table.length_mm, table.width_mm
    rc, rs = table.corner_mouth_mm * 0.55, table.side_mouth_mm * 0.42
    out = []
    for name, (x, y) in table.pockets.items():
        sy = -1.0 if y == 0 else 1.0
        if x in (0.0, L):
            sx = -1.0 if x == 0 else 1.0
            out.append(Pit(name, (x + sx * rc * 0.5, y + sy * rc * 0.5), rc))
        else:
            out.append(Pit(name, (x, y + sy * rs * 1.05), rs))
    assert L > W
    return out


def cushions(table: Table) -> dict[str, Array]:
    """Six cushion tops, shape (4, 2) each: nose tip, nose tip, back corner, back corner."""
    L, W = table.length_mm, table.width_mm
    c, s = table.corner_mouth_mm / np.sqrt(2), table.side_mouth_mm / 2
    kc = CUSHION_MM / np.tan(np.radians(180 - CORNER_FACING_DEG))
    ks = CUSHION_MM / np.tan(np.radians(180 - SIDE_FACING_DEG))
    b = CUSHION_MM
    out: dict[str, Array] = {}
    for side, y, o in (("right", 0.0, -b), ("left", W, b)):
        out[f"{side}-head"] = np.array([[c, y], [L / 2 - s, y], [L / 2 - s + ks, y + o], [c - kc, y + o]])
        out[f"{side}-foot"] = np.array(
            [[L / 2 + s, y], [L - c, y], [L - c + kc, y + o], [L / 2 + s - ks, y + o]]
        )
    for side, x, o in (("head", 0.0, -b), ("foot", L, b)):
        out[side] = np.array([[x, c], [x, W - c], [x + o, W - c + kc], [x + o, c - kc]])
    return out


def _dense(p: Array, each_mm: float = 40.0) -> Array:
    parts = []
    for a, b in zip(p, np.roll(p, -1, axis=0), strict=True):
        n = max(1, int(np.linalg.norm(b - a) / each_mm))
        parts.append(a + (b - a) * np.linspace(0, 1, n, endpoint=False)[:, None])
    return np.concatenate(parts)


def _circle(x: float, y: float, r: float, n: int = 48) -> Array:
    a = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return np.asarray(np.c_[x + r * np.cos(a), y + r * np.sin(a)], float)


def _rounded(table: Table, out: float, radius: float) -> Array:
    L, W = table.length_mm + out, table.width_mm + out
    parts = []
    for cx, cy, a0 in ((L, W, 0), (-out, W, 90), (-out, -out, 180), (L, -out, 270)):
        a = np.radians(np.linspace(a0, a0 + 90, 10))
        sx, sy = (1 if cx == L else -1), (1 if cy == W else -1)
        parts.append(np.c_[cx - sx * radius + radius * np.cos(a), cy - sy * radius + radius * np.sin(a)])
    return _dense(np.concatenate(parts))


RIM_SAMPLES = 0.46
"""Measured: so much wider does OpenCV's fillPoly draw, on the average over directions."""


def _drawn_in(px: Array) -> Array:
    """A polygon (N, 2) half a sample smaller all round: filling takes in every sample that the rim touches."""
    x, y = px.T
    twice = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    ahead = np.roll(px, -1, axis=0) - px
    length = np.hypot(*ahead.T)
    if abs(twice) < 4 * length.sum() or (length < 1e-6).any():
        return px  # a line, not an area
    inward = np.c_[-ahead[:, 1], ahead[:, 0]] / length[:, None] * np.sign(twice)
    both = inward + np.roll(inward, 1, axis=0)
    return np.asarray(px + both / np.maximum((both**2).sum(1), 0.5)[:, None] * 2 * RIM_SAMPLES, float)


class Painter:
    """Fills table polygons into a picture at `ss` samples a pixel side."""

    def __init__(self, camera: Camera, width: int, height: int, ss: int) -> None:
        self.camera, self.ss = camera, ss
        self.size = (height * ss, width * ss)

    def outline_px(self, places: Array, z: float | Array) -> list[NDArray[np.int32]]:
        """A polygon (N, 2) at height z in sixteenths of samples."""
        p = np.c_[places, np.broadcast_to(np.asarray(z, float), (len(places),))]
        px = _drawn_in((project(self.camera, p) + 0.5) * self.ss - 0.5)
        return [np.round(np.clip(px, -2e5, 2e5) * 16).astype(np.int32)]

    def mask(self, places: Array, z: float | Array) -> NDArray[np.uint8]:
        """Where a polygon (N, 2) at height z lies in the picture, 0 or 255."""
        m = np.zeros(self.size, np.uint8)
        cv2.fillPoly(m, self.outline_px(places, z), 255, cv2.LINE_8, 4)
        return m

    def fill(self, img: Float, places: Array, z: float | Array, rgb: Rgb) -> None:
        """Fills a polygon with one colour."""
        cv2.fillPoly(img, self.outline_px(places, z), rgb, cv2.LINE_8, 4)


@dataclass(frozen=True, eq=False)
class Bed:
    """The still picture of one camera. Linear-ish float RGB 0..255, before the camera's tone."""

    picture: Float
    """Shape (height, width, 3)."""
    opening: Float
    """Shape (height, width): 1 where the view goes down through the opening between the noses, 0 elsewhere."""
    hole: Float
    """Shape (height, width): 1 in the pockets' dark."""


def _grain(rng: np.random.Generator, shape: tuple[int, int], sx: float, sy: float) -> Float:
    g = rng.standard_normal(shape)
    fy, fx = np.fft.fftfreq(shape[0])[:, None], np.fft.rfftfreq(shape[1])[None]
    # softened in the spectrum, so that the texture wraps
    g = np.fft.irfft2(np.fft.rfft2(g) * np.exp(-2 * np.pi**2 * ((fx * sx) ** 2 + (fy * sy) ** 2)), shape)
    return np.asarray(g / (g.std() + 1e-9), np.float32)


def _sample(texture: Float, xy: Float, mm: float) -> Float:
    """A wrapped texture of `mm` per cell at places xy (H, W, 2)."""
    h, w = texture.shape
    m = np.mod(xy / mm, (w, h)).astype(np.float32)
    return np.asarray(
        cv2.remap(texture, m[..., 0], m[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP), np.float32
    )


def light_at(look: Look, table: Table, xy: Float) -> Float:
    """Light on the cloth's plane: 1 at the brightest place."""
    total = np.zeros(xy.shape[:2], np.float32)
    span = 0.62 * table.length_mm
    for lamp in look.lamps:
        dx = np.maximum(np.abs(xy[..., 0] - lamp.x * table.length_mm) - lamp.half_x_mm, 0)
        dy = np.maximum(np.abs(xy[..., 1] - lamp.y * table.width_mm) - lamp.half_y_mm, 0)
        total += lamp.shine / (1 + (dx * dx + dy * dy) / span**2) ** 1.5
    total /= max(float(total.max()), 1e-6)
    return np.asarray(1 - look.unevenness * (1 - total), np.float32)


def _floor(look: Look, xy: Float, rng: np.random.Generator) -> Float:
    base = np.ones((*xy.shape[:2], 3), np.float32) * np.array(look.floor, np.float32)
    fine = _sample(_grain(rng, (512, 512), 1.2, 1.2), xy, 5.0)
    if look.floor_kind == "plank":
        row = np.floor(xy[..., 1] / 140)
        shift = np.mod(row * 577, 1200)
        along = (xy[..., 0] + shift) / 1200
        tone = np.mod(np.sin(row * 12.9 + np.floor(along) * 78.2) * 43758.5, 1.0)
        wood = _sample(_grain(rng, (512, 512), 8, 0.6), xy, 4.0)
        seam = (np.mod(xy[..., 1], 140) < 5) | (np.mod(along, 1.0) < 0.004)
        base *= (0.9 + 0.14 * tone + 0.035 * wood)[..., None]
        base[seam] *= 0.75
    elif look.floor_kind == "tile":
        seam = (np.mod(xy[..., 0], 400) < 8) | (np.mod(xy[..., 1], 400) < 8)
        base *= (1 + 0.02 * fine)[..., None]
        base[seam] *= 0.7
    else:
        base *= (1 + 0.09 * fine)[..., None]
    return base


TEXTURE_OUT_MM = 120
"""How far the cloth's texture reaches beyond the nose lines."""


def _dab(tex: Float, x: float, y: float, r: float, add: float) -> None:
    """Adds a soft spot to a texture."""
    k = int(3 * r) + 2
    x0, y0 = max(0, int(x) - k), max(0, int(y) - k)
    part = tex[y0 : int(y) + k, x0 : int(x) + k]
    gy, gx = np.mgrid[y0 : y0 + part.shape[0], x0 : x0 + part.shape[1]]
    part += (add * np.exp(-((gx - x) ** 2 + (gy - y) ** 2) / (2 * r * r)))[..., None].astype(np.float32)


def _tile(g: Float, h: int, w: int) -> Float:
    return np.asarray(np.tile(g, (h // g.shape[0] + 1, w // g.shape[1] + 1))[:h, :w], np.float32)


def _cloth_texture(look: Look, table: Table, rng: np.random.Generator, mm: float) -> Float:
    """The bed's cloth seen from straight above, `mm` a texel, with marks, head string and foot spot."""
    o = round(TEXTURE_OUT_MM / mm)
    L, W = table.length_mm / mm, table.width_mm / mm
    h, w = int(W) + 2 * o, int(L) + 2 * o
    weave = _tile(_grain(rng, (512, 512), 4.0 / mm, 1.0 / mm), h, w)
    blotch = cv2.resize(_grain(rng, (128, 128), 1.5, 1.5), (w, h), interpolation=cv2.INTER_LINEAR)
    grain = (1 + look.cloth_noise * (0.4 * weave + 0.25 * blotch)).astype(np.float32)
    tex = np.asarray(cv2.merge([grain * np.float32(c) for c in look.cloth]), np.float32)
    for k in range(look.marks):
        x, y = rng.uniform((o, o), (L + o, W + o))
        r = (rng.uniform(2, 3) if k % 2 else rng.uniform(8, 25)) / mm
        _dab(tex, x, y, r, rng.uniform(8, 40) if k % 2 else rng.uniform(4, 14))
    for x in np.linspace(0.35, 0.8, 5) if look.wear > 0 else ():
        _dab(
            tex,
            x * L + o,
            W / 2 + o + rng.normal(0, 60) / mm,
            rng.uniform(90, 170) / mm,
            look.wear * rng.uniform(4, 14),
        )
    if look.head_string:
        x = round(L / 4) + o
        half = 1 if mm < 1.5 else 0
        tex[o:-o, x - half : x + half + 1] += np.float32(40)
    if look.foot_spot:
        at = (round(L * 0.75) + o, round(W / 2) + o)
        cv2.circle(tex, at, round(8 / mm), (36, 34, 34), max(1, round(3 / mm)), cv2.LINE_AA)
    return tex


def _cloth(look: Look, table: Table, xy: Float, rng: np.random.Generator) -> Float:
    mm = 1.0 if xy.shape[1] > 2000 else 2.0
    m = (xy + np.float32(TEXTURE_OUT_MM)) / np.float32(mm)
    tex = _cloth_texture(look, table, rng, mm)
    out = cv2.remap(tex, m[..., 0], m[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(out, np.float32)


def _nose_shade(table: Table, xy: Float) -> Float:
    """Darkening of the bed under and beside the noses."""
    L, W = table.length_mm, table.width_mm
    inside = np.minimum(np.minimum(xy[..., 0], L - xy[..., 0]), np.minimum(xy[..., 1], W - xy[..., 1]))
    return np.asarray(
        1 - 0.42 / (1 + np.exp((inside + 2) / 9.0)) - 0.10 * np.exp(-np.maximum(inside, 0) / 60), np.float32
    )


def _sight_shapes(look: Look, table: Table) -> list[Array]:
    L, W = table.length_mm, table.width_mm
    at = [(L * k / 8, y) for k in (1, 2, 3, 5, 6, 7) for y in (-SIGHT_MM, W + SIGHT_MM)]
    at += [(x, W * k / 4) for k in (1, 2, 3) for x in (-SIGHT_MM, L + SIGHT_MM)]
    shapes = []
    for x, y in at:
        if look.sights == "dot":
            shapes.append(_circle(x, y, 5.5, 20))
        elif look.sights == "diamond":
            across = y in (-SIGHT_MM, W + SIGHT_MM)
            a, b = (5.0, 10.0) if across else (10.0, 5.0)
            shapes.append(np.array([[x - a, y], [x, y - b], [x + a, y], [x, y + b]]))
    return shapes


def _paint(img: Float, mask: NDArray[np.uint8], rgb: Float) -> None:
    x, y, w, h = cv2.boundingRect(mask)
    box = np.s_[y : y + h, x : x + w]
    if w and h:
        cv2.copyTo(np.ascontiguousarray(rgb[box]), np.ascontiguousarray(mask[box]), img[box])


def _chalks(img: Float, painter: Painter, table: Table, look: Look, rng: np.random.Generator) -> None:
    for _ in range(look.chalks):
        t = rng.uniform(0.1, 0.9)
        far = rng.integers(0, 4)
        L, W = table.length_mm, table.width_mm
        p = [(t * L, -100.0), (t * L, W + 100.0), (-100.0, t * W), (L + 100.0, t * W)][far]
        a = rng.uniform(0, 90) + np.array([45, 135, 225, 315])
        sq = np.c_[p[0] + 15 * np.cos(np.radians(a)), p[1] + 15 * np.sin(np.radians(a))]
        for z, k in ((RAIL_TOP_MM, 0.6), (RAIL_TOP_MM + 12, 0.8), (RAIL_TOP_MM + 22, 1.0)):
            painter.fill(img, sq, z, (38 * k, 90 * k, 180 * k))


def _cushion_tops(
    img: Float, p: Painter, table: Table, look: Look, xy: Float, light: Float, rng: np.random.Generator
) -> NDArray[np.bool_]:
    """Paints the six cushions; gives where they lie."""
    weave = _sample(_grain(rng, (512, 512), 2.0, 0.7), xy, 2.0)
    tone = {"right": 1.0, "left": 0.92, "head": 1.02, "foot": 0.95}
    every = np.zeros(p.size, bool)
    for name, quad in cushions(table).items():
        dense = _dense(quad)
        back = np.zeros(len(dense))
        side = name.split("-")[0]
        axis, at = (1, 0.0 if side == "right" else table.width_mm) if side in ("left", "right") else (
            0, 0.0 if side == "head" else table.length_mm)  # fmt: skip
        back = np.abs(dense[:, axis] - at) / CUSHION_MM
        m = p.mask(dense, table.nose_height_mm + back * (RAIL_TOP_MM - table.nose_height_mm))
        v = tone[side] * (1 + 0.5 * look.cloth_noise * weave) * light
        _paint(img, m, np.asarray(np.array(look.cloth, np.float32) * v[..., None] * 1.04, np.float32))
        every |= m > 0
        # the seam where the cloth dives under the wood
        p.fill(img, np.r_[_dense(quad[2:4], 40), quad[3:4]], RAIL_TOP_MM, (30, 28, 26))
    return every


def _rails(
    img: Float, p: Painter, table: Table, look: Look, high: Float, light: Float, rng: np.random.Generator
) -> None:
    """Paints the wood with its outer side and its sights."""
    p.fill(img, _rounded(table, RAIL_OUTER_MM - 8, 60), -120.0, (24, 22, 22))
    for z in (-60.0, 0.0, 30.0):
        k = 0.35 + 0.2 * (z + 60) / 90
        p.fill(
            img, _rounded(table, RAIL_OUTER_MM, 70), z, (look.wood[0] * k, look.wood[1] * k, look.wood[2] * k)
        )
    wood = (
        np.array(look.wood, np.float32)
        * ((1 + 0.02 * _sample(_grain(rng, (512, 512), 2.0, 0.8), high, 3.0)) * light)[..., None]
    )
    p.fill(img, _rounded(table, RAIL_OUTER_MM, 70), RAIL_TOP_MM, (38, 32, 30))
    _paint(img, p.mask(_rounded(table, RAIL_OUTER_MM - 3, 68), RAIL_TOP_MM), np.asarray(wood, np.float32))
    for s in _sight_shapes(look, table):
        p.fill(img, s, RAIL_TOP_MM, look.sight_rgb)


def make_bed(camera: Camera, width: int, height: int, table: Table, look: Look) -> Bed:
    """Paints the table: by inverse mapping for cloth and floor, by projected outlines for what stands up."""
    ss = 2 if width * height <= 2_100_000 else 1
    rng = np.random.default_rng(look.grain_seed)
    p = Painter(camera, width, height, ss)

    def where(z: float) -> Float:
        m = plane_map(camera, width, height, z)
        big = cv2.resize(m, (width * ss, height * ss), interpolation=cv2.INTER_LINEAR) if ss > 1 else m
        return np.asarray(big, np.float32)

    xy = where(0.0)
    light = light_at(look, table, xy)
    img = _floor(look, where(-780.0), rng) * np.float32(0.85) * light[..., None]
    high = where(RAIL_TOP_MM)
    _rails(img, p, table, look, high, light, rng)
    holes = np.zeros(p.size, np.uint8)
    for pit in pits(table):
        p.fill(img, _circle(*pit.centre, pit.radius_mm + look.rim_mm), RAIL_TOP_MM, look.rim_rgb)
        holes |= p.mask(_circle(*pit.centre, pit.radius_mm), RAIL_TOP_MM)
    img[holes > 0] = np.float32(17)
    mouth = p.mask(_dense(np.concatenate(_opening(table))), table.nose_height_mm)
    cloth = _cloth(look, table, xy, rng) * (light * _nose_shade(table, xy))[..., None]
    _paint(img, mouth, np.asarray(cloth, np.float32))
    through = (mouth | holes) > 0
    dark = (holes > 0) & (mouth == 0)
    for pit in pits(table):
        lip = (p.mask(_circle(*pit.centre, pit.radius_mm + 4), 0.0) > 0) & through
        img[lip] *= 0.45
        deep = (p.mask(_circle(*pit.centre, pit.radius_mm), 0.0) > 0) & through
        img[deep] = np.float32(20)
        dark |= deep
    tops = _cushion_tops(img, p, table, look, high, light, rng)
    _chalks(img, p, table, look, rng)
    opening, hole = (through & ~tops).astype(np.float32), (dark & ~tops).astype(np.float32)
    size = (width, height)
    layers = [img, opening, hole]
    if ss > 1:
        layers = [np.asarray(cv2.resize(a, size, interpolation=cv2.INTER_AREA), np.float32) for a in layers]
    return Bed(*layers)


def _opening(table: Table) -> list[Array]:
    """Outline of the opening at nose height: along the noses and round each pocket's facings."""
    c = cushions(table)
    order = (
        (c["right-head"], False), (c["right-foot"], False), (c["foot"], False),
        (c["left-foot"], True), (c["left-head"], True), (c["head"], True),
    )  # fmt: skip
    out = []
    for q, back in order:
        a = q[[3, 0, 1, 2]]
        out.append(a[::-1] if back else a)
    return out
