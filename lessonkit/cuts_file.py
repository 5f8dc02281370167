"""cuts.toml: the lesson as a list of pieces that a person can read, change, move about, and have rendered.

TOML and not JSON, because it takes comments (each piece says where in the lesson it stands), forgives a last comma, and
lets a piece be cut out and pasted elsewhere as it is. Times of pieces follow from their order and are not written.
"""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Sequence
from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any, get_args

from lessonkit.errors import FolderError, SettingsError
from lessonkit.folder import write_text
from lessonkit.lesson.cutlist import PLAN_STEPS, RESULT_STEPS, CutList, Draft, Drawn, PieceKind, Voice
from lessonkit.lesson.toml_text import key_text, value_text
from lessonkit.model import Analysis

NAME = "cuts.toml"
WRITTEN = ".cuts.json"
"""Remembers what lessonkit wrote, so that a file changed by hand is known and never overwritten."""
SCHEMA = 1

HEAD = """\
# The lesson, piece by piece, in the order in which it is shown. Change it and run `lessonkit render FOOTAGE --out DIR`:
# your list is then followed and never overwritten; delete the file to have it made anew.
#
# A piece begins with [[piece]]; move, copy or delete it as a whole. What it may say:
#   kind      "title" card, "plan" still, "play", slow "replay", "result" still, closing "table", card for "next" time,
#             "clip" of your own, or "skip" (time between shots: left out at speed 0, else shown at that speed)
#   shot      number of the shot (plan, play, replay, result)
#   from_s    time in the footage, seconds: of the still, or where footage starts      to_s   where it ends
#   speed     1 as it was, 0.5 half as fast, 2 twice as fast
#   lasts_s   how long a still or card stands at least; it stands longer if its words need it
#   draw      what is drawn on a still, each with the share of the piece (0 to 1) that has passed when it appears:
#             plan: called, aim, way, landing, next, plan b; result: planned, actual, difference
#   say       what is said and captioned; a new line (\\n) begins a new caption
#   say_at_s  when saying starts, seconds from the piece's start
#   captions  the captions in order, if they are to differ from `say`; [] for none
#   captions_at_s  when each of them is spoken, seconds from the piece's start
#   voice     what is heard of recordings, a list, each with its file, from_s and to_s within it, and at_s, seconds from the piece's start
#   headline  the line over the picture (plan, play, result)
#   text      words of a card: small line, large line, small line ("" leaves what is known)
#   file      path of a clip
"""
_KINDS: tuple[str, ...] = get_args(PieceKind)
_FOOTAGE = ("play", "replay", "skip")
_STILLS = ("plan", "result")
_CARDS = ("title", "table", "next")
_KEYS: dict[str, tuple[str, ...]] = {
    "kind": _KINDS, "shot": ("plan", "play", "replay", "result"), "from_s": (*_FOOTAGE, *_STILLS, "clip"),
    "to_s": (*_FOOTAGE, "clip"), "speed": _FOOTAGE, "lasts_s": (*_STILLS, *_CARDS), "draw": _STILLS, "say": _KINDS,
    "say_at_s": _KINDS, "captions": _KINDS,
    "captions_at_s": _KINDS, "voice": _KINDS, "headline": ("plan", "play", "result"), "text": _CARDS, "file": ("clip",),
}  # fmt: skip
"""Every key and the kinds of pieces that may have it."""
SLOWEST, FASTEST, LONGEST_S = 0.1, 64.0, 600.0


# --- writing -----------------------------------------------------------------------------------------------------


def text_of(drafts: Sequence[Draft], starts_s: Sequence[float | None]) -> str:
    """The whole file; `starts_s` are lesson times for the comments, None for a piece left out."""
    parts = [HEAD, f"schema = {SCHEMA}\n"]
    for d, start_s in zip(drafts, starts_s, strict=True):
        where = "left out" if start_s is None else f"{int(start_s) // 60}:{start_s % 60:04.1f}"
        parts.append(
            f"# {where}\n[[piece]]\n" + "".join(f"{key_text(k)} = {value_text(v)}\n" for k, v in _values(d))
        )
    return "\n".join(parts)


def _values(d: Draft) -> list[tuple[str, Any]]:
    steps = None if d.steps is None else {s.what: s.at for s in d.steps}
    return [
        (k, round(v, 4) if isinstance(v, float) else v)
        for k, v in (
            ("kind", d.kind), ("shot", d.shot), ("file", d.file), ("from_s", d.source_start_s), ("to_s", d.source_end_s),
            ("speed", d.speed if d.speed != 1.0 else None), ("lasts_s", d.lasts_s), ("text", d.text),
            ("headline", d.headline), ("draw", steps), ("say", d.say or None), ("say_at_s", d.say_at_s or None),
            ("captions", d.captions), ("captions_at_s", d.captions_at_s), ("voice", _voice(d.voice)),
        )
        if v is not None
    ]  # fmt: skip


def _voice(voices: Sequence[Voice]) -> list[dict[str, Any]] | None:
    return [
        {"file": v.file, "from_s": round(v.start_s, 4), "to_s": round(v.end_s, 4), "at_s": round(v.at_s, 4)}
        for v in voices
    ] or None


def starts(drafts: Sequence[Draft], cuts: CutList) -> list[float | None]:
    """The lesson time of each draft; None for skips left out."""
    places = iter(cuts.pieces)
    return [None if d.kind == "skip" and d.speed <= 0 else next(places).start_s for d in drafts]


def write_cuts(folder: Path, drafts: Sequence[Draft], cuts: CutList) -> None:
    """Write cuts.toml. Raises FolderError when it cannot be written, or was changed by hand."""
    if edited(folder):
        raise FolderError(
            f"{folder / NAME} was changed by hand and is not overwritten; rename or delete it first."
        )
    text = text_of(drafts, starts(drafts, cuts))
    # first what is known of it: a run killed between the two then leaves a file that counts as ours or as none
    known = _known(folder)
    write_text(folder / WRITTEN, json.dumps({"written": [*known[-1:], _digest(text)]}))
    write_text(folder / NAME, text)


def edited(folder: Path) -> bool:
    """Whether the folder holds a cuts.toml that is not as lessonkit wrote it."""
    try:
        text = (folder / NAME).read_text(encoding="utf-8", errors="surrogateescape")
    except OSError:
        return False
    return _digest(text) not in _known(folder)


def _known(folder: Path) -> list[str]:
    try:
        return [str(d) for d in json.loads((folder / WRITTEN).read_text(encoding="utf-8"))["written"]]
    except (OSError, ValueError, KeyError, TypeError):
        return []


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()


# --- reading -----------------------------------------------------------------------------------------------------


def read_cuts(path: Path, analysis: Analysis) -> list[Draft]:
    """The pieces in a file, held against the analysis that they belong to.

    Raises SettingsError with one sentence that names the piece and what is wrong with it.
    """
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError as e:
        raise SettingsError(f"There is no {path}; `lessonkit make` writes it.") from e
    except (OSError, UnicodeDecodeError) as e:
        raise SettingsError(
            f"{path} cannot be read as UTF-8 text; save it as such, or delete it to have it made anew."
        ) from e
    except tomllib.TOMLDecodeError as e:
        raise SettingsError(
            f"{path} is damaged: {e}; mend it there, or delete it to have it made anew."
        ) from e
    schema, pieces = content.get("schema", SCHEMA), content.get("piece")
    if schema != SCHEMA:
        raise SettingsError(f"{path}: schema {schema} is not known to this lessonkit, which knows {SCHEMA}.")
    unknown = [k for k in content if k not in ("schema", "piece")]
    if unknown or not isinstance(pieces, list) or not pieces:
        wrong = f"{unknown[0]} is not known" if unknown else "there is no piece"
        raise SettingsError(f"{path}: {wrong}; every piece begins with [[piece]].")
    drafts = [_draft(f"{path.name}: piece {n}", p, analysis, path.parent) for n, p in enumerate(pieces, 1)]
    if all(d.kind == "skip" and d.speed <= 0 for d in drafts):
        raise SettingsError(f"{path}: nothing is shown; leave at least one piece that is no skip.")
    return drafts


def _draft(where: str, p: Any, analysis: Analysis, home: Path) -> Draft:
    if not isinstance(p, dict):
        raise SettingsError(f"{where} is no table; every piece begins with [[piece]].")
    kind = p.get("kind")
    if kind not in _KINDS:
        raise SettingsError(f"{where} needs a kind, one of {', '.join(_KINDS)}.")
    where = f"{where} ({kind}{' of shot ' + str(p['shot']) if 'shot' in p else ''})"
    for key in p:
        if key not in _KEYS:
            near = get_close_matches(key, list(_KEYS), 1)
            raise SettingsError(
                f"{where}: {key} is not known; {'did you mean ' + near[0] + '?' if near else 'see the top of the file.'}"
            )
        if kind not in _KEYS[key]:
            raise SettingsError(f"{where}: {key} belongs to {', '.join(_KEYS[key])} only.")
    start_s, end_s = _span(where, kind, p, analysis)
    draft = Draft(
        kind, _shot(where, kind, p, analysis), start_s, end_s,
        _number(where, p, "speed", 0.0 if kind == "skip" else SLOWEST, FASTEST) if "speed" in p else 1.0,
        _number(where, p, "lasts_s", 0.0, LONGEST_S) if "lasts_s" in p else None,
        _steps(where, kind, p["draw"]) if "draw" in p else None,
        _text(where, p, "say"), _number(where, p, "say_at_s", 0.0, LONGEST_S) if "say_at_s" in p else 0.0,
        captions=_texts(where, p, "captions"), headline=_text(where, p, "headline") or None, text=_texts(where, p, "text"),
        captions_at_s=_times(where, p, "captions_at_s"), voice=_heard(where, p.get("voice", []), home),
    )  # fmt: skip
    return replace(draft, file=_file(where, p, home)) if kind == "clip" else draft


def _heard(where: str, voices: Any, home: Path) -> tuple[Voice, ...]:
    if not isinstance(voices, list):
        voices = [voices]
    return tuple(_stretch(where, v, home) for v in voices)


def _stretch(where: str, voice: Any, home: Path) -> Voice:
    needed = {"file", "from_s", "to_s"}
    if not isinstance(voice, dict) or not needed <= set(voice) <= {*needed, "at_s"}:
        raise SettingsError(
            f'{where}: voice is a list, as [{{ file = "talk.wav", from_s = 3.0, to_s = 9.5, at_s = 0.0 }}].'
        )
    where = f"{where}: voice"
    times = {k: _number(where, voice, k, 0.0, LONGEST_S * 100) for k in voice if k != "file"}
    if times["to_s"] <= times["from_s"]:
        raise SettingsError(f"{where}: to_s must be later than from_s.")
    _file(where, voice, home)
    return Voice(voice["file"], times["from_s"], times["to_s"], times.get("at_s", 0.0))


def _times(where: str, p: dict[str, Any], key: str) -> tuple[float, ...] | None:
    value = p.get(key)
    if value is None:
        return None
    if not isinstance(value, list):
        raise SettingsError(f"{where}: {key} must be a list of seconds, as [0.0, 2.5].")
    times = tuple(_number(where, {key: v}, key, 0.0, LONGEST_S) for v in value)
    if list(times) != sorted(times):
        raise SettingsError(f"{where}: {key} must ascend.")
    return times


def _number(where: str, p: dict[str, Any], key: str, low: float, high: float) -> float:
    value = p[key]
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise SettingsError(f"{where}: {key} must be a number from {low:g} to {high:g}.")
    return float(value)


def _span(where: str, kind: str, p: dict[str, Any], analysis: Analysis) -> tuple[float | None, float | None]:
    end = LONGEST_S * 100 if kind == "clip" else analysis.footage.duration_s
    needed = {"from_s": kind in (*_FOOTAGE, *_STILLS), "to_s": kind in _FOOTAGE}
    found: list[float | None] = []
    for key, must in needed.items():
        if must and key not in p:
            raise SettingsError(f"{where}: {key} is missing; give a time in the footage, in seconds.")
        found.append(_number(where, p, key, 0.0, round(end + 0.001, 3)) if key in p else None)
    start_s, end_s = found
    if start_s is not None and end_s is not None and end_s <= start_s:
        raise SettingsError(f"{where}: to_s must be later than from_s.")
    return start_s, end_s


def _shot(where: str, kind: str, p: dict[str, Any], analysis: Analysis) -> int | None:
    if kind not in _KEYS["shot"]:
        return None
    numbers = [s.seen.number for s in analysis.shots]
    if p.get("shot") not in numbers or isinstance(p.get("shot"), bool):
        raise SettingsError(f"{where}: shot must be the number of a shot in the footage, {numbers[0]} to {numbers[-1]}."
                            if numbers else f"{where}: the footage has no shots.")  # fmt: skip
    return int(p["shot"])


def _steps(where: str, kind: str, draw: Any) -> tuple[Drawn, ...]:
    names = PLAN_STEPS if kind == "plan" else RESULT_STEPS
    if not isinstance(draw, dict):
        raise SettingsError(f"{where}: draw is a table, as {{ {next(iter(names))} = 0.1 }}.")
    for name in draw:
        if name not in names:
            raise SettingsError(f"{where}: draw has no {name}; it may have {', '.join(names)}.")
    return tuple(Drawn(name, _number(where, draw, name, 0.0, 1.0)) for name in draw)


def _text(where: str, p: dict[str, Any], key: str) -> str:
    if not isinstance(p.get(key, ""), str):
        raise SettingsError(f"{where}: {key} must be a text in quotes.")
    return str(p.get(key, ""))


def _texts(where: str, p: dict[str, Any], key: str) -> tuple[str, ...] | None:
    value = p.get(key)
    if value is None:
        return None
    if not isinstance(value, list) or not all(isinstance(t, str) for t in value):
        raise SettingsError(f'{where}: {key} must be a list of texts, as ["one", "two"].')
    return tuple(value)


def _file(where: str, p: dict[str, Any], home: Path) -> str:
    name = _text(where, p, "file")
    path = (home / name).resolve()
    if not name or not path.is_file():
        raise SettingsError(f"{where}: file names {name or 'nothing'}, which is not there; check the path.")
    return str(path)
