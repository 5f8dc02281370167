"""Cues of a WebVTT file, read the way a browser reads it (W3C WebVTT, section 6.1, "WebVTT file parsing").

Styles, regions, settings and markup are passed over: only when something is said, and what, matters here.
"""

from __future__ import annotations

import html
import re
from dataclasses import dataclass


@dataclass(frozen=True)
class Cue:
    """One cue of a transcript."""

    start_s: float
    end_s: float
    text: str
    """Plain text, markup taken out, lines joined by a line feed."""
    line: int
    """Line of the file that holds its times, from 1."""


def is_webvtt(text: str) -> bool:
    """Whether the text bears the signature: 'WEBVTT', then a blank, a tab, a line end or nothing."""
    return bool(re.match("\ufeff?WEBVTT(?:[ \t\r\n]|$)", text))


def cues(text: str) -> list[Cue]:
    """The cues in file order; blocks that are no good cue are left out, as the standard has it.

    Raises ValueError when the signature is missing.
    """
    if not is_webvtt(text):
        raise ValueError("no WEBVTT signature")
    lines = (
        text.removeprefix("\ufeff")
        .replace("\0", "\ufffd")
        .replace("\r\n", "\n")
        .replace("\r", "\n")
        .split("\n")
    )
    found: list[Cue] = []
    at = 1
    if at < len(lines) and lines[at]:
        at, _ = _block(lines, at, in_header=True)
    while at < len(lines):
        if not lines[at]:
            at += 1
            continue
        at, cue = _block(lines, at, in_header=False)
        if cue:
            found.append(cue)
    return found


def _block(lines: list[str], at: int, *, in_header: bool) -> tuple[int, Cue | None]:
    """'Collect a WebVTT block': (line after the block, its cue if it is one)."""
    count, seen_arrow, times = 0, False, None
    buffer: list[str] = []
    where = at
    while at < len(lines):
        line = lines[at]
        count += 1
        if "-->" in line:
            if in_header or not (count == 1 or (count == 2 and not seen_arrow)):
                break  # an arrow here starts the next block
            seen_arrow = True
            times, where = _timings(line), at
            if times:
                buffer = []
        elif not line:
            break
        else:
            buffer.append(line)
        at += 1
    if times is None:
        return at, None
    return at, Cue(times[0], times[1], plain("\n".join(buffer)), where + 1)


_SPACE = "[ \t\f]*"
_STAMP = r"(?:(\d+):)?(\d{2}):(\d{2})\.(\d{3})"
_TIMINGS = re.compile(rf"{_SPACE}{_STAMP}{_SPACE}-->{_SPACE}{_STAMP}(?!\d)", re.ASCII)


def _timings(line: str) -> tuple[float, float] | None:
    m = _TIMINGS.match(line)
    if not m:
        return None
    start, end = _stamp(m.groups()[:4]), _stamp(m.groups()[4:])
    return None if start is None or end is None else (start, end)


def _stamp(parts: tuple[str | None, ...]) -> float | None:
    hours, minutes, seconds, ms = (int(p or 0) for p in parts)
    if minutes > 59 or seconds > 59:
        return None
    return hours * 3600 + minutes * 60 + seconds + ms / 1000


def plain(text: str) -> str:
    """Cue text without its tags, character references resolved."""
    return html.unescape(re.sub(r"<[^>]*(?:>|$)", "", text))
