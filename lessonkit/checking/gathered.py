"""The measures that a stretch of footage tells by itself, keyed as the limits are."""

from __future__ import annotations

import numpy as np

from lessonkit.checking import measures
from lessonkit.checking.limits import CODINGS
from lessonkit.checking.measures import Mask
from lessonkit.checking.stretch import Stretch


def timely(stretch: Stretch) -> dict[str, float | None]:
    """What needs no table."""
    missing = measures.uneven_share(stretch.times_s)
    repeated = measures.repeated_share(stretch.small)
    steps = np.diff(stretch.times_s)
    lost = None if missing is None else max(missing, repeated or 0.0)
    bits = stretch.bits_per_px
    return {
        "fps": float(1 / steps.mean()) if len(steps) > 1 else None,
        "lost": lost,
        "bits_per_px": None if bits is None else bits * CODINGS.get(stretch.codec, 1.0),
    }


def light(stretch: Stretch, rails: Mask, bed: Mask, small: Mask) -> dict[str, float | None]:
    """What the grey pictures tell; masks of the whole picture's table and bed, and of the small picture's table."""
    grey = stretch.pair[0]
    gain = measures.gains(stretch.small, small)
    return {
        "white": measures.white_level(grey, rails),
        "clipped": measures.clipped_share(grey, bed),
        "noise": measures.noise_levels(*stretch.pair, bed) if len(stretch.small) > 1 else None,
        "flicker": None if gain is None else measures.flicker_share(gain, stretch.times_s),
        "drift": None if gain is None else measures.drift_share(gain, stretch.times_s),
    }
