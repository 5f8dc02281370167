"""The constants of balls, cloth and cushions. Sources of each default and its range: docs/physics.md."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

GRAVITY_MMPS2 = 9810.0
"""9.81 m/s2."""


@dataclass(frozen=True)
class Laws:
    """What the laws of motion need to know of one table; defaults are typical published values."""

    mu_slide: float = 0.2
    """Ball on cloth, slipping (published 0.15 to 0.4, typically 0.2)."""
    mu_roll: float = 0.01
    """Rolling deceleration over g (published 0.005 to 0.015, typically 0.01)."""
    spin_decay_radps2: float = 10.0
    """Loss of spin about the vertical (published 5 to 15)."""
    e_ball: float = 0.94
    """Restitution of two balls (published 0.92 to 0.98)."""
    mu_ball_rest: float = 0.009951
    mu_ball_fall: float = 0.108
    mu_ball_rate: float = 1.088
    """Friction of two balls: rest + fall * exp(-rate * slip in m/s), a fit to Marlow's data."""
    e_cushion: float = 0.94
    """Restitution along the line of contact: midway between pool's usual 0.9 at most and 0.98 measured for snooker."""
    mu_cushion: float = 0.14
    """Friction of ball and cushion (Mathavan, Jackson & Parkin 2010)."""
    e_cushion_fall_spm: float = 0.04
    """Loss of that restitution for each m/s of approach above 2.5 m/s: pool's least, 0.6, at a powerful break's 11 m/s."""

    def mu_ball(self, slip_mmps: float) -> float:
        """Ball-ball friction at a slip of `slip_mmps`."""
        return self.mu_ball_rest + self.mu_ball_fall * exp(-self.mu_ball_rate * slip_mmps / 1000.0)


DEFAULT = Laws()
CUSHION_LIMIT_MPS = 2.5
"""Speed along the normal up to which one restitution was found to hold (Mathavan, Jackson & Parkin 2010)."""
CUSHION_LEAST = 0.6
"""Least restitution of a pool cushion (docs/physics.md)."""
