"""Captions as SubRip (.srt) and WebVTT (.vtt) files.

WebVTT is written after the W3C's syntax for writers (editor's draft of 14 May 2026, section "Syntax"): UTF-8, the
signature, times with two-digit hours and three decimals, starts that never fall, ends after starts, and in the text
`&`, `<` and `>` escaped, so that no `-->` and no tag can come from a note.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from pathlib import Path

import pysrt

from lessonkit.folder import write_bytes, write_text
from lessonkit.lesson.caption_places import HIGH_LINE
from lessonkit.lesson.cutlist import Cue, CutList

SRT_NAME = "lesson.srt"
VTT_NAME = "lesson.vtt"
HIGH_SETTINGS = f"line:{HIGH_LINE:.0%}"
"""Upper edge of the box at this share of the height; without settings a player shows cues at its lower edge."""
_CRLF = "\r\n"
_SRT_TAG = re.compile(r"<(?=[A-Za-z/])")
_SRT_CODE = re.compile(r"\{(?=\\)")


def milliseconds(t_s: float) -> int:
    """Whole milliseconds of a time, never below 0."""
    return max(0, round(t_s * 1000))


def vtt_time(t_s: float) -> str:
    """'01:02:03.456'; hours may take more than two digits."""
    ms = milliseconds(t_s)
    return f"{ms // 3_600_000:02}:{ms // 60_000 % 60:02}:{ms // 1000 % 60:02}.{ms % 1000:03}"


def vtt_text(text: str) -> str:
    """Text as WebVTT cue text: escaped, and without empty lines, which would end the cue."""
    escaped = text.replace("\0", "\ufffd").replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return "\n".join(line for line in escaped.splitlines() if line.strip())


def vtt(
    cues: Iterable[tuple[float, float, str] | tuple[float, float, str, str]], note: str | None = None
) -> str:
    """A whole WebVTT file of (start_s, end_s, text[, cue settings]) in order of start; cues without visible text are left
    out, and one that rounding to milliseconds leaves without length lasts one."""
    blocks = ["WEBVTT"]
    if note:
        blocks.append("NOTE " + vtt_text(note).replace("\n", " "))
    shown = [(c[0], c[1], vtt_text(c[2]), c[3] if len(c) > 3 else "") for c in cues]
    for number, (a, b, text, where) in enumerate([c for c in shown if c[2]], 1):
        end = vtt_time(max(b, a + 0.001))
        blocks.append(f"{number}\n{vtt_time(a)} --> {end}{' ' if where else ''}{where}\n{text}")
    return "\n\n".join(blocks) + "\n"


def write_vtt(cues: Sequence[Cue], path: Path) -> None:
    """Write captions as WebVTT, those of the upper part with their place (W3C WebVTT, section "cue settings").

    Raises FolderError where the file cannot be written.
    """
    write_text(path, vtt((c.start_s, c.end_s, c.text, HIGH_SETTINGS if c.high else "") for c in cues))


def srt_text(text: str) -> str:
    """Text as SubRip text, which knows no escapes.

    `-->` becomes an arrow, and what players would take for a tag or a placing code is made harmless.
    """
    calm = _SRT_CODE.sub("{ ", _SRT_TAG.sub("‹", text.replace("-->", "→")))
    return "\n".join(line for line in calm.splitlines() if line.strip())


def write_srt(cues: Sequence[Cue], path: Path) -> None:
    """Write captions as SubRip: counters from 1, CRLF line ends, UTF-8 without a mark.

    Raises FolderError where the file cannot be written.
    """
    shown = [(c, srt_text(c.text)) for c in cues]
    items = [
        pysrt.SubRipItem(
            i,
            pysrt.SubRipTime.from_ordinal(milliseconds(c.start_s)),
            pysrt.SubRipTime.from_ordinal(milliseconds(c.end_s)),
            text,
        )
        for i, (c, text) in enumerate([s for s in shown if s[1]], 1)
    ]
    blocks = [str(item).strip("\n").replace("\n", _CRLF) for item in items]
    write_bytes(path, "".join(b + _CRLF * 2 for b in blocks).encode("utf-8"))


def write(cuts: CutList, folder: Path) -> None:
    """Write both files into a lesson folder."""
    write_srt(cuts.cues, folder / SRT_NAME)
    write_vtt(cuts.cues, folder / VTT_NAME)
