"""The person's own logo, ready to be laid over pictures."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from lessonkit.errors import SettingsError
from lessonkit.lesson.picture import Layer, Overlay
from lessonkit.lesson.settings import Logo

MARGIN_SHARE = 0.03
"""Of the picture's shorter side, between logo and edges."""
TALLEST_SHARE = 0.25


def logo_overlay(logo: Logo, size: tuple[int, int]) -> Overlay | None:
    """The logo in its corner of pictures of `size`; None where none is set. Raises SettingsError if it is no picture."""
    if not logo.file:
        return None
    width, height = size
    try:
        content = np.fromfile(Path(logo.file), np.uint8)
        image = cv2.imdecode(content, cv2.IMREAD_UNCHANGED) if content.size else None
    except OSError:
        image = None
    if image is None:
        raise SettingsError(f"{logo.file} is no picture that can be read; give the logo as a PNG file.")
    if image.dtype != np.uint8:
        image = np.asarray(image / 257, np.uint8)
    if image.ndim == 2:
        image = cv2.cvtColor(image, cv2.COLOR_GRAY2BGR)
    if image.shape[2] == 3:
        image = np.dstack([image, np.full(image.shape[:2], 255, np.uint8)])
    scale = min(logo.width * width / image.shape[1], TALLEST_SHARE * height / image.shape[0])
    wide, high = max(2, round(image.shape[1] * scale)), max(2, round(image.shape[0] * scale))
    clear = image.astype(np.float32)
    clear[..., :3] *= clear[..., 3:] / 255
    small = np.asarray(cv2.resize(clear, (wide, high), interpolation=cv2.INTER_AREA))
    margin = round(min(size) * MARGIN_SHARE)
    x = margin if logo.corner.endswith("left") else width - margin - wide
    y = margin if logo.corner.startswith("top") else height - margin - high
    layer = Layer(width, height)
    layer.bgra[y : y + high, x : x + wide] = np.clip(np.rint(small), 0, 255).astype(np.uint8)
    layer.touched = (x, y, x + wide, y + high)
    return layer.overlay()
