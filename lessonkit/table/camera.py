"""The camera over the table: table millimetres to pixels and back, lens included.

Pixel (0, 0) is the centre of the picture's first pixel, x to the right, y down. Lens model: Brown-Conrady with
k1, k2, p1, p2 in OpenCV's conventions (Brown 1966; OpenCV documentation, calib3d).
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from lessonkit.model import Camera

Array = NDArray[np.float64]


def rotation_matrix(camera: Camera) -> Array:
    """The rotation table -> camera, shape (3, 3)."""
    return np.asarray(cv2.Rodrigues(np.asarray(camera.rotation, float).reshape(3, 1))[0], float)


def centre_mm(camera: Camera) -> Array:
    """The optical centre in the table frame, shape (3,)."""
    return np.asarray(-rotation_matrix(camera).T @ np.asarray(camera.translation, float), float)


def project(camera: Camera, places_mm: ArrayLike, z_mm: float = 0.0) -> Array:
    """Pixels, shape (N, 2), of places: shape (N, 2) at height `z_mm`, or (N, 3)."""
    p = np.atleast_2d(np.asarray(places_mm, float))
    if p.size == 0:
        return np.zeros((0, 2))
    if p.shape[1] == 2:
        p = np.c_[p, np.full(len(p), float(z_mm))]
    # spelled out, for OpenCV's projectPoints works out all derivatives as well: ten times the time for a whole view
    seen = rotation_matrix(camera) @ p.T + np.asarray(camera.translation, float).reshape(3, 1)
    depth = np.where(seen[2] == 0, 1.0, seen[2])
    x, y = seen[0] / depth, seen[1] / depth
    k1, k2, p1, p2, k3 = (*(float(k) for k in camera.distortion), 0.0)[:5]
    r2, xy = x * x + y * y, 2 * x * y
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    lens_x = x * radial + p1 * xy + p2 * (r2 + 2 * x * x)
    lens_y = y * radial + p2 * xy + p1 * (r2 + 2 * y * y)
    m = camera.matrix
    return np.stack([m[0, 0] * lens_x + m[0, 2], m[1, 1] * lens_y + m[1, 2]], 1)


def rays(camera: Camera, pixels: ArrayLike) -> Array:
    """Directions in the table frame, shape (N, 3), not normalised, of the light that falls on these pixels."""
    px = np.atleast_2d(np.asarray(pixels, float)).reshape(-1, 1, 2)
    if px.size == 0:
        return np.zeros((0, 3))
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 40, 1e-9)
    n = cv2.undistortPoints(px, camera.matrix, camera.distortion, criteria=criteria).reshape(-1, 2)
    return np.asarray(np.c_[n, np.ones(len(n))] @ rotation_matrix(camera), float)


def unproject(camera: Camera, pixels: ArrayLike, z_mm: float) -> Array:
    """Places (x, y), shape (N, 2), at height `z_mm` that these pixels, shape (N, 2), show."""
    d = rays(camera, pixels)
    if not len(d):
        return np.zeros((0, 2))
    c = centre_mm(camera)
    s = (z_mm - c[2]) / d[:, 2]
    return np.asarray(c[None, :2] + s[:, None] * d[:, :2], float)
