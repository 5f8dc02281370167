"""What a person may set of a lesson's making: `lesson.toml`, read strictly, and its commented template.

Every table of the file is one class here, every key one of its fields with what it means and what it may be, so that
reading, checking and the template cannot come apart.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import MISSING, dataclass, field, fields
from difflib import get_close_matches
from pathlib import Path
from typing import Any, get_args, get_origin, get_type_hints

from lessonkit.errors import SettingsError
from lessonkit.lesson.toml_text import value_text

NAME = "lesson.toml"
_COLOUR = re.compile(r"#[0-9A-Fa-f]{6}")
PARTS = ("intro", "title", "shots", "table", "next", "outro")
SHOT_PIECES = ("plan", "play", "replay", "result")


def _set(
    default: Any, says: str, *, least: float | None = None, most: float | None = None, among: tuple[str, ...] = (),
    colour: bool = False,
) -> Any:  # fmt: skip
    """A key of the settings file: default, meaning, and what it may be."""
    about = {"says": says, "least": least, "most": most, "among": among, "colour": colour}
    return field(default=default, metadata=about)


@dataclass(frozen=True)
class Order:
    """What the lesson consists of, in which order."""

    lesson: tuple[str, ...] = _set(
        PARTS, "The lesson's parts in their order; leave out what you do not want.", among=PARTS
    )
    shot: tuple[str, ...] = _set(
        SHOT_PIECES, "The pieces of one shot in their order; the same.", among=SHOT_PIECES
    )
    shots: tuple[int, ...] = _set(
        (), "Numbers of the shots to show, in this order; empty: all as they were played.", least=1
    )


@dataclass(frozen=True)
class Pieces:
    """Kinds of pieces on or off."""

    title: bool = _set(True, "Title card.")
    plan: bool = _set(True, "Still with the plan, before each shot that has a note.")
    play: bool = _set(True, "The shot itself.")
    replay: str = _set(
        "marked",
        "Slow replay: of shots whose note asks for it, of all, or of none.",
        among=("marked", "all", "none"),
    )
    result: bool = _set(True, "Still with plan against result.")
    table: bool = _set(True, "Closing table of all shots.")


@dataclass(frozen=True)
class Speeds:
    """How fast footage runs; 1 is as it was."""

    play: float = _set(1.0, "The shot itself.", least=0.1, most=4.0)
    replay: float = _set(0.5, "The slow replay.", least=0.1, most=1.0)
    roll: float = _set(
        2.0, "A long roll on which nothing happens; 1 leaves it as it was.", least=1.0, most=8.0
    )
    dead_time: float = _set(
        0.0, "Time between shots; 0 leaves it out, 16 shows it sixteen times as fast.", least=0.0, most=64.0
    )


@dataclass(frozen=True)
class Durations:
    """How long things last, in seconds."""

    title_s: float = _set(4.0, "Title card.", least=0.5, most=60.0)
    still_s: float = _set(
        3.0, "A still with few or no words; with more it stands as long as they need.", least=0.5, most=60.0
    )
    before_strike_s: float = _set(0.7, "Footage before the strike.", least=0.0, most=10.0)
    after_rest_s: float = _set(0.6, "Footage after everything rests.", least=0.0, most=10.0)
    long_roll_s: float = _set(
        5.0, "From how long on a roll without a contact counts as long.", least=1.0, most=60.0
    )
    table_row_s: float = _set(1.5, "Closing table, for each shot; in all 5 to 20 s.", least=0.1, most=20.0)
    next_s: float = _set(4.0, "The card that tells what comes next time.", least=0.5, most=60.0)


@dataclass(frozen=True)
class Texts:
    """Words of your own; an empty text leaves what lessonkit would write."""

    over_title: str = _set("", "Small line over the title.")
    title: str = _set("", "The title.")
    under_title: str = _set("", "Small line under the title.")
    table_heading: str = _set("The shots", "Heading of the closing table.")
    next_time: str = _set("", "What comes next time; with an empty text there is no such card.")
    next_heading: str = _set("Next time", "Small line over it.")


@dataclass(frozen=True)
class Colours:
    """Colours of what is drawn, as "#RRGGBB"; empty: chosen to stand out on the cloth."""

    planned: str = _set("", "The cue ball's planned way.", colour=True)
    actual: str = _set("", "The cue ball's actual way.", colour=True)
    aim: str = _set("", "The called ball's way, rings and marks.", colour=True)


@dataclass(frozen=True)
class Fonts:
    """Font files (TrueType or OpenType) of your own; empty: the one that comes with lessonkit."""

    bold: str = _set("", "For titles, headlines and labels.")
    regular: str = _set("", "For running words.")


@dataclass(frozen=True)
class Look:
    """What the picture is like."""

    shape: str = _set(
        "footage",
        "The footage's own shape, wide (16:9), tall (9:16) or square; the table is turned to fill it.",
        among=("footage", "wide", "tall", "square"),
    )
    diagram: str = _set(
        "inset",
        "The table drawn from above: in a free corner, beside the footage, alone in its place, or not at all.",
        among=("inset", "beside", "alone", "none"),
    )
    routes: int = _set(3, "So many ways of balls are on a still at once; older ones fade.", least=1, most=9)


@dataclass(frozen=True)
class Logo:
    """A picture of your own (PNG, may be see-through) in a corner."""

    file: str = _set("", "The picture; empty: none.")
    corner: str = _set("top-right", "Where.", among=("top-left", "top-right", "bottom-left", "bottom-right"))
    width: float = _set(0.1, "Its width as a share of the picture's.", least=0.02, most=0.4)
    show_on: str = _set("cards", "On the cards only, or all through the lesson.", among=("cards", "all"))


@dataclass(frozen=True)
class Clips:
    """Video clips of your own; paths are taken from the folder of this file."""

    intro: str = _set("", "Shown where `order.lesson` says intro; empty: none.")
    outro: str = _set("", "Shown where it says outro; empty: none.")


@dataclass(frozen=True)
class Sound:
    """How loud the lesson is, and how the play makes way for a voice."""

    loudness_lufs: float = _set(-14.0, "Integrated loudness (ITU-R BS.1770).", least=-36.0, most=-8.0)
    peak_dbtp: float = _set(-1.0, "Highest true peak.", least=-12.0, most=-1.0)
    under_voice_db: float = _set(
        12.0,
        "How much the play is turned down while somebody speaks; its clicks are not.",
        least=0.0,
        most=40.0,
    )


@dataclass(frozen=True)
class Captions:
    """Captions in the picture itself, beside those that a player shows."""

    burn: bool = _set(False, "Draw them into the picture, where they cannot be turned off.")


@dataclass(frozen=True)
class Settings:
    """All settings of a lesson."""

    order: Order = field(default_factory=Order)
    pieces: Pieces = field(default_factory=Pieces)
    speeds: Speeds = field(default_factory=Speeds)
    durations: Durations = field(default_factory=Durations)
    texts: Texts = field(default_factory=Texts)
    colours: Colours = field(default_factory=Colours)
    fonts: Fonts = field(default_factory=Fonts)
    logo: Logo = field(default_factory=Logo)
    look: Look = field(default_factory=Look)
    clips: Clips = field(default_factory=Clips)
    sound: Sound = field(default_factory=Sound)
    captions: Captions = field(default_factory=Captions)


FILES = (("fonts", "bold"), ("fonts", "regular"), ("logo", "file"), ("clips", "intro"), ("clips", "outro"))
"""Settings that name a file; reading makes them whole paths."""


def read_settings(path: Path) -> Settings:
    """The settings in a file; what it does not name is as usual. Paths in it are taken from its folder.

    Raises SettingsError with one sentence that names the line or key and what it may be.
    """
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError as e:
        raise SettingsError(f"There is no file {path}; `lessonkit settings` prints one to begin with.") from e
    except (OSError, UnicodeDecodeError) as e:
        raise SettingsError(f"{path} cannot be read as UTF-8 text; save it as such.") from e
    except tomllib.TOMLDecodeError as e:
        raise SettingsError(f"{path.name} is not valid TOML: {e}; mend it there.") from e
    tables = {f.name: f.default_factory for f in fields(Settings)}
    for name in content:
        if name not in tables:
            raise SettingsError(f"{path.name}: there is no table [{name}]; {_perhaps(name, tables)}")
    made = {name: _table(path, name, content[name], tables[name]) for name in content}
    return Settings(**made)


def _perhaps(wrong: str, right: Any) -> str:
    near = get_close_matches(wrong, list(right), 1)
    return f"did you mean {near[0]}?" if near else f"it may be {_either(list(right))}."


def _either(words: list[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " or " + words[-1]


def _table(path: Path, table: str, content: Any, of: Any) -> Any:
    if not isinstance(content, dict):
        raise SettingsError(f"{path.name}: {table} is a table; write [{table}] on a line of its own.")
    keys = {f.name: f for f in fields(of)}
    hints = get_type_hints(of)
    values: dict[str, Any] = {}
    for key, value in content.items():
        if key not in keys:
            raise SettingsError(f"{path.name}: [{table}] has no key {key}; {_perhaps(key, keys)}")
        about = keys[key].metadata
        values[key] = _checked(f"{path.name}: {table}.{key}", value, hints[key], about)
        if (table, key) in FILES and values[key]:
            file = (path.parent / values[key]).resolve()
            if not file.is_file():
                raise SettingsError(
                    f"{path.name}: {table}.{key} names {values[key]}, which is not there; check the path."
                )
            values[key] = str(file)
    return of(**values)


def _checked(where: str, value: Any, kind: Any, about: Any) -> Any:
    """The value if it is what it may be."""
    if get_origin(kind) is tuple:
        each = get_args(kind)[0]
        if not isinstance(value, list):
            raise SettingsError(
                f"{where} is a list, as [{', '.join(map(repr, about['among'][:2])) or '1, 2'}]."
            )
        items = tuple(_checked(where, v, each, about) for v in value)
        if len(set(items)) < len(items):
            raise SettingsError(f"{where} names something twice; name each once.")
        return items
    if kind is float and isinstance(value, int) and not isinstance(value, bool):
        value = float(value)
    if type(value) is not kind:
        what = {bool: "true or false", float: "a number", int: "a whole number", str: "a text in quotes"}[
            kind
        ]
        raise SettingsError(f"{where} must be {what}, not {value_text(value)}.")
    low, high = about["least"], about["most"]
    if kind in (int, float) and not ((low is None or value >= low) and (high is None or value <= high)):
        span = f"from {low:g} to {high:g}" if high is not None else f"at least {low:g}"
        raise SettingsError(f"{where} must be {span}, not {value:g}.")
    if about["among"] and value not in about["among"]:
        raise SettingsError(f"{where} may be {_either(list(about['among']))}, not {value_text(value)}.")
    if about["colour"] and value and not _COLOUR.fullmatch(value):
        raise SettingsError(f'{where} must be a colour as "#E69F00", not {value_text(value)}.')
    return value


def template() -> str:
    """A whole settings file in which every key stands with its usual value, commented out."""
    lines = ["# Settings of a lesson. Take the # off a line to change it; what is left out is as usual.", ""]
    for table in fields(Settings):
        of: Any = table.default_factory
        assert of is not MISSING
        lines += [f"# {of.__doc__}", f"[{table.name}]"]
        for key in fields(of):
            about = key.metadata
            may = (
                f" One of {', '.join(about['among'])}."
                if about["among"] and isinstance(key.default, str)
                else ""
            )
            span = f" {about['least']:g} to {about['most']:g}." if about["most"] is not None else ""
            lines += [f"# {about['says']}{may}{span}", f"#{key.name} = {value_text(key.default)}"]
        lines.append("")
    return "\n".join(lines)
