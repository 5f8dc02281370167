"""Captions: a text cut at its phrases into cues that can be read, and the time that each needs.

Limits (sources in the repository's shared/captions.toml): two lines of 42 characters, at most 17 characters a
second, 5/6 s to 7 s; between two cues no gap or at least 1 s. A wide character (Han, kana, emoji) counts as two.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate, pairwise

from lessonkit.lesson.cutlist import frames_for, frames_in

MAX_LINES = 2
MAX_LINE_CHARS = 42
MAX_CPS = 17.0
MIN_CUE_S = 0.834
"""5/6 s and a little, so that it holds after rounding to milliseconds."""
MAX_CUE_S = 7.0
MIN_GAP_S = 1.0
AIM_CPS = 15.0
"""What we aim at: below the limit because the viewer also looks at a table (170 words a minute, as the BBC has it)."""
AIM_S_PER_WORD = 0.3

_TIME_STAMP = re.compile(r"^\s*[\[(]?(?:\d+:)?\d{1,3}:\d{2}(?:[.,]\d+)?[\])]?\s*(?:[-–—:|]\s+)?")
_FIGURES = re.compile(
    r"\s*[(\[]\s*(?:(?:to|at|near|around)\s+)?\d+(?:\.\d+)?\s*(?:mm)?\s*[,/x]\s*\d+(?:\.\d+)?\s*(?:mm)?\s*[)\]]",
    re.IGNORECASE,
)
_STARTERS = frozenset(
    {
        "after", "and", "around", "as", "at", "because", "before", "but", "by", "for", "from", "if", "in", "into",
        "leaving", "near", "off", "on", "onto", "or", "over", "past", "so", "that", "then", "through", "to",
        "towards", "until", "when", "where", "which", "while", "with", "without",
    }
)  # fmt: skip
_WEAK_ENDS = frozenset(
    {
        "a", "an", "the", "of", "to", "in", "on", "at", "by", "for", "from", "off", "into", "with", "and", "or",
        "no", "my", "its", "his", "her", "this", "that",
    }
)  # fmt: skip
_PREPENDED = frozenset("\u0600\u0601\u0602\u0603\u0604\u0605\u06dd\u070f\u0890\u0891\u08e2\u0d4e")
_CLOSERS = "\"'”’»)]}」』）】"
_SENTENCE = 0.0
_CLAUSE = 2.0
_PHRASE = 6.0
_WORD = 12.0
_WEAK = 16.0
_INSIDE = 18.0
_PER_CUE = 5.0
_FULL_STOP_INSIDE = 3.0
_OPEN_END = 4.0


# --- what is said ------------------------------------------------------------------------------------------------


def plain(text: str) -> str:
    """One line of the same words: control characters, line ends and runs of space become one space.

    Byte order marks go; a lone surrogate (which no file can hold) becomes U+FFFD. A text with nothing visible is ''.
    """
    kept = []
    for c in text:
        category = unicodedata.category(c)
        if c == "\ufeff":
            continue
        kept.append("\ufffd" if category == "Cs" else " " if category in ("Cc", "Zl", "Zp", "Zs") else c)
    line = " ".join("".join(kept).split())
    return line if any(unicodedata.category(c)[0] not in "CZ" for c in line) else ""


def said(note_text: str) -> str:
    """The words of a note as a caption: its time stamp and figures such as '(to 1852, 498)' taken off."""
    line = plain(note_text)
    return plain(_FIGURES.sub("", _TIME_STAMP.sub("", line))) or line


def measure(text: str) -> int:
    """Characters as the limits count them: code points, wide ones twice, a line end as one."""
    return sum(2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)


def reading_s(text: str) -> float:
    """Seconds that a cue needs: at AIM_CPS and AIM_S_PER_WORD, within MIN_CUE_S and MAX_CUE_S."""
    needed = max(measure(text) / AIM_CPS, len(text.split()) * AIM_S_PER_WORD)
    return min(max(needed, MIN_CUE_S), MAX_CUE_S)


# --- characters that belong together -----------------------------------------------------------------------------


def _joins(cluster: str, c: str, flags: int) -> bool:
    """Whether `c` belongs to the character so far (`flags`: how many regional indicators it ends in)."""
    before = cluster[-1]
    category = unicodedata.category(c)
    point = ord(c)
    if before in _PREPENDED:
        return True
    if category in ("Mn", "Me", "Mc") or c in "\u200c\u200d" or 0x1F3FB <= point <= 0x1F3FF:
        return True
    if 0xE0020 <= point <= 0xE007F or c in "\u0e33\u0eb3\uff9e\uff9f":
        return True
    if before == "\u200d" or _ends_in_virama(cluster):
        return True
    if 0x1F1E6 <= point <= 0x1F1FF:
        return flags % 2 == 1
    if 0x1160 <= point <= 0x11FF:
        return 0x1100 <= ord(before) <= 0x11FF or 0xAC00 <= ord(before) <= 0xD7A3
    if 0x1100 <= point <= 0x115F or 0xAC00 <= point <= 0xD7A3:
        return 0x1100 <= ord(before) <= 0x115F
    return False


def _ends_in_virama(cluster: str) -> bool:
    """Whether the marks at the end of a character hold the sign that ties the next consonant to it."""
    for c in reversed(cluster):
        if unicodedata.combining(c) == 9:
            return True
        if unicodedata.category(c) not in ("Mn", "Me", "Mc") and c not in "\u200c\u200d":
            return False
    return False


def clusters(text: str) -> list[str]:
    """Characters as a reader sees them (grapheme clusters).

    After UAX #29, table 1c, from the properties that Python has; where in doubt it keeps together, so no emoji
    sequence, flag, accent, Hangul syllable or Indic conjunct is torn. Longer than a line (42 code points; UAX #15's
    stream-safe form allows 30 marks) nothing is kept together: no script needs it.
    """
    out: list[str] = []
    flags = 0
    for c in text:
        regional = 0x1F1E6 <= ord(c) <= 0x1F1FF
        if out and measure(out[-1]) + measure(c) <= MAX_LINE_CHARS and _joins(out[-1], c, flags):
            out[-1] += c
            flags = flags + 1 if regional else 0
        else:
            out.append(c)
            flags = int(regional)
    return out


# --- where a text may be cut -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Atom:
    """A run of characters that stays in one line."""

    text: str
    width: int
    spaced: bool
    """A space parts it from the atom before."""
    hard: bool = False
    """Torn off the atom before in the middle of a word."""


def _soft_parts(word: str) -> list[str]:
    """A long word cut after hyphens, slashes and the like, and between characters of scripts without spaces."""
    parts: list[str] = []
    open_end = False
    for c in clusters(word):
        last = parts[-1][-1] if parts else ""
        wide = unicodedata.east_asian_width(c[0]) in "WF"
        closes = unicodedata.category(c[0]) in ("Pe", "Pf", "Po")
        if parts and not closes and not open_end and (wide or _is_wide(last) or last in "-/_.,;:&?=—–"):
            parts.append(c)
        elif parts:
            parts[-1] += c
        else:
            parts.append(c)
        open_end = unicodedata.category(c[0]) in ("Ps", "Pi")
    return parts


def _is_wide(c: str) -> bool:
    return unicodedata.east_asian_width(c) in "WF"


def _atoms(text: str) -> list[_Atom]:
    out: list[_Atom] = []
    for word in text.split(" "):
        if measure(word) <= MAX_LINE_CHARS:
            out.append(_Atom(word, measure(word), spaced=True))
            continue
        first = True
        for part in _soft_parts(word):
            for i, chunk in enumerate(_chopped(part)):
                out.append(_Atom(chunk, measure(chunk), spaced=first, hard=i > 0))
                first = False
    return out


def _chopped(part: str) -> list[str]:
    """A run longer than a line in as few, about equal pieces as will do, no visible character torn."""
    total = measure(part)
    if total <= MAX_LINE_CHARS:
        return [part]
    wanted = -(-total // -(-total // MAX_LINE_CHARS))
    out = [""]
    for c in clusters(part):
        here = measure(out[-1])
        if out[-1] and (here >= wanted or here + measure(c) > MAX_LINE_CHARS):
            out.append("")
        out[-1] += c
    return out


def _cut_cost(before: _Atom, after: _Atom) -> float:
    """What it costs the reader when the text is cut here."""
    if after.hard:
        return _INSIDE
    if not after.spaced and not _is_wide(before.text[-1]) and not _is_wide(after.text[0]):
        return _WEAK
    end = before.text.rstrip(_CLOSERS)[-1:]
    if end in tuple(".!?…。！？؟۔"):
        return _SENTENCE
    if end in tuple(",;:—–、，；：،؛"):
        return _CLAUSE
    if before.text.casefold() in _WEAK_ENDS:
        return _WEAK
    if after.text.casefold() in _STARTERS:
        return _PHRASE
    return _WORD


@dataclass(frozen=True)
class _Text:
    """Atoms, what a cut before each costs (0 before the first and after the last), and sums to measure runs by."""

    atoms: list[_Atom]
    cuts: list[float]
    widths: list[int]
    """widths[j]: of atoms 0..j with the spaces before them."""
    stops: list[int]
    """stops[j]: how many cuts before j, j included, end a sentence."""

    @staticmethod
    def of(line: str) -> _Text:
        atoms = _atoms(line)
        cuts = [0.0, *(_cut_cost(a, b) for a, b in pairwise(atoms)), 0.0]
        widths = [0, *accumulate(a.width + a.spaced for a in atoms)]
        return _Text(atoms, cuts, widths, list(accumulate(int(c == _SENTENCE) for c in cuts)))

    def width(self, i: int, j: int) -> int:
        """Of atoms i..j in one line."""
        return self.widths[j] - self.widths[i] - int(self.atoms[i].spaced)

    def sentences_within(self, i: int, j: int) -> int:
        """How many sentences end inside the run i..j, its end left out."""
        return self.stops[j - 1] - self.stops[i]


def _line(atoms: list[_Atom], i: int, j: int) -> str:
    return atoms[i].text + "".join((" " if a.spaced else "") + a.text for a in atoms[i + 1 : j])


def _best_lines(t: _Text, i: int, j: int) -> tuple[float, int] | None:
    """Cost of showing atoms i..j as one cue and where its second line starts (j: one line); None: too long."""
    whole = t.width(i, j)
    stops = _FULL_STOP_INSIDE * t.sentences_within(i, j)
    if whole <= MAX_LINE_CHARS:
        return stops, j
    if whole > MAX_LINES * MAX_LINE_CHARS + 1:
        return None
    best: tuple[float, int] | None = None
    for k in range(i + 1, j):
        upper, lower = t.width(i, k), t.width(k, j)
        if upper > MAX_LINE_CHARS:
            break
        if lower <= MAX_LINE_CHARS:
            cost = stops + t.cuts[k] / 2 + abs(upper - lower) / 20
            cost -= _FULL_STOP_INSIDE if t.cuts[k] == _SENTENCE else 0.0
            if best is None or cost < best[0]:
                best = cost, k
    return best


def _torn(t: _Text, i: int, j: int) -> float:
    """What it costs that a cue is short (it flickers, and a scrap of a sentence tells nothing), or begins a sentence
    beside the end of another and breaks off in its middle."""
    whole = t.cuts[i] == _SENTENCE and t.cuts[j] == _SENTENCE
    short = max(0, (20 if whole else 30) - t.width(i, j)) / (4 if whole else 2)
    return short + (_OPEN_END if t.sentences_within(i, j) and t.cuts[j] > _CLAUSE else 0.0)


def split_cues(text: str) -> tuple[str, ...]:
    """A text as the words of successive cues, each of at most two lines parted by a newline.

    Cut where it hurts least over the whole text: after sentences, then after commas, then before words that begin a
    phrase; never after an article if it can be helped, and inside a word only if the word is longer than a line.
    Nothing is left out but space.
    """
    line = plain(text)
    if not line:
        return ()
    t = _Text.of(line)
    atoms = t.atoms
    costs: list[float] = [0.0] + [float("inf")] * len(atoms)
    came: list[tuple[int, int]] = [(0, 0)] * (len(atoms) + 1)
    for i in range(len(atoms)):
        for j in range(i + 1, len(atoms) + 1):
            shown = _best_lines(t, i, j)
            if shown is None:
                if t.width(i, j) > MAX_LINES * MAX_LINE_CHARS:
                    break
                continue
            cost = costs[i] + _PER_CUE + shown[0] + t.cuts[j] + _torn(t, i, j)
            if cost < costs[j]:
                costs[j], came[j] = cost, (i, shown[1])
    out: list[str] = []
    j = len(atoms)
    while j > 0:
        i, k = came[j]
        out.append(_line(atoms, i, k) + ("" if k == j else "\n" + _line(atoms, k, j)))
        j = i
    return tuple(reversed(out))


# --- how long it is shown ----------------------------------------------------------------------------------------


def cue_frames(texts: tuple[str, ...], rate: Fraction, at_least_s: float) -> list[int]:
    """Frames that each cue of a still is shown, one after the other without gaps.

    Together they last `at_least_s` if their number allows that within MAX_CUE_S each.
    """
    frames = [frames_for(reading_s(t), rate) for t in texts]
    most = frames_in(MAX_CUE_S, rate)
    missing = frames_for(at_least_s, rate) - sum(frames)
    for i in reversed(range(len(frames))):
        more = max(0, min(missing, most - frames[i]))
        frames[i] += more
        missing -= more
    return frames


def spoken_frames(
    texts: tuple[str, ...], at_s: tuple[float, ...], rate: Fraction, since_cue: int | None = None
) -> tuple[tuple[int, int, str], ...]:
    """First frame, number of frames and text of cues whose words are spoken at these times, seconds from the piece's start.

    Each stands until the next is spoken, at most MAX_CUE_S, and at least as long as it takes to read at MAX_CPS; a voice
    that is faster than that is followed with delay. `since_cue` is how many frames before the piece the last cue ended.
    """
    gap, most = frames_for(MIN_GAP_S, rate), frames_in(MAX_CUE_S, rate)
    out: list[tuple[int, int, str]] = []
    end = None if since_cue is None else -since_cue
    for k, text in enumerate(texts):
        start = max(0, round(at_s[k] * rate), end or 0)
        if end is not None and 0 < start - end < gap:
            start = end if out else end + gap
        needed = min(most, frames_for(max(measure(text) / MAX_CPS, MIN_CUE_S), rate))
        wished = min(most, frames_for(reading_s(text), rate))
        if k + 1 < len(texts):
            until = round(at_s[k + 1] * rate) - start
            # Stands on until the next is spoken, or makes room for a gap that can be seen.
            wished = until if until - wished < gap and until <= most else wished
        frames = max(needed, wished)
        out.append((start, frames, text))
        end = start + frames
    return tuple(out)


def place_within(text: str, wanted: int, length: int, rate: Fraction) -> tuple[int, int] | None:
    """First frame and number of frames of one cue in a moving piece of `length` frames, or None: no room.

    It starts at `wanted` or later so as to leave MIN_GAP_S to a cue that ends where the piece starts, or earlier if
    it could not be read to the end otherwise; after it there is no gap or at least MIN_GAP_S.
    """
    gap, most = frames_for(MIN_GAP_S, rate), frames_in(MAX_CUE_S, rate)
    needed = frames_for(max(reading_s(text), 2.0), rate)
    start = max(gap, min(wanted, length - needed))
    if start + needed > length:
        return None
    left = length - (start + needed)
    if left >= gap:
        return start, needed
    frames = min(length - start, most)
    return length - frames, frames
