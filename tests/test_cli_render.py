"""`lessonkit render` and `settings`: a lesson made from its folder, a list changed by hand followed, a damaged one kept."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import av
import pytest

from lessonkit.analysis_file import read_analysis, write_analysis
from lessonkit.folder import open_folder
from lessonkit.model import Head
from tests.publish import filmed


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Footage, and a lesson folder that holds its analysis only."""
    home = tmp_path_factory.mktemp("render")
    info, cam = filmed.film(home / "clip.mp4", filmed.Clip())
    out = open_folder(home / "lesson")
    write_analysis(out / "analysis.json", filmed.analysis(info, cam))
    return home / "clip.mp4", out


def length_s(path: Path) -> float:
    """Of the pictures."""
    with av.open(str(path)) as c:
        return float(c.streams.video[0].duration * c.streams.video[0].time_base)


def test_a_lesson_is_made_from_its_folder_and_follows_what_is_changed(
    command: Any, made: tuple[Path, Path]
) -> None:
    """First the draft, then everything; then a changed list, a damaged one, other settings."""
    footage, out = made
    draft = command("render", footage, "--out", out, "--draft")
    assert draft.status == 0, draft.err
    assert (out / "draft.mp4").exists()
    assert not (out / "lesson.mp4").exists() and "earlier run" not in draft.err
    whole = command("render", footage, "--out", out, "--clips", "--export")
    assert whole.status == 0, whole.err
    names = {p.name for p in out.iterdir()}
    assert {
        "lesson.mp4",
        "lesson.srt",
        "lesson.vtt",
        "chapters.vtt",
        "cuts.toml",
        "lesson.otio",
        "report.html",
    } <= names
    assert (out / "clips" / "shot-01.mp4").exists()
    before = length_s(out / "lesson.mp4")

    path = out / "cuts.toml"
    text = (
        path.read_text(encoding="utf-8")
        .replace("lasts_s = 4.0", "lasts_s = 1.5", 1)
        .replace("nine in the", "Ten in ze")
    )
    path.write_text(text, encoding="utf-8")
    changed = command("render", footage, "--out", out)
    assert changed.status == 0, changed.err
    assert "changed by hand" in changed.err
    assert length_s(out / "lesson.mp4") == pytest.approx(before - 2.5, abs=0.04)
    assert "Ten in ze" in (out / "lesson.srt").read_text(encoding="utf-8")
    assert path.read_text(encoding="utf-8") == text

    path.write_text(text + "\n[[piece", encoding="utf-8")
    lesson = (out / "lesson.mp4").read_bytes()
    damaged = command("render", footage, "--out", out)
    assert damaged.status == 1
    assert damaged.is_one_sentence(), damaged.err
    assert "cuts.toml is damaged" in damaged.err
    assert path.read_text(encoding="utf-8").endswith("[[piece")
    assert (out / "lesson.mp4").read_bytes() == lesson

    path.unlink()
    report, srt = (out / "report.html").read_bytes(), (out / "lesson.srt").read_bytes()
    write_analysis(
        out / "analysis.json", replace(read_analysis(out / "analysis.json"), head=Head("A new name"))
    )
    (out / "lesson.toml").write_text("[durations]\ntitle_s = 1.0\n", encoding="utf-8")
    again = command("render", footage, "--out", out, "--draft")
    assert again.status == 0, again.err
    assert length_s(out / "draft.mp4") == pytest.approx(before - 3.0, abs=0.04)
    (out / "lesson.toml").unlink()
    # the report goes with the draft, and what stays of the lesson is told
    assert "A new name" in (out / "report.html").read_text(encoding="utf-8") and b"A new name" not in report
    assert "lesson.mp4 and its captions" in again.err and "earlier run" in again.err
    assert (out / "lesson.mp4").read_bytes() == lesson and (out / "lesson.srt").read_bytes() == srt


def test_what_cannot_be_rendered_is_said_in_a_sentence(
    command: Any, made: tuple[Path, Path], tmp_path: Path
) -> None:
    """A folder without analysis, other footage, settings that are wrong."""
    footage, out = made
    empty = command("render", footage, "--out", tmp_path)
    assert (empty.status, empty.is_one_sentence()) == (1, True)
    assert "no analysis.json" in empty.err
    filmed.film(tmp_path / "other.mp4", filmed.Clip(width=320, height=180))
    other = command("render", tmp_path / "other.mp4", "--out", out)
    assert (other.status, other.is_one_sentence()) == (1, True)
    assert "not the footage" in other.err
    (tmp_path / "s.toml").write_text("[speeds]\nreplya = 1", encoding="utf-8")
    wrong = command("render", footage, "--out", out, "--settings", tmp_path / "s.toml")
    assert (wrong.status, wrong.is_one_sentence()) == (1, True)
    assert "did you mean replay" in wrong.err


def test_settings_prints_a_file_to_begin_with(command: Any) -> None:
    """Valid TOML on standard output."""
    ran = command("settings")
    assert ran.status == 0
    assert "durations" in tomllib.loads(ran.out)
