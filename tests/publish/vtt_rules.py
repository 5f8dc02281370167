"""A WebVTT reader that accepts only what the W3C lets a writer write (editor's draft of 14 May 2026, "Syntax").

Stricter than players: it raises on the first thing out of order. Knows no styles and regions, which we do not write.
"""

from __future__ import annotations

import html
import re
from dataclasses import dataclass

TIME = re.compile(r"(?:(\d{2,}):)?([0-5]\d):([0-5]\d)\.(\d{3})")
ARROW = re.compile(rf"({TIME.pattern})[ \t]+-->[ \t]+({TIME.pattern})(?:[ \t]+line:(\d{{1,2}}|100)%)?")
"""Of the cue settings only a line in whole percent is written by us."""


@dataclass(frozen=True)
class Read:
    """One cue; times in milliseconds."""

    start_ms: int
    end_ms: int
    text: str


def time_ms(text: str) -> int:
    """Milliseconds of a timestamp; ValueError for one that a writer may not write."""
    m = TIME.fullmatch(text)
    if m is None:
        raise ValueError(f"no timestamp: {text!r}")
    h, mm, ss, ms = m.groups()
    return ((int(h or 0) * 60 + int(mm)) * 60 + int(ss)) * 1000 + int(ms)


def read_vtt(raw: bytes) -> list[Read]:
    """Cues of a whole file; ValueError with the reason where the file breaks a rule."""
    text = raw.decode("utf-8").replace("\r\n", "\n").replace("\r", "\n")
    if "\0" in text:
        raise ValueError("a NULL character")
    if not text.endswith("\n"):
        raise ValueError("the last line has no end")
    head, *blocks = re.split(r"\n{2,}", text.rstrip("\n"))
    if not re.fullmatch(r"WEBVTT(?:[ \t][^\n]*)?", head):
        raise ValueError(f"signature: {head!r}")
    cues: list[Read] = []
    names: set[str] = set()
    for block in blocks:
        if re.match(r"NOTE(?:[ \t\n]|$)", block):
            if "-->" in block:
                raise ValueError("an arrow in a comment")
            continue
        cues.append(_cue(block.split("\n"), names, cues[-1].start_ms if cues else 0))
    return cues


def _cue(lines: list[str], names: set[str], earliest_ms: int) -> Read:
    if "-->" not in lines[0]:
        if lines[0] in names:
            raise ValueError(f"identifier twice: {lines[0]!r}")
        names.add(lines.pop(0))
    m = ARROW.fullmatch(lines[0]) if lines else None
    if m is None:
        raise ValueError(f"timings: {lines!r}")
    start, end = time_ms(m.group(1)), time_ms(m.group(6))
    if start < earliest_ms or end <= start:
        raise ValueError(f"order of times: {lines[0]!r}")
    if not lines[1:]:
        raise ValueError("a cue without text")
    for line in lines[1:]:
        if "-->" in line or "<" in line or re.search(r"&(?!(?:amp|lt|gt|lrm|rlm|nbsp);)", line):
            raise ValueError(f"text not escaped: {line!r}")
    return Read(start, end, html.unescape("\n".join(lines[1:])))
