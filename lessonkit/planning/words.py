"""What the trade's words mean in figures: speeds, tip heights, tips of side (docs/strokes.md)."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from lessonkit.model import Intent, Point, Shade, Speed, Stroke
from lessonkit.physics.impacts import MISCUE_LIMIT
from lessonkit.physics.laws import GRAVITY_MMPS2, Laws

MPH_MPS = 0.44704
SPEEDS_MPS: dict[Speed, tuple[float, float]] = {
    "soft": (0.3, 2 * MPH_MPS),
    "medium": (2 * MPH_MPS, 4 * MPH_MPS),
    "firm": (4 * MPH_MPS, 7 * MPH_MPS),
    "hard": (7 * MPH_MPS, 12 * MPH_MPS),
}
"""Cue-ball speeds after the tip. Bounds between words: Alciatore, typical shot speeds (slow up to 2 mph, medium 2-4,
fast 4-7, power from 7); the ends are ours."""
ANY_SPEED_MPS = (0.45, 8 * MPH_MPS)
USUAL_SPEED_MPS = 1.5
WIDER = 0.12
"""Share by which a word's range may be left where nothing inside it serves."""
TIPS_UP: dict[Stroke, tuple[float, float, float]] = {
    "follow": (0.0, 0.27, MISCUE_LIMIT),
    "force follow": (0.08, 0.27, MISCUE_LIMIT),
    "draw": (-MISCUE_LIMIT, -0.34, -0.12),
}
"""Least, usual, greatest tip height in ball radii: common practice, no source."""
NO_WORD_UP = (0.0, 0.2, 0.4)
DEAD_BAND = 0.1
"""How far, in radii, a stop or stun may miss the height that arrives without forward spin."""
SHADE = (0.05, 0.12, 0.22)
"""How far above it a stun is struck that is to run through, and below it one that is to draw back a little: least,
usual, greatest; common practice, no source."""
TIP_RADII = 0.42
"""One tip of side: about 12 mm of a 12-13 mm tip, in ball radii; common practice, no source."""
SOME_SIDE = (0.12, 0.3, 0.45)
"""Side with no amount: least, usual, greatest."""


@dataclass(frozen=True)
class Choice:
    """A range and its usual value."""

    low: float
    usual: float
    high: float

    @property
    def half(self) -> float:
        """Half its width, at least a little."""
        return max(0.5 * (self.high - self.low), 1e-3)


def speed_choice(intent: Intent) -> Choice:
    """The speeds (m/s) that a note's words allow, a little widened."""
    if intent.speed is None:
        if intent.stroke == "force follow" or intent.into_rack:
            low, high = SPEEDS_MPS["firm"][0], SPEEDS_MPS["hard"][1]
            return Choice(low, 2.8, high)
        return Choice(ANY_SPEED_MPS[0], USUAL_SPEED_MPS, ANY_SPEED_MPS[1])
    low, high = SPEEDS_MPS[intent.speed]
    usual = sqrt(low * high)
    return Choice(low * (1 - WIDER), usual, high * (1 + WIDER))


def tip_choice(stroke: Stroke | None, shade: Shade | None = None) -> Choice:
    """Tip heights (radii) of a kind of stroke; for stop and stun the offset from `dead_tip`."""
    if stroke in ("stop", "stun"):
        if shade is not None:
            low, usual, high = SHADE
            return Choice(low, usual, high) if shade == "run through" else Choice(-high, -usual, -low)
        return Choice(-DEAD_BAND, 0.0, DEAD_BAND)
    return Choice(*(TIPS_UP[stroke] if stroke is not None else NO_WORD_UP))


def side_choice(intent: Intent) -> Choice:
    """Tip offsets to the left (radii, right negative) that a note's words allow."""
    if intent.side is None or intent.side == "none":
        return Choice(0.0, 0.0, 0.0)
    if intent.side_tips is not None:
        value = min(abs(intent.side_tips) * TIP_RADII, MISCUE_LIMIT)
        low, usual, high = value * 0.85, value, min(value * 1.1, MISCUE_LIMIT)
    else:
        low, usual, high = SOME_SIDE
    return Choice(low, usual, high) if intent.side == "left" else Choice(-high, -usual, -low)


def dead_tip(speed_mps: float, distance_mm: float, laws: Laws) -> float:
    """Tip height (radii) at which a level stroke arrives after `distance_mm` with no spin at all, sliding.

    Friction gives the ball spin at 5 mu g / 2R, the tip takes 5 v b / 2R2 away: b/R = -mu g t / v, with
    d = v t - mu g t2 / 2. Bounded by the miscue limit; a ball too slow to slide that far gets the limit.
    """
    v, a = 1000.0 * speed_mps, laws.mu_slide * GRAVITY_MMPS2
    left = v * v - 2.0 * a * distance_mm
    if left <= 0.0:
        return -MISCUE_LIMIT
    return max(-MISCUE_LIMIT, -(v - sqrt(left)) / v)


def arrival_spin(speed_mps: float, tip_up: float, t_s: float, laws: Laws) -> float:
    """R w / v, forward positive, of a ball `t_s` after a level stroke: 1 once it rolls (laws of B1, docs/physics.md)."""
    v, a = 1000.0 * speed_mps, laws.mu_slide * GRAVITY_MMPS2
    slip = v * (1.0 - 2.5 * tip_up)
    if t_s >= 2.0 * abs(slip) / (7.0 * a):
        return 1.0
    sign = 1.0 if slip > 0.0 else -1.0
    return (2.5 * tip_up * v + sign * 2.5 * a * t_s) / (v - sign * a * t_s)


def distance(a: Point, b: Point) -> float:
    """Distance of two places, mm."""
    return sqrt((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2)


def speed_word(speed_mps: float) -> Speed:
    """The word for a speed of the cue ball after the tip."""
    return next((w for w, (_, high) in SPEEDS_MPS.items() if speed_mps <= high), "hard")
