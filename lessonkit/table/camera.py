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
    px, _ = cv2.projectPoints(
        p.reshape(-1, 1, 3), camera.rotation, camera.translation, camera.matrix, camera.distortion
    )
    return np.asarray(px, float).reshape(-1, 2)


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
