"""Cameras over the table: built to frame it, and rays of small boxes of pixels."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Camera, Table
from lessonkit.table.camera import centre_mm, project, rays, unproject

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

RAIL_TOP_MM = 42.0
RAIL_OUTER_MM = 147.0
"""Distance of the wood rail's outer edge behind the nose line."""


@dataclass(frozen=True)
class View:
    """Where the camera hangs and how it looks."""

    width: int = 1280
    height: int = 720
    distance_mm: float = 2800.0
    """From the table's middle to the lens."""
    tilt_deg: float = 3.0
    """Of the optical axis off the vertical."""
    from_deg: float = 270.0
    """Side from which the tilted camera looks: 0 the foot, 90 the left, 180 the head, 270 the right side."""
    roll_deg: float = 0.0
    """Turn of the picture: 0 has the head at the left, 180 at the right, 90 portrait."""
    fill: float = 0.92
    """Share of the frame that the rail's outline takes; above 1 rails are cropped."""
    k1: float = -0.06
    k2: float = 0.01
    p1: float = 0.0
    p2: float = 0.0
    off_px: tuple[float, float] = (0.0, 0.0)
    """Of the table's middle from the middle of the frame."""


def outline(table: Table, out_mm: float, each_mm: float = 60.0) -> Array:
    """Points, shape (N, 2), along a rectangle `out_mm` outside the nose lines, densely so that bent lenses show."""
    L, W = table.length_mm + out_mm, table.width_mm + out_mm
    o = -out_mm
    corners = np.array([[o, o], [L, o], [L, W], [o, W], [o, o]], float)
    parts = []
    for a, b in itertools.pairwise(corners):
        n = max(2, int(np.hypot(*(b - a)) / each_mm))
        parts.append(a + (b - a) * np.linspace(0, 1, n, endpoint=False)[:, None])
    return np.concatenate(parts)


def _pose(view: View, aim: Array) -> tuple[Array, Array]:
    """Rodrigues vector and translation of a camera that looks at `aim` (3,)."""
    a, th, ro = np.radians([view.from_deg, view.tilt_deg, view.roll_deg])
    back = np.array([np.sin(th) * np.cos(a), np.sin(th) * np.sin(a), np.cos(th)])
    # the picture's x axis lies along the table's x axis, turned by the roll, and square to the optical axis
    x = np.array([np.cos(ro), np.sin(ro), 0.0])
    x = x - back * (x @ back)
    x /= np.linalg.norm(x)
    z = -back
    y = np.cross(z, x)
    R = np.stack([x, y, z])
    c = aim + back * view.distance_mm
    return np.asarray(cv2.Rodrigues(R)[0], float).ravel(), -R @ c


def make_camera(view: View, table: Table) -> Camera:
    """A camera that frames the table's outer rails as `view` says."""
    rim = outline(table, RAIL_OUTER_MM)
    aim = np.array([table.length_mm / 2, table.width_mm / 2, 0.0])
    middle = np.array([(view.width - 1) / 2, (view.height - 1) / 2])
    f = 0.9 * view.width
    dist = np.array([view.k1, view.k2, view.p1, view.p2], float)
    camera = Camera(np.eye(3), dist, np.zeros(3), np.zeros(3), 0.0)
    for _ in range(12):
        rvec, t = _pose(view, aim)
        K = np.array([[f, 0, middle[0]], [0, f, middle[1]], [0, 0, 1.0]])
        camera = Camera(K, dist, rvec, t, 0.0)
        px = project(camera, rim, RAIL_TOP_MM)
        lo, hi = px.min(axis=0), px.max(axis=0)
        f *= view.fill / max((hi - lo) / [view.width, view.height])
        shift = unproject(camera, (lo + hi) / 2 - np.array(view.off_px), 0.0)[0]
        here = unproject(camera, middle, 0.0)[0]
        aim[:2] += 0.8 * (shift - here)
    return camera


def _hat(n: int, start: float, step: float, knots: Array) -> Array:
    """Weights, shape (n, len(knots)), that interpolate linearly at start + i * step."""
    x = start + step * np.arange(n)
    h = knots[1] - knots[0]
    return np.asarray(np.maximum(0.0, 1.0 - np.abs(x[:, None] - knots[None]) / h), float)


def box_rays(camera: Camera, x0: int, y0: int, w: int, h: int, ss: int = 1) -> Array:
    """Unit directions in the table frame, shape (h*ss, w*ss, 3), of a box of pixels, `ss` samples a side each.

    The lens is undone on a coarse grid and interpolated; under 0.05 px off for boxes of 100 px.
    """
    m = max(5, int(max(w, h) / 24) + 1)
    kx, ky = np.linspace(x0 - 1.0, x0 + w, m), np.linspace(y0 - 1.0, y0 + h, m)
    gx, gy = np.meshgrid(kx, ky)
    g = rays(camera, np.c_[gx.ravel(), gy.ravel()]).reshape(m, m, 3)
    off = (1.0 / ss - 1.0) / 2
    A, B = _hat(h * ss, y0 + off, 1 / ss, ky), _hat(w * ss, x0 + off, 1 / ss, kx)
    d = np.einsum("im,mnc->inc", A, g)
    d = np.einsum("jn,inc->ijc", B, d)
    return np.asarray(d / np.linalg.norm(d, axis=2, keepdims=True), float)


def plane_map(camera: Camera, width: int, height: int, z_mm: float, grid_px: int = 8) -> NDArray[np.float32]:
    """Table places, shape (height, width, 2), that each pixel shows on the plane at `z_mm`."""
    kx = np.arange(0, width + grid_px, grid_px, dtype=float)
    ky = np.arange(0, height + grid_px, grid_px, dtype=float)
    gx, gy = np.meshgrid(kx, ky)
    d = rays(camera, np.c_[gx.ravel(), gy.ravel()]).reshape(len(ky), len(kx), 3)
    c = centre_mm(camera)
    s = (z_mm - c[2]) / np.minimum(d[..., 2], -1e-3)
    g = (c[None, None, :2] + s[..., None] * d[..., :2]).astype(np.float32)
    fx = (np.arange(width) / grid_px % 1).astype(np.float32)[None, :, None]
    fy = (np.arange(height) / grid_px % 1).astype(np.float32)[:, None, None]
    ix, iy = np.arange(width) // grid_px, np.arange(height) // grid_px
    rows = g[iy] * (1 - fy) + g[iy + 1] * fy
    return np.asarray(rows[:, ix] * (1 - fx) + rows[:, ix + 1] * fx, np.float32)
