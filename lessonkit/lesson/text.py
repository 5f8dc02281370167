"""Text with the shipped font, so that a lesson looks the same on every machine."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from lessonkit.errors import SettingsError
from lessonkit.lesson import style
from lessonkit.model import Point

_own: dict[bool, str] = {}
"""Font files of the person's own, by boldness."""


def use_fonts(bold: str = "", regular: str = "") -> None:
    """Write with these font files from now on; an empty name means the shipped one.

    Raises SettingsError where a file is no font.
    """
    _own.clear()
    font.cache_clear()
    for is_bold, path in ((True, bold), (False, regular)):
        if not path:
            continue
        try:
            ImageFont.truetype(path, 20)
        except OSError as e:
            raise SettingsError(
                f"{path} is no font that can be read; give a TrueType or OpenType file."
            ) from e
        _own[is_bold] = path


@lru_cache(maxsize=32)
def font(size_px: int, *, bold: bool = True) -> ImageFont.FreeTypeFont:
    """The shipped DejaVu Sans, or the person's own font, in a size."""
    if bold in _own:
        return ImageFont.truetype(_own[bold], size_px)
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(files("lessonkit") / "fonts" / name), size_px)


def text_mask(text: str, size_px: float, *, bold: bool = True) -> NDArray[np.uint8]:
    """Coverage 0-255 of a line of text, shape (height, width), cropped to the drawn letters; (0, 0) for none."""
    f = font(max(4, round(size_px)), bold=bold)
    x0, y0, x1, y1 = f.getbbox(text)
    if x1 <= x0 or y1 <= y0:
        return np.zeros((0, 0), np.uint8)
    image = Image.new("L", (int(x1 - x0) + 2, int(y1 - y0) + 2))
    ImageDraw.Draw(image).text((1 - x0, 1 - y0), text, fill=255, font=f)
    return np.asarray(image)


def draw_text(image: NDArray[np.uint8], text: str, centre: Point, size_px: float, colour: str) -> None:
    """Draw one line, its letters centred on `centre`, into a (height, width, 3) picture; clipped at its edges."""
    mask = text_mask(text, size_px)
    h, w = mask.shape
    x, y = round(centre[0] - w / 2), round(centre[1] - h / 2)
    x0, y0, x1, y1 = max(x, 0), max(y, 0), min(x + w, image.shape[1]), min(y + h, image.shape[0])
    if x1 <= x0 or y1 <= y0:
        return
    a = mask[y0 - y : y1 - y, x0 - x : x1 - x, None].astype(np.float32) / 255
    part = image[y0:y1, x0:x1]
    part[:] = np.round(part * (1 - a) + np.array(style.bgr(colour), np.float32) * a).astype(np.uint8)


def width_px(text: str, size_px: int, *, bold: bool = True) -> int:
    """How wide a line of text is."""
    return int(np.ceil(font(size_px, bold=bold).getlength(text)))


def line_height_px(size_px: int, *, bold: bool = True) -> int:
    """Ascent and descent of the font together: the room of one line."""
    ascent, descent = font(size_px, bold=bold).getmetrics()
    return int(ascent + descent)


def wrapped(text: str, size_px: int, room_px: int, *, bold: bool = True) -> list[str]:
    """The text in lines no wider than `room_px`; a single word that is wider is cut with an ellipsis."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and width_px(longer, size_px, bold=bold) > room_px:
            lines.append(line)
            line = word
        else:
            line = longer
    if line:
        lines.append(line)
    return [shortened(part, size_px, room_px, bold=bold) for part in lines]


def balanced(text: str, size_px: int, room_px: int, *, bold: bool = True) -> list[str]:
    """Wrapped into as few lines as fit, all about equally long."""
    lines = wrapped(text, size_px, room_px, bold=bold)
    narrow = room_px
    while len(lines) > 1 and narrow > room_px // 2:
        narrow -= max(1, room_px // 40)
        tighter = wrapped(text, size_px, narrow, bold=bold)
        if len(tighter) > len(lines) or any(t.endswith("…") for t in tighter):
            break
        lines = tighter
    return lines


def shortened(text: str, size_px: int, room_px: int, *, bold: bool = True) -> str:
    """The text, or as much of it as fits with an ellipsis."""
    if width_px(text, size_px, bold=bold) <= room_px:
        return text
    while text and width_px(text + "…", size_px, bold=bold) > room_px:
        text = text[:-1].rstrip()
    return text + "…"
