"""Which font has which sign, so that no empty box is drawn for one that a font lacks.

The person's own font or the shipped one goes first; for what it lacks a font of this machine is looked for, with
fontconfig's fc-list where there is one. What no font has is left out of the picture, and can be told to the person.
"""

from __future__ import annotations

import shutil
import subprocess
import unicodedata
from collections.abc import Iterable, Sequence
from functools import lru_cache

from PIL import ImageFont

from lessonkit.lesson.captions import clusters

_TRIED_PX = 32
_NO_SIGN = "\U0010fffe"
"""A code point that Unicode keeps free for ever, so that every font draws its box for it."""


@lru_cache(maxsize=4096)
def has(path: str, sign: str) -> bool:
    """Whether a font file draws something of its own for a sign (one character as a reader sees it)."""
    visible = [c for c in sign if unicodedata.category(c) not in ("Cf", "Cc") and not _selects(c)]
    return all(c.isspace() or _drawn(path, c) != _drawn(path, _NO_SIGN) for c in visible)


def _selects(c: str) -> bool:
    """Variation selectors change a sign and are none."""
    return "\ufe00" <= c <= "\ufe0f" or "\U000e0100" <= c <= "\U000e01ef"


@lru_cache(maxsize=4096)
def _drawn(path: str, c: str) -> tuple[tuple[int, int], bytes]:
    mask = ImageFont.truetype(path, _TRIED_PX, layout_engine=ImageFont.Layout.BASIC).getmask(c)
    return mask.size, bytes(mask)


@lru_cache(maxsize=1024)
def system_font(sign: str) -> str | None:
    """A font file of this machine that has the sign, or None."""
    lister = shutil.which("fc-list")
    points = [f"{ord(c):x}" for c in sign if unicodedata.category(c) != "Cf" and not _selects(c)]
    if lister is None or not points:
        return None
    try:
        done = subprocess.run(
            [lister, f":charset={points[0]}", "file"], capture_output=True, text=True, timeout=10, check=False
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    found = sorted(line.rstrip(": ").strip() for line in done.stdout.splitlines())
    for path in sorted(found, key=lambda p: ("Sans" not in p, len(p), p)):
        try:
            if has(path, sign):
                return path
        except OSError:
            continue  # a font of pictures in fixed sizes, which cannot be scaled
    return None


def fonts_for(text: str, first: Sequence[str]) -> list[tuple[str, str]]:
    """The text in runs of one font each: (font file, run), in reading order.

    `first` are the font files tried in this order before the machine's. Signs that no font has are left out.
    """
    out: list[tuple[str, str]] = []
    for sign in clusters(text):
        path = next((p for p in first if has(p, sign)), None) or system_font(sign)
        if path is None:
            continue
        if out and out[-1][0] == path:
            out[-1] = (path, out[-1][1] + sign)
        else:
            out.append((path, sign))
    return out


def missing(texts: Iterable[str], first: Sequence[str]) -> tuple[str, ...]:
    """Signs in the texts that no font at hand has, each once, in their order."""
    signs = dict.fromkeys(sign for text in texts for sign in clusters(text.replace("\n", " ")))
    return tuple(s for s in signs if not any(has(p, s) for p in first) and system_font(s) is None)


def caution(texts: Iterable[str], first: Sequence[str]) -> str | None:
    """One sentence where something cannot be drawn, else None."""
    signs = missing(texts, first)
    if not signs:
        return None
    named = ", ".join(f"{s} ({' '.join(f'U+{ord(c):04X}' for c in s)})" for s in signs[:6])
    more = f" and {len(signs) - 6} more" if len(signs) > 6 else ""
    return (
        f"no font on this machine has {named}{more}, so the pictures leave that out; name a font file that has it under "
        "[fonts] in lesson.toml (lesson.srt and lesson.vtt have it in any case)."
    )


def reads_leftwards(text: str) -> bool:
    """Whether a text is of a script written from right to left, by its first strong character (UAX #9, rule P2)."""
    kinds = (unicodedata.bidirectional(c) for c in text)
    return next((k != "L" for k in kinds if k in ("L", "R", "AL")), False)
