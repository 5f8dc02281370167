"""What a contact does to balls, for callers outside the event loop: the tip here, the rest in `kernels.impacts`."""

from __future__ import annotations

import numpy as np

from lessonkit.physics.kernels.state import Floats
from lessonkit.physics.laws import Laws
from lessonkit.physics.motion import Ball, constants, rows_of

MISCUE_LIMIT = 0.5
"""Greatest tip offset in ball radii (Alciatore, TP 2.1)."""
HIGHEST_DEG = 89.0


def strike(
    x_mm: float,
    y_mm: float,
    aim_deg: float,
    speed_mps: float,
    tip_up: float,
    tip_left: float,
    radius_mm: float,
    elevation_deg: float = 0.0,
) -> Ball:
    """The cue ball just after the tip.

    aim_deg: direction of the ball from +x towards +y. speed_mps: the ball's, along the cloth. Tip offsets in ball radii,
    square to the cue; beyond the miscue limit they are drawn back to it. elevation_deg: of the cue's butt, 0 to 89.

    Raises ValueError for another elevation.
    """
    stroke = [[aim_deg, speed_mps, tip_up, tip_left, elevation_deg]]
    return Ball(x_mm, y_mm, *struck(np.array(stroke), radius_mm)[0].tolist())


def struck(strokes: Floats, radius_mm: float) -> Floats:
    """vx, vy (mm/s), wx, wy, wz (rad/s) of the cue ball after each stroke, shape (N, 5).

    strokes: shape (N, 4) or (N, 5): aim_deg, speed_mps, tip_up, tip_left and elevation_deg (0 where left out) of `strike`.

    An impulse along the cue through a point off the centre: w = r x J / I with I = 2/5 m R2, so R w / V = 2.5 b/R about
    the level axis across the aim for a height b, and 2.5 a/R about the axis square to the cue for a side a, where V is
    the speed along the cue, v / cos(elevation) (Coriolis 1835). The cloth takes the downward part; a hop is left out.

    Raises ValueError for another shape, or an elevation outside 0 to 89 degrees.
    """
    if strokes.ndim != 2 or strokes.shape[1] not in (4, 5):
        raise ValueError(f"strokes must have the shape (N, 4) or (N, 5), not {strokes.shape}")
    raised = np.radians(strokes[:, 4]) if strokes.shape[1] == 5 else np.zeros(len(strokes))
    if not np.all((raised >= 0.0) & (raised <= np.radians(HIGHEST_DEG))):
        raise ValueError(f"the cue can be raised by 0 to {HIGHEST_DEG:.0f} degrees")
    aim, v = np.radians(strokes[:, 0]), 1000.0 * strokes[:, 1]
    held = MISCUE_LIMIT / np.maximum(np.hypot(strokes[:, 2], strokes[:, 3]), MISCUE_LIMIT)
    up, left = strokes[:, 2] * held, strokes[:, 3] * held
    c, s = np.cos(aim), np.sin(aim)
    w = 2.5 * v / np.cos(raised) / radius_mm
    along, across, upright = -w * left * np.sin(raised), w * up, -w * left * np.cos(raised)
    return np.column_stack([v * c, v * s, along * c - across * s, along * s + across * c, upright])


def ball_speed_mps(cue_mps: float, tip_off: float, cue_over_ball: float = 3.2, e_tip: float = 0.73) -> float:
    """Speed of the ball along the cue for a cue that comes at `cue_mps`, mass `cue_over_ball` times the ball's.

    From the impulse between two bodies of which one can turn: J = (1 + e) m V / (1 + m/M + 5/2 (b/R)2), b the offset of
    the tip, e its restitution. The default mass is a cue of 19 oz on a ball of 6 oz, the restitution usual for leather
    (from memory, no source read): docs/physics.md, "Tip".
    """
    return (1.0 + e_tip) * cue_mps / (1.0 + 1.0 / cue_over_ball + 2.5 * tip_off * tip_off)


def ball_ball(a: Ball, b: Ball, laws: Laws, radius_mm: float) -> float:
    """Impact of two touching balls, in place; returns the speed of approach, mm/s (`kernels.impacts.ball_ball`)."""
    from lessonkit.physics.kernels import impacts

    state = rows_of(a, b)
    approach = impacts.ball_ball(state, 0, 1, constants(laws, radius_mm))
    a.take(state[0])
    b.take(state[1])
    return approach


def cushion(ball: Ball, nx: float, ny: float, sine: float, laws: Laws, radius_mm: float) -> float:
    """Rebound, in place, from a cushion in the direction (nx, ny); returns the approach, mm/s.

    sine: height of the nose above the centre over the radius (`kernels.impacts.cushion`).
    """
    from lessonkit.physics.kernels import impacts

    state = rows_of(ball)
    approach = impacts.cushion(state, 0, nx, ny, constants(laws, radius_mm, sine=sine))
    ball.take(state[0])
    return approach
