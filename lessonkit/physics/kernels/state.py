"""What the compiled functions work on: columns of a ball's state, of faces, tips, drops, contacts and pieces."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

INF = np.inf

X, Y, VX, VY, WX, WY, WZ = 0, 1, 2, 3, 4, 5, 6
"""Place mm, velocity mm/s, spin rad/s."""
T, AX, AY, BX, BY, ENDS, MOVING = 7, 8, 9, 10, 11, 12, 13
"""Time of the state, accelerations, rates of wx and wy, when the law ends, 1.0 if it moves."""
COLUMNS = 14

NO_WALL, LAW, NOSE, JAW, TIP, DROP = 0, 1, 2, 3, 4, 5
"""What a ball's next own event is."""

H_TIME, H_KIND, H_A, H_B, H_WHAT, H_SPEED, H_PIECES = 0, 1, 2, 3, 4, 5, 6
"""A contact: time, what it was, first ball, second ball, which face, tip or drop, speed of approach, pieces by then."""
HIT_COLUMNS = 7
MET_BALL, MET_NOSE, MET_JAW, MET_TIP_NOSE, MET_TIP_JAW, MET_POCKET = 0, 1, 2, 3, 4, 5
"""Kinds of contact."""

P_BALL, P_TIME = 0, 1
"""A piece of path: ball, time, x, y, vx, vy, ax, ay."""
PIECE_COLUMNS = 8

GOING, ENDED, FULL, PAUSED, ENDLESS = 0, 1, 2, 3, 4
"""How `play` came back: all is still or the time is up; no room to write to; the asked number of contacts; too many."""


class Constants(NamedTuple):
    """Laws and sizes; mm, s, rad."""

    slide_mmps2: float
    roll_mmps2: float
    spin_decay_radps2: float
    e_ball: float
    mu_ball_rest: float
    mu_ball_fall: float
    mu_ball_rate: float
    """Per mm/s."""
    e_cushion: float
    e_cushion_fall: float
    """Per mm/s of approach above `e_cushion_mmps`."""
    e_cushion_mmps: float
    e_cushion_least: float
    mu_cushion: float
    mu_slide: float
    radius: float
    touch: float
    """Horizontal distance of centre and nose at contact."""
    sine: float
    """Height of the nose above the centre over the radius."""


class Edges(NamedTuple):
    """What stands around the cloth."""

    faces: Floats
    """Shape (noses + 2 drops, 6): start x, y, end x, y, unit normal into the face x, y; the jaws of drop d follow the
    noses at 2 d and 2 d + 1."""
    noses: int
    tips: Floats
    """Shape (2 drops, 4): x, y, 1.0 if the nose's normal is along x, face."""
    drops: Floats
    """Shape (drops, 7): point and outward direction of the drop line, middle of the mouth, reach."""
