"""Text with the shipped font, so that a lesson looks the same on every machine."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from lessonkit.errors import SettingsError
from lessonkit.lesson import style
from lessonkit.lesson.glyphs import fonts_for, reads_leftwards
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
    return _font(font_files(bold=bold)[0], size_px)


@lru_cache(maxsize=64)
def _font(path: str, size_px: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(path, size_px)


def font_files(*, bold: bool = True) -> tuple[str, ...]:
    """The font files written with, the one that is tried first in front."""
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    shipped = str(files("lessonkit") / "fonts" / name)
    return (_own[bold], shipped) if bold in _own else (shipped,)


@lru_cache(maxsize=256)
def _runs(
    text: str, size_px: int, bold: bool, first: tuple[str, ...]
) -> list[tuple[ImageFont.FreeTypeFont, str]]:
    """The text in runs of one font each, from left to right as they stand in the picture."""
    runs = [(_font(path, size_px), run) for path, run in fonts_for(text, first)]
    return runs[::-1] if reads_leftwards(text) else runs


def _laid(
    text: str, size_px: int, bold: bool
) -> tuple[list[tuple[ImageFont.FreeTypeFont, str, float]], list[float]]:
    """Runs with the x at which each begins, and the box of the drawn letters around a baseline from (0, 0)."""
    laid: list[tuple[ImageFont.FreeTypeFont, str, float]] = []
    box: list[float] = []
    x = 0.0
    for f, run in _runs(text, size_px, bold, font_files(bold=bold)):
        x0, y0, x1, y1 = f.getbbox(run, anchor="ls")
        if x1 > x0 and y1 > y0:
            here = [x + x0, y0, x + x1, y1]
            box = [
                min(a, b) if k < 2 else max(a, b)
                for k, (a, b) in enumerate(zip(box or here, here, strict=True))
            ]
        laid.append((f, run, x))
        x += f.getlength(run)
    return laid, box


def text_mask(text: str, size_px: float, *, bold: bool = True) -> NDArray[np.uint8]:
    """Coverage 0-255 of a line of text, shape (height, width), cropped to the drawn letters; (0, 0) for none."""
    laid, box = _laid(text, max(4, round(size_px)), bold)
    if not box:
        return np.zeros((0, 0), np.uint8)
    image = Image.new("L", (int(box[2] - box[0]) + 2, int(box[3] - box[1]) + 2))
    for f, run, x in laid:
        ImageDraw.Draw(image).text((1 + x - box[0], 1 - box[1]), run, fill=255, font=f, anchor="ls")
    return np.asarray(image)


def top_px(text: str, size_px: int, *, bold: bool = True) -> int:
    """From the top of a line's room (its font's ascent) down to the first row of its mask."""
    _, box = _laid(text, size_px, bold)
    return round(font(size_px, bold=bold).getmetrics()[0] + box[1]) - 1 if box else 0


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
    return int(np.ceil(sum(f.getlength(run) for f, run in _runs(text, size_px, bold, font_files(bold=bold)))))


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
