"""Notes from a file: plain text with times, or a SubRip (SRT) or WebVTT transcript, told apart by what is in it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import pysrt

from lessonkit.errors import NotesError, TableError
from lessonkit.model import Head, Intent, Note, Notes, Table
from lessonkit.notes import fields, webvtt
from lessonkit.notes.sentences import understand
from lessonkit.notes.times import format_time, looks_like_time, time_at_start
from lessonkit.table.sizes import table_of_size

NINE_FOOT = table_of_size("9ft")
_FEET = {"seven": "7", "eight": "8", "nine": "9"}
MAX_BYTES = 5_000_000
_HEAD = re.compile(r"^\s*(title|series|number|table|player)\s*:\s*(.*?)\s*$", re.IGNORECASE)
_COMMENT = re.compile(r"^\s*#(?!\s*\d)")
_ARROW = re.compile(r"^\s*-?\d+:\d{2}:\d{2}[,.:]\d{1,3}\s*-->", re.ASCII)


@dataclass
class _Draft:
    """A note while its lines are being gathered."""

    t_s: float | None
    line: int
    words: list[str] = field(default_factory=list)
    explicit: list[tuple[int, str, str]] = field(default_factory=list)


def read_notes(path: Path, *, table: Table | None = None, times_required: bool = True) -> Notes:
    """Read a notes file.

    `table` puts named places and diamonds on the cloth; without it the head's `table:` line does, else a nine-foot
    table. Raises NotesError, one sentence that names file and line, when the file or a line cannot be read, when no
    note has a time (unless `times_required` is False), or when the times do not ascend.
    """
    text = _text_of(path)
    if webvtt.is_webvtt(text) or path.suffix.lower() == ".vtt":
        return _transcript(path, _webvtt_cues(path, text), table or NINE_FOOT)
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    if path.suffix.lower() == ".srt" or _looks_like_srt(text):
        return _transcript(path, _srt_cues(path, text), table or NINE_FOOT)
    return _plain(path, text, table, times_required)


def table_of(words: str | None) -> Table | None:
    """The table that a head's `table:` line names ('9 ft', '8-foot', '2540x1270'); None when it tells no size."""
    if not words:
        return None
    mm = re.search(r"(\d{3,4}(?:\.\d+)?)\s*(?:mm)?\s*(?:x|×|by)\s*(\d{3,4}(?:\.\d+)?)", words, re.IGNORECASE)
    feet = re.search(r"\b(7|8|9|seven|eight|nine)\s*-?\s*(?:ft|foot|feet|'|’)", words, re.IGNORECASE)
    number = feet[1].lower() if feet else words.strip()
    size = f"{mm[1]}x{mm[2]}" if mm else f"{_FEET.get(number, number)}ft"
    try:
        return table_of_size(size)
    except TableError:
        return None


def check_within(notes: Notes, duration_s: float, name: str) -> None:
    """Raise NotesError when a note's time lies past the end of the footage (its length in seconds)."""
    for n in notes.notes:
        if n.t_s is not None and n.t_s > duration_s:
            raise NotesError(
                f"{name}, line {n.line}: the time {format_time(n.t_s)} is past the end of the footage, which lasts "
                f"{format_time(duration_s)}; give the time at which the shot is seen in the footage."
            )


def _text_of(path: Path) -> str:
    try:
        if path.stat().st_size > MAX_BYTES:
            raise NotesError(f"{path.name} is too large to be notes; give a text, SRT or WebVTT file.")
        raw = path.read_bytes()
    except OSError as e:
        raise NotesError(f"The notes {path} cannot be read ({e.strerror or e}); check the name.") from e
    not_text = NotesError(f"{path.name} is not a text file; give notes as plain text, SRT or WebVTT.")
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            text = raw.decode("utf-16")
        except UnicodeDecodeError:
            raise not_text from None
    else:
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError:
            # notes typed in an old Windows editor: its curly quotes and dashes
            text = raw.decode("cp1252", errors="replace")
            if text.count("\ufffd") or sum(ord(c) > 126 for c in text) > 0.3 * len(text):
                raise not_text from None
    odd = sum(c < " " and c not in "\t\n\r\f" for c in text)
    if odd and not webvtt.is_webvtt(text):
        raise not_text
    if not text.strip():
        raise NotesError(
            f"{path.name} is empty; write one note for each shot, a time and what you meant to do."
        )
    return text


def _looks_like_srt(text: str) -> bool:
    first = [line for line in text.split("\n") if line.strip()][:2]
    return any(_ARROW.match(line) for line in first)


def _webvtt_cues(path: Path, text: str) -> list[webvtt.Cue]:
    try:
        return webvtt.cues(text)
    except ValueError:
        raise NotesError(f"{path.name}, line 1: a WebVTT transcript must start with WEBVTT.") from None


def _srt_cues(path: Path, text: str) -> list[webvtt.Cue]:
    lines = [n for n, line in enumerate(text.split("\n"), 1) if "-->" in line]
    try:
        items = pysrt.from_string(text, error_handling=pysrt.SubRipFile.ERROR_RAISE)
    except (pysrt.Error, ValueError, OverflowError) as e:
        bad = next((n for n in lines if not _ARROW.match(text.split("\n")[n - 1])), lines[0] if lines else 1)
        raise NotesError(
            f"{path.name}, line {bad}: this is no SRT cue; it needs times such as 00:00:07,000 --> 00:00:09,500."
        ) from e
    lines += [lines[-1] if lines else 1] * max(0, len(items) - len(lines))
    return [
        webvtt.Cue(item.start.ordinal / 1000, item.end.ordinal / 1000, webvtt.plain(item.text), line)
        for item, line in zip(items, lines, strict=False)
    ]


def _transcript(path: Path, found: Sequence[webvtt.Cue], table: Table) -> Notes:
    notes = tuple(
        Note(c.start_s, text, c.line, understand(text, table), max(c.start_s, c.end_s))
        for c in found
        if (text := re.sub(r"\s+", " ", c.text).strip())
    )
    if not notes:
        raise NotesError(f"{path.name} holds no cue with words in it; give a transcript of what was said.")
    _check_order(path, notes)
    return Notes(Head(), notes)


def _plain(path: Path, text: str, table: Table | None, times_required: bool) -> Notes:
    head, drafts = _gather(path, text, times_required)
    if not drafts:
        raise NotesError(f"{path.name} holds no note; write a time such as 0:07 and what you meant to do.")
    table = table or table_of(head.table) or NINE_FOOT
    notes = tuple(_note(path, d, table) for d in drafts)
    _check_order(path, notes)
    return Notes(head, notes)


def _gather(path: Path, text: str, times_required: bool) -> tuple[Head, list[_Draft]]:
    head: dict[str, str] = {}
    drafts: list[_Draft] = []
    lines = text.split("\n")
    timed = any(time_at_start(line) for line in lines)
    if times_required and not timed:
        raise NotesError(
            f"{path.name} has no times; start each note with the time of its shot in the footage, such as 0:07."
        )
    after_blank = True
    for n, line in enumerate(lines, 1):
        if not line.strip():
            after_blank = True
            continue
        if _COMMENT.match(line):
            continue
        m = None if drafts else _HEAD.match(line)
        if m:
            head[m[1].lower()] = m[2]
            if m[1].lower() == "table" and any(c.isdigit() for c in m[2]) and table_of(m[2]) is None:
                raise NotesError(
                    f"{path.name}, line {n}: '{line.strip()}' is no size that is known; write 9 ft, 8 ft, 7 ft, or the playing "
                    "surface in millimetres, such as 2540x1270."
                )
        else:
            _take(path, n, line, drafts, times_required, new=not timed or after_blank)
        after_blank = False
    return Head(**{k: v for k, v in head.items() if v}), drafts


def _take(path: Path, n: int, line: str, drafts: list[_Draft], times_required: bool, *, new: bool) -> None:
    """One line that is neither blank, comment nor head: the start of a note, an explicit line, or more prose."""
    timed = time_at_start(line)
    if timed:
        drafts.append(_Draft(timed[0], n, [timed[1]] if timed[1] else []))
        return
    if looks_like_time(line):
        raise NotesError(
            f"{path.name}, line {n}: the time cannot be read; write it as m:ss or h:mm:ss, such as 1:07."
        )
    explicit = fields.split(line) if drafts else None
    if explicit:
        drafts[-1].explicit.append((n, *explicit))
    elif not times_required and (not drafts or (new and not line.startswith((" ", "\t")))):
        drafts.append(_Draft(None, n, [re.sub(r"^\s*[-*•]\s+", "", line).strip()]))
    elif drafts:
        drafts[-1].words.append(line.strip())
    else:
        raise NotesError(
            f"{path.name}, line {n}: this stands before the first note and is no head line; start a note with its time, "
            "or write title:, series:, number:, table: or player: before it."
        )


def _note(path: Path, draft: _Draft, table: Table) -> Note:
    text = " ".join(draft.words)
    intent = understand(text, table) if text else Intent()
    for n, key, value in draft.explicit:
        try:
            intent = fields.apply(intent, key, value, table)
        except fields.FieldError as e:
            raise NotesError(f"{path.name}, line {n}: '{key}: {value}' {e}.") from e
    return Note(draft.t_s, text, draft.line, intent)


def _check_order(path: Path, notes: Sequence[Note]) -> None:
    last: Note | None = None
    for n in notes:
        if n.t_s is None:
            continue
        if last is not None and last.t_s is not None and n.t_s < last.t_s:
            raise NotesError(
                f"{path.name}, line {n.line}: the time {format_time(n.t_s)} comes after {format_time(last.t_s)}; "
                "put the notes in the order of the footage."
            )
        last = n


def with_text(note: Note, text: str, table: Table, *, plan_b: bool | None = None) -> Note:
    """The note with other words, understood anew."""
    intent = understand(text, table)
    return replace(note, text=text, intent=intent if plan_b is None else replace(intent, plan_b=plan_b))
