"""One ball between two contacts, for callers outside the event loop; the laws are in `kernels.motion`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lessonkit.physics.kernels.state import COLUMNS, INF, MOVING, Constants, Floats
from lessonkit.physics.laws import CUSHION_LEAST, CUSHION_LIMIT_MPS, GRAVITY_MMPS2, Laws


@dataclass(slots=True)
class Ball:
    """A ball's state at `t`: place mm, velocity mm/s, spin rad/s, and the law it follows until `ends`."""

    x: float
    y: float
    vx: float = 0.0
    vy: float = 0.0
    wx: float = 0.0
    wy: float = 0.0
    wz: float = 0.0
    t: float = 0.0
    ax: float = 0.0
    ay: float = 0.0
    bx: float = 0.0
    """Rate of wx."""
    by: float = 0.0
    """Rate of wy."""
    ends: float = INF
    """When the law changes; infinite at rest."""
    moving: bool = False

    def row(self) -> tuple[float, ...]:
        """The columns of `kernels.state`."""
        return (
            self.x, self.y, self.vx, self.vy, self.wx, self.wy, self.wz,
            self.t, self.ax, self.ay, self.bx, self.by, self.ends, float(self.moving),
        )  # fmt: skip

    def take(self, row: Floats) -> None:
        """Take on the state that a row of `kernels.state` holds."""
        (
            self.x, self.y, self.vx, self.vy, self.wx, self.wy, self.wz,
            self.t, self.ax, self.ay, self.bx, self.by, self.ends, _,
        ) = row.tolist()  # fmt: skip
        self.moving = bool(row[MOVING])


def constants(laws: Laws, radius_mm: float, touch_mm: float | None = None, sine: float = 0.0) -> Constants:
    """The numbers that the compiled laws work with; touch and sine: of the cushions (`Cushions`)."""
    return Constants(
        slide_mmps2=laws.mu_slide * GRAVITY_MMPS2,
        roll_mmps2=laws.mu_roll * GRAVITY_MMPS2,
        spin_decay_radps2=float(laws.spin_decay_radps2),
        e_ball=float(laws.e_ball),
        mu_ball_rest=float(laws.mu_ball_rest),
        mu_ball_fall=float(laws.mu_ball_fall),
        mu_ball_rate=laws.mu_ball_rate / 1000.0,
        e_cushion=float(laws.e_cushion),
        e_cushion_fall=laws.e_cushion_fall_spm / 1000.0,
        e_cushion_mmps=1000.0 * CUSHION_LIMIT_MPS,
        e_cushion_least=CUSHION_LEAST,
        mu_cushion=float(laws.mu_cushion),
        mu_slide=float(laws.mu_slide),
        radius=float(radius_mm),
        touch=float(radius_mm if touch_mm is None else touch_mm),
        sine=float(sine),
    )


def rows_of(*balls: Ball) -> Floats:
    """State of some balls, shape (n, COLUMNS)."""
    return np.array([b.row() for b in balls], dtype=np.float64).reshape(len(balls), COLUMNS)


def settle(ball: Ball, laws: Laws, radius_mm: float) -> None:
    """Choose the law that holds from ball.t on, in place."""
    from lessonkit.physics.kernels import motion

    state = rows_of(ball)
    motion.settle(state, 0, constants(laws, radius_mm))
    ball.take(state[0])


def advance(ball: Ball, t: float, laws: Laws) -> None:
    """Move a ball, in place, to time `t`, which must not lie beyond the end of its law."""
    from lessonkit.physics.kernels import motion

    state = rows_of(ball)
    motion.advance(state, 0, t, constants(laws, 1.0))
    ball.take(state[0])


def energy(ball: Ball, radius_mm: float) -> float:
    """Kinetic energy per mass, mm2/s2: v2/2 + R2 w2/5."""
    w2 = ball.wx**2 + ball.wy**2 + ball.wz**2
    return 0.5 * (ball.vx**2 + ball.vy**2) + 0.2 * radius_mm**2 * w2
