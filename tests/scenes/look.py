"""How a scene looks: colours, light, picture quality. All colours are (R, G, B), 0..255."""

from __future__ import annotations

from dataclasses import dataclass, field

Rgb = tuple[float, float, float]

CLOTHS: dict[str, Rgb] = {
    "green": (10, 138, 84), "blue": (26, 112, 206), "grey": (118, 124, 136), "red": (158, 32, 44),
    "tan": (176, 148, 104), "black": (44, 46, 50), "purple": (92, 52, 140), "teal": (12, 128, 136),
    "dark green": (14, 84, 52), "navy": (32, 52, 104), "light blue": (84, 150, 200), "burgundy": (106, 26, 44),
    "olive": (104, 112, 56), "orange": (206, 108, 40),
}  # fmt: skip
WOODS: dict[str, Rgb] = {
    "brown": (120, 76, 56), "dark": (72, 58, 54), "charcoal": (58, 58, 66), "oak": (172, 128, 78),
    "mahogany": (104, 44, 34), "black": (34, 34, 36), "white": (206, 204, 198), "walnut": (94, 66, 46),
}  # fmt: skip
FLOORS: dict[str, Rgb] = {
    "plank": (112, 106, 108), "carpet": (112, 104, 102), "dark carpet": (52, 48, 56), "oak plank": (158, 122, 84),
    "tile": (178, 174, 166), "red carpet": (110, 44, 42), "blue carpet": (48, 62, 98),
}  # fmt: skip
BALLS: dict[int, Rgb] = {
    0: (236, 232, 222), 1: (240, 192, 12), 2: (32, 58, 176), 3: (214, 26, 34), 4: (92, 38, 140),
    5: (240, 116, 18), 6: (22, 110, 66), 7: (130, 26, 40), 8: (40, 40, 44),
}  # fmt: skip


@dataclass(frozen=True)
class Lamp:
    """A lit rectangle over the table; it lights the cloth and mirrors in the balls."""

    x: float
    """As a share of the table's length, 0..1 (may lie outside)."""
    y: float
    half_x_mm: float = 420.0
    half_y_mm: float = 110.0
    z_mm: float = 1800.0
    shine: float = 1.0


@dataclass(frozen=True)
class Look:
    """Everything about the picture that is not geometry."""

    cloth: Rgb = CLOTHS["green"]
    wood: Rgb = WOODS["brown"]
    floor: Rgb = FLOORS["plank"]
    floor_kind: str = "plank"
    sights: str = "diamond"
    """'diamond', 'dot' or 'none'."""
    sight_rgb: Rgb = (232, 230, 224)
    head_string: bool = True
    foot_spot: bool = True
    cloth_noise: float = 0.045
    marks: int = 30
    """Chalk smudges and specks on the cloth."""
    wear: float = 1.0
    """Paleness of the cloth where most balls run, 0..2."""
    chalks: int = 2
    """Cubes of chalk lying on the rails."""
    lamps: tuple[Lamp, ...] = (Lamp(0.5, 0.5),)
    unevenness: float = 0.15
    """How much the light falls off from under the lamps to the far ends of the table."""
    glare: float = 0.0
    """Strength of the lamps' sheen on the cloth, 0..0.6."""
    vignette: float = 0.08
    brightness: float = 1.0
    white_balance: Rgb = (1.0, 1.0, 1.0)
    contrast: float = 1.0
    noise: float = 2.0
    """Standard deviation of the picture's noise, grey levels."""
    blur_px: float = 0.5
    """Softness of the lens, standard deviation."""
    exposure_s: float = 1 / 120
    flicker: float = 0.0
    """Beat of the mains in the brightness, share."""
    drift: float = 0.0
    """Slow breathing of the camera's own exposure, share."""
    shake_px: float = 0.0
    """Standard deviation of a swaying mount; the truth's camera is the mean."""
    rim_mm: float = 13.0
    rim_rgb: Rgb = (62, 60, 64)
    ball_rgb: dict[int, Rgb] = field(default_factory=lambda: dict(BALLS))
    stripe_white: Rgb = (234, 230, 218)
    band: float = 0.5
    """Half the width of a stripe over the ball's radius."""
    disc: float = 0.32
    """Radius of the number's disc over the ball's radius."""
    cue_dots: bool = True
    grain_seed: int = 1
