"""Times as people write them: `m:ss` or `h:mm:ss`, decimals allowed; at the start of a note also `1m05s` and `95s`."""

from __future__ import annotations

import re

_TIME = r"(?:(\d{1,3}):)?(\d{1,4}):(\d{2})(?:[.,](\d{1,9}))?"
_BEFORE = r"^\s*(?:[-*•]\s*)?(?:(?:at|around|about|from|t\s*=)\s+|[@~]\s*)?[\[(]?"
_AFTER = r"[\])]?(?:\s*[-–—:|]+(?=\s)|(?=\s)|$|(?=[-–—|]))\s*[-–—|]?\s*"
_UNTIL = r"(?:\s*(?:-|–|—|to|until)\s*(?:\d{1,3}:)?\d{1,4}:\d{2}(?:[.,]\d{1,9})?(?![\d:]))?"
_AT_START = re.compile(rf"{_BEFORE}{_TIME}(?!\d|:\d){_UNTIL}{_AFTER}", re.IGNORECASE)
_SPOKEN = re.compile(
    rf"{_BEFORE}(?:(?:(?P<h>\d{{1,2}})\s*h(?:ours?)?\s*)?(?P<m>\d{{1,3}})\s*m(?:in(?:utes?)?)?\s*(?P<s>\d{{1,2}})\s*s(?:ec(?:onds?)?)?|"
    rf"(?P<only>\d{{1,4}})s)(?![a-z]){_AFTER}",
    re.IGNORECASE,
)
"""'1m05s', '1 min 5 sec', '95s'; '3 seconds later' goes on with a note."""
_LIKE_A_TIME = re.compile(
    rf"{_BEFORE}\d+:\d|^\s*\d{{1,2}}\.[0-5]\d\s+(?!tips?\b|of\b|mm?\b|cm\b|balls?\b|diamonds?\b|radi)",
    re.IGNORECASE,
)


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
    spoken = None if m else _SPOKEN.match(line)
    if spoken:
        h, minutes, s = (int(spoken[g] or 0) for g in ("h", "m", "s"))
        return float(3600 * h + 60 * minutes + s + int(spoken["only"] or 0)), line[spoken.end() :].strip()
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
