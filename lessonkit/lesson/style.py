"""Colours and sizes of what the lesson draws, and the contrast that makes them readable.

Colours come from the set of Okabe and Ito (Color Universal Design, 2002), which people with any common colour
vision can tell apart; colour never carries a meaning alone: planned ways are dashed, actual ways are solid.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

Bgr = tuple[int, int, int]
"""A colour as OpenCV has it: blue, green, red, 0-255."""

BLACK = "#000000"
WHITE = "#FFFFFF"
ORANGE = "#E69F00"
SKY_BLUE = "#56B4E9"
GREEN = "#009E73"
YELLOW = "#F0E442"
BLUE = "#0072B2"
VERMILLION = "#D55E00"
PURPLE = "#CC79A7"

PLATE = "#14181C"
"""Ground of text laid over the picture; white on it is far above 4.5:1."""
PLATE_ALPHA = 0.86

MIN_TEXT_CONTRAST = 4.5
"""WCAG 2.x, success criterion 1.4.3, level AA."""
MIN_LINE_CONTRAST = 3.0
"""WCAG 2.x, success criterion 1.4.11, graphical objects."""

BALL_COLOURS: dict[int, str] = {
    1: "#F2C200", 2: "#1F4FA8", 3: "#D22B2B", 4: "#5B2A86", 5: "#EE7623", 6: "#0B7A4B", 7: "#7A1F2B", 8: "#111111",
}  # fmt: skip
"""Colour of each solid; ball n + 8 wears the colour of ball n as a stripe (WPA equipment specifications)."""


def ball_colour(number: int) -> str:
    """The hex colour that ball `number` wears; white for the cue ball and any number outside 1-15."""
    if not 1 <= number <= 15:
        return WHITE
    return BALL_COLOURS[number if number <= 8 else number - 8]


def is_stripe(number: int) -> bool:
    """Whether the ball wears its colour as a stripe."""
    return 9 <= number <= 15


def bgr(colour: str) -> Bgr:
    """'#RRGGBB' as OpenCV's (blue, green, red)."""
    value = int(colour.lstrip("#"), 16)
    return value & 255, value >> 8 & 255, value >> 16


def hex_of(colour: Bgr) -> str:
    """OpenCV's (blue, green, red) as '#RRGGBB'."""
    b, g, r = (min(255, max(0, round(c))) for c in colour)
    return f"#{r:02X}{g:02X}{b:02X}"


def luminance(colour: str) -> float:
    """Relative luminance, 0-1, of '#RRGGBB' (WCAG 2.x, with the threshold 0.04045 of May 2021)."""
    value = int(colour.lstrip("#"), 16)
    channels = [(value >> shift & 255) / 255 for shift in (16, 8, 0)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast_ratio(a: str, b: str) -> float:
    """Contrast ratio, 1-21, of two '#RRGGBB' colours (WCAG 2.x)."""
    la, lb = luminance(a), luminance(b)
    return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)


def text_on(ground: str) -> str:
    """Black or white, whichever reads better on `ground`; one of them always has 4.5:1."""
    return max((BLACK, WHITE), key=lambda c: contrast_ratio(c, ground))


def _lab(colour: str) -> np.ndarray:
    pixel = np.array([[bgr(colour)]], np.float32) / 255
    return np.asarray(cv2.cvtColor(pixel, cv2.COLOR_BGR2LAB)[0, 0])


def difference(a: str, b: str) -> float:
    """How far apart two colours look: distance in CIELAB, about 2 being just noticeable."""
    return float(np.linalg.norm(_lab(a) - _lab(b)))


@dataclass(frozen=True)
class Ink:
    """A line's colour and that of the edge around it."""

    line: str
    edge: str

    def stands_out(self, cloth: str) -> bool:
        """Whether line or edge has 3:1 against the cloth, and each 3:1 against the other."""
        against = max(contrast_ratio(self.line, cloth), contrast_ratio(self.edge, cloth))
        return min(against, contrast_ratio(self.line, self.edge)) >= MIN_LINE_CONTRAST


@dataclass(frozen=True)
class Inks:
    """Everything drawn on one cloth."""

    cloth: str
    planned: Ink
    actual: Ink
    aim: Ink
    """The called ball's way, the ghost ball, rings and marks."""


FAR_ENOUGH = 34.0
"""Least CIELAB distance between a line and the cloth, and between two lines; our own choice."""


def look_alike(a: Ink, b: Ink) -> bool:
    """Whether one has the line's colour of the other for its edge and the other way round: thin lines of the two look the same."""
    return (a.line, a.edge) == (b.edge, b.line)


def _choose(wanted: tuple[str, ...], cloth: str, taken: tuple[Ink, ...]) -> Ink:
    inks = [Ink(line, edge) for line in wanted for edge in (BLACK, WHITE)]
    inks = [i for i in inks if i.line != i.edge and not any(look_alike(i, t) for t in taken)]

    def apart(i: Ink) -> float:
        return min(difference(i.line, c) for c in (cloth, *(t.line for t in taken)))

    good = [i for i in inks if i.stands_out(cloth)]
    return next((i for i in good if apart(i) >= FAR_ENOUGH), max(good or inks, key=apart))


def inks_for(cloth: str) -> Inks:
    """Lines and edges that stand out on a cloth of this measured colour and from each other."""
    actual = _choose((ORANGE, YELLOW, VERMILLION, WHITE), cloth, ())
    planned = _choose((SKY_BLUE, WHITE, PURPLE, BLUE), cloth, (actual,))
    aim = _choose((WHITE, YELLOW, PURPLE, SKY_BLUE, BLACK), cloth, (actual, planned))
    return Inks(cloth, planned, actual, aim)


def own_inks(inks: Inks, planned: str = "", actual: str = "", aim: str = "") -> Inks:
    """The inks with colours of the person's own; each gets the edge, black or white, that it stands out from."""

    def own(colour: str, usual: Ink) -> Ink:
        return Ink(colour.upper(), text_on(colour)) if colour else usual

    return Inks(inks.cloth, own(planned, inks.planned), own(actual, inks.actual), own(aim, inks.aim))


@dataclass(frozen=True)
class Sizes:
    """Sizes in pixels for one picture."""

    width_px: int
    height_px: int

    @property
    def short_px(self) -> int:
        """The picture's shorter side, which a phone shows across its width or height."""
        return min(self.width_px, self.height_px)

    @property
    def headline_px(self) -> int:
        """Font size of a headline: drawn letters, descenders included, fill 1/24 of the shorter side."""
        return max(12, round(self.short_px / 20))

    @property
    def label_px(self) -> int:
        """Font size of a label beside a thing: over 9 pixels of a 1080p picture shown 400 pixels wide."""
        return max(10, round(self.short_px / 24))

    @property
    def line_px(self) -> float:
        """Width of a main line."""
        return max(2.0, self.short_px / 180)

    @property
    def edge_px(self) -> float:
        """Width of the edge on either side of a line."""
        return max(1.0, self.short_px / 540)
