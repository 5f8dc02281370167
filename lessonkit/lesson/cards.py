"""Title and closing cards: words on the table's own picture, darkened, fading in gently (made with moviepy)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from lessonkit.lesson import style
from lessonkit.lesson.phrases import ball_word, target
from lessonkit.lesson.picture import U8, Layer, Picture
from lessonkit.lesson.scene import distance_words
from lessonkit.lesson.text import balanced, line_height_px, text_mask, top_px, width_px, wrapped
from lessonkit.model import Analysis, Shot

FADE_S = 0.6
"""How long the words take to appear: slow enough that nothing flashes."""
ANIMATED_FPS = 30
"""What fades or grows on cards and stills changes at most so often; 60 a second look no smoother there."""
GROUND = "#10161B"
SOFT = "#C6D0D7"
"""Secondary words."""
SHINE = 0.26
"""Share of the table's picture that shines through; even a white ball then leaves 4.5:1 to both."""


@dataclass(frozen=True)
class Words:
    """One line on a card: its baseline box's top, its left edge or middle, and how it looks."""

    text: str
    x: int
    y: int
    size_px: int
    colour: str = style.WHITE
    centred: bool = False
    bold: bool = True


def background(still: Picture, shine: float = SHINE) -> U8:
    """The table's picture, blurred and darkened until white words have far more than 4.5:1 on it."""
    bgr = still.to_bgr()
    h, w = bgr.shape[:2]
    small = cv2.GaussianBlur(cv2.resize(bgr, (w // 4, h // 4), interpolation=cv2.INTER_AREA), (0, 0), 2)
    ground = np.array(style.bgr(GROUND), np.float32)
    return np.asarray(
        np.rint(cv2.resize(small, (w, h)).astype(np.float32) * shine + ground * (1 - shine)), np.uint8
    )


def card_pictures(
    ground: U8, words: Sequence[Words], fps: float, frames: int
) -> Iterator[tuple[Picture, int]]:
    """The card's pictures, each with how many frames it stands; the words fade in over the first moments."""
    first, last = Picture.from_bgr(ground), Picture.from_bgr(_composed(ground, words))
    each = max(1, round(fps / ANIMATED_FPS))
    fading = min(frames, round(min(FADE_S, max(frames, 1) / fps / 2) * fps))
    for k in range(0, fading, each):
        yield first.mixed(last, k / fading), min(each, fading - k)
    if frames > fading:
        yield last, frames - fading


def _composed(ground: U8, words: Sequence[Words]) -> U8:
    """The words on their ground, shape (height, width, 3), blue-green-red."""
    from moviepy import CompositeVideoClip, ImageClip

    h, w = ground.shape[:2]
    layer = Layer(w, h)
    for line in words:
        _write(layer, line)
    clips = [ImageClip(ground[..., ::-1]).with_duration(1.0)]
    if layer.touched is not None:
        x0, y0, x1, y1 = layer.touched
        text = ImageClip(_straight(layer.bgra[y0:y1, x0:x1]))
        clips.append(text.with_duration(1.0).with_position((x0, y0)))
    card = CompositeVideoClip(clips, size=(w, h)).with_duration(1.0)
    rgb = np.asarray(card.get_frame(0.5), np.uint8)
    card.close()
    return np.ascontiguousarray(rgb[..., ::-1])


def _straight(bgra: U8) -> U8:
    """Premultiplied blue-green-red-alpha to plain red-green-blue-alpha."""
    alpha = bgra[..., 3:].astype(np.float32)
    colour = np.where(alpha > 0, bgra[..., :3] * 255.0 / np.maximum(alpha, 1), 0)
    return np.dstack([np.clip(np.rint(colour), 0, 255).astype(np.uint8)[..., ::-1], bgra[..., 3]])


def _write(layer: Layer, line: Words) -> None:
    mask = text_mask(line.text, line.size_px, bold=line.bold)
    if not mask.size:
        return
    top = top_px(line.text, line.size_px, bold=line.bold)
    x = line.x - mask.shape[1] // 2 if line.centred else line.x
    layer.stamp(mask, x, line.y + top, line.colour)


def title_words(analysis: Analysis, width: int, height: int, own: Sequence[str] | None = None) -> list[Words]:
    """Series and number, title, then player, table and number of shots, in the middle of the picture.

    `own` are words of the person's own for these three; an empty one leaves what is known.
    """
    head = analysis.head
    shots = len(analysis.shots)
    over = " · ".join(w for w in (head.series, f"No. {head.number}" if head.number else None) if w)
    under = [
        w for w in (head.player, _table_words(analysis), f"{shots} shot{'' if shots == 1 else 's'}") if w
    ]
    known = (over, head.title or "Straight pool", " · ".join(under))
    given = [*(own or ()), "", "", ""]
    return card_words([g or k for g, k in zip(given[:3], known, strict=True)], width, height)


def card_words(lines: Sequence[str], width: int, height: int) -> list[Words]:
    """A small line, a large one and a small one in the middle of the picture; empty or missing ones are left out."""
    short = min(width, height)
    over, large, under = [*lines, "", "", ""][:3]
    room = round(width * 0.88)
    rows: list[tuple[str, int, str]] = []
    if over:
        rows += [(t, short // 20, SOFT) for t in wrapped(over, short // 20, room)[:1]]
    if large:
        rows += [(t, short // 10, style.WHITE) for t in balanced(large, short // 10, room)[:3]]
    if under:
        rows += [(t, short // 22, SOFT) for t in wrapped(under, short // 22, room)[:2]]
    gap = short // 36
    total = sum(line_height_px(size) + gap for _, size, _ in rows) - gap
    y = (height - total) // 2
    words: list[Words] = []
    for text, size, colour in rows:
        words.append(Words(text, width // 2, y, size, colour, centred=True))
        y += line_height_px(size) + gap
    return words


def _table_words(analysis: Analysis) -> str:
    size = analysis.table.size
    return f"{size[:-2]}-foot table" if size.endswith("ft") else f"table {size} mm"


HEADS = ("Shot", "Called", "Made", "Off by", "Verdict")
_LINES = 4
"""Most lines of one cell; what is longer still is cut."""
Cell = tuple[str, ...]


def table_pages(analysis: Analysis, width: int, height: int, heading: str = "The shots") -> list[list[Words]]:
    """The closing table, in as many pages as readable lines need: shot, called, made, landing error, verdict.

    Columns are as wide as what stands in them; where all do not fit side by side, long cells take several lines.
    """
    short = min(width, height)
    size = max(10, round(min(short / 24, width / 30)))
    left, room = round(width * 0.06), round(width * 0.88)
    title = short // 16
    margin = round(height * 0.07)
    rows = [_row(s) for s in analysis.shots]
    edges = _edges([HEADS, *rows], size, left, room)
    cells = [_broken(row, edges, size) for row in rows]
    line, above = line_height_px(size), line_height_px(title) + size
    space = height - 2 * margin - above
    pages = _paged([round(line * (0.35 + max(map(len, row)))) for row in cells], space - round(1.35 * line))
    made: list[list[Words]] = []
    for page in pages:
        used = sum(round(line * (0.35 + max(map(len, cells[i])))) for i in page) + round(1.35 * line)
        # few rows get more air, and stand in the middle of the picture
        air = min(round(line * 0.4), max(0, (space - used) // (len(page) + 1)))
        y = (height - above - used - air * len(page)) // 2
        words = [Words(heading, left, y, title)]
        y += above
        words += _cells([(h,) for h in HEADS], edges, y, size, SOFT)
        y += round(1.35 * line) + air
        for i in page:
            words += _cells(cells[i], edges, y, size, style.WHITE)
            y += round(line * (0.35 + max(map(len, cells[i])))) + air
        made.append(words)
    return made


def _edges(rows: Sequence[Sequence[str]], size: int, left: int, room: int) -> list[int]:
    """Left edges of the columns and the last one's right edge; the two wordy columns give way where room is short."""
    gap = size
    widths = [max(width_px(row[k], size, bold=False) for row in rows) + gap for k in range(len(HEADS))]
    spare = room - sum(widths) + gap
    wordy = (1, 4)
    if spare < 0:
        both = sum(widths[k] for k in wordy)
        for k in wordy:
            widths[k] = max(3 * size, widths[k] + spare * widths[k] // both)
    else:
        widths = [w + spare // len(widths) for w in widths]
    edges = [left]
    for w in widths:
        edges.append(edges[-1] + w)
    return edges


def _broken(row: Sequence[str], edges: Sequence[int], size: int) -> list[Cell]:
    """Each cell in lines that fit its column."""
    cells: list[Cell] = []
    for k, text in enumerate(row):
        lines = wrapped(text, size, edges[k + 1] - edges[k] - size, bold=False)
        if len(lines) > _LINES:
            lines = [*lines[: _LINES - 1], lines[_LINES - 1] + " …"]
        cells.append(tuple(lines) or ("",))
    return cells


def _paged(heights: Sequence[int], space: int) -> list[list[int]]:
    """Which rows go on which page, about equally many on each; a page at least, though it be empty."""
    count = max(1, -(-sum(heights) // max(1, space)))
    per_page = max(1, -(-len(heights) // count))
    pages: list[list[int]] = [[]]
    used = 0
    for i, high in enumerate(heights):
        if pages[-1] and (used + high > space or len(pages[-1]) >= per_page):
            pages.append([])
            used = 0
        pages[-1].append(i)
        used += high
    return pages


def _cells(cells: Sequence[Cell], edges: Sequence[int], y: int, size: int, colour: str) -> list[Words]:
    line = line_height_px(size)
    return [
        Words(text, edges[k], y + i * line, size, colour, bold=False)
        for k, cell in enumerate(cells)
        for i, text in enumerate(cell)
        if text
    ]


def _row(shot: Shot) -> tuple[str, str, str, str, str]:
    ball, pocket = target(shot)
    called = ", ".join(w for w in (None if ball is None else ball_word(ball), pocket) if w) or "–"
    c = shot.comparison
    made = "–" if c is None or c.called_made is None else "✓ yes" if c.called_made else "✗ no"
    off = "–" if c is None or c.landing_error_mm is None else distance_words(c.landing_error_mm)
    return str(shot.seen.number), called, made, off, (c.verdict if c is not None and c.verdict else "–")
