"""Times as people write them: `m:ss` or `h:mm:ss`, decimals allowed."""

from __future__ import annotations

import re

_TIME = r"(?:(\d{1,3}):)?(\d{1,4}):(\d{2})(?:[.,](\d{1,9}))?"
_AT_START = re.compile(
    rf"^\s*(?:[-*•]\s*)?[\[(]?{_TIME}(?![\d:])[\])]?(?:\s*[-–—:|]+(?=\s)|(?=\s)|$|(?=[-–—|]))\s*[-–—|]?\s*"
)
_LIKE_A_TIME = re.compile(r"^\s*(?:[-*•]\s*)?[\[(]?\d+:\d")


def _seconds(m: re.Match[str]) -> float | None:
    hours, minutes, seconds = m[1], int(m[2]), int(m[3])
    if seconds > 59 or (hours is not None and minutes > 59):
        return None
    whole = int(hours or 0) * 3600 + minutes * 60 + seconds
    return float(f"{whole}.{m[4]}") if m[4] else float(whole)


def parse_time(text: str) -> float | None:
    """Seconds of a time such as '1:07', '0:07.25' or '1:02:03'; None when it is no time."""
    m = re.fullmatch(_TIME, text.strip(), flags=re.ASCII)
    return _seconds(m) if m else None


def time_at_start(line: str) -> tuple[float, str] | None:
    """(seconds, what follows) of a line that starts with a time, else None."""
    m = _AT_START.match(line)
    if not m:
        return None
    seconds = _seconds(m)
    return None if seconds is None else (seconds, line[m.end() :].strip())


def looks_like_time(line: str) -> bool:
    """Whether a line starts like a time, be it a right one or not."""
    return bool(_LIKE_A_TIME.match(line))


def format_time(seconds: float) -> str:
    """A time as `m:ss` or `h:mm:ss`, with as many decimals (up to milliseconds) as it needs."""
    ms = round(seconds * 1000)
    whole, rest = divmod(ms, 1000)
    minutes, s = divmod(whole, 60)
    hours, m = divmod(minutes, 60)
    text = f"{hours}:{m:02d}:{s:02d}" if hours else f"{m}:{s:02d}"
    return f"{text}.{rest:03d}".rstrip("0") if rest else text
