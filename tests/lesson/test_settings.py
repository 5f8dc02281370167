"""lesson.toml: what it says is taken, what it may not say is refused in a sentence, the template says all."""

from __future__ import annotations

import tomllib
from dataclasses import fields
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessonkit.errors import SettingsError
from lessonkit.lesson.settings import Settings, read_settings, template
from lessonkit.lesson.toml_text import key_text, value_text


def read(folder: Path, text: str) -> Settings:
    """The settings of a file with this text."""
    path = folder / "lesson.toml"
    path.write_text(text, encoding="utf-8")
    return read_settings(path)


def test_the_template_is_valid_and_changes_nothing() -> None:
    """All keys stand in it, commented out."""
    tables = tomllib.loads(template())
    assert set(tables) == {f.name for f in fields(Settings)}
    assert not any(tables.values())


def test_the_template_with_every_key_in_force_is_as_usual(tmp_path: Path) -> None:
    """Its values are the defaults and pass their own checks."""
    in_force = "\n".join(
        x[1:] if x.startswith("#") and not x.startswith("# ") else x for x in template().splitlines()
    )
    assert read(tmp_path, in_force) == Settings()
    assert sum(len(t) for t in tomllib.loads(in_force).values()) == sum(
        len(fields(getattr(Settings(), f.name))) for f in fields(Settings)
    )


def test_what_is_set_is_taken(tmp_path: Path) -> None:
    """Whole numbers serve as numbers; files are found beside the settings."""
    (tmp_path / "mark.png").write_bytes(b"x")
    s = read(
        tmp_path,
        '[speeds]\nreplay = 0.25\nroll = 3\n[order]\nshots = [3, 1]\n[logo]\nfile = "mark.png"\n[texts]\nnext_time = "Ünï — 🎱"',
    )
    assert (s.speeds.replay, s.speeds.roll, s.order.shots) == (0.25, 3.0, (3, 1))
    assert s.logo.file == str((tmp_path / "mark.png").resolve())
    assert s.texts.next_time == "Ünï — 🎱"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[speed]\nreplay = 1", "did you mean speeds"),
        ("[speeds]\nreplays = 1", "did you mean replay"),
        ("[speeds]\nreplay = 0", "from 0.1 to 1"),
        ('[speeds]\nreplay = "slow"', "must be a number"),
        ("[speeds]\nreplay = true", "must be a number"),
        ("[speeds]\nreplay = nan", "from 0.1 to 1"),
        ("[pieces]\ntitle = 1", "must be true or false"),
        ('[pieces]\nreplay = "never"', "marked, all or none"),
        ('[colours]\nplanned = "blue"', "must be a colour"),
        ('[order]\nlesson = ["title", "titel"]', "may be intro, title"),
        ('[order]\nlesson = ["title", "title"]', "twice"),
        ('[order]\nlesson = "title"', "is a list"),
        ("[order]\nshots = [0]", "at least 1"),
        ('[logo]\nfile = "none.png"', "which is not there"),
        ("speeds = 2", "write \\[speeds\\]"),
        ("[speeds\nreplay = 1", "not valid TOML.*line 1"),
    ],
)  # fmt: skip
def test_what_it_may_not_say_is_refused_in_one_sentence(tmp_path: Path, text: str, says: str) -> None:
    """The sentence names the file, the place and what it may be."""
    with pytest.raises(SettingsError, match=says) as told:
        read(tmp_path, text)
    assert "lesson.toml" in str(told.value)
    assert "\n" not in str(told.value)


def test_files_that_are_no_text_are_refused(tmp_path: Path) -> None:
    """A picture given as settings, and none at all."""
    (tmp_path / "lesson.toml").write_bytes(b"\x89PNG\xff\xfe")
    with pytest.raises(SettingsError, match="UTF-8"):
        read_settings(tmp_path / "lesson.toml")
    with pytest.raises(SettingsError, match="no file"):
        read_settings(tmp_path / "other.toml")


VALUES = st.recursive(
    st.booleans()
    | st.integers(-(2**62), 2**62)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


@given(st.text(min_size=1, max_size=8), VALUES)
def test_written_values_read_back(key: str, value: object) -> None:
    """Held against the standard library's reader of TOML 1.0."""
    assert tomllib.loads(f"{key_text(key)} = {value_text(value)}") == {key: value}
