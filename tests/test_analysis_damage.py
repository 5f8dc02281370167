"""analysis.json that somebody changed: damage is told in a sentence, fields of a later lessonkit are passed over."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from lessonkit.analysis_file import read_analysis, to_json, write_analysis
from lessonkit.errors import LessonkitError
from tests.publish import filmed


@pytest.fixture
def page(tmp_path: Path) -> Path:
    """The analysis of a made-up clip."""
    from lessonkit.model import Footage

    path = tmp_path / "analysis.json"
    write_analysis(
        path, filmed.analysis(Footage("clip.mp4", 640, 360, 30.0, 120, 4.0), filmed.camera(640, 360))
    )
    return path


def _lose(j: dict[str, Any]) -> None:
    del j["shots"][0]["plan"]


def _turn(j: dict[str, Any]) -> None:
    j["shots"][0]["layout_before"] = "x"


def _word(j: dict[str, Any]) -> None:
    j["camera"]["matrix"] = "wide"


@pytest.mark.parametrize("change", [_lose, _turn, _word])
def test_damage_is_told(page: Path, change: Callable[[dict[str, Any]], None]) -> None:
    """One sentence, with what to do."""
    j = json.loads(page.read_text())
    change(j)
    page.write_text(json.dumps(j))
    with pytest.raises(LessonkitError, match=r"is damaged \(.*\); run `lessonkit analyse` again"):
        read_analysis(page)


def test_a_list_is_no_analysis(page: Path) -> None:
    """Any JSON may come."""
    page.write_text("[1, 2]")
    with pytest.raises(LessonkitError, match="schema None"):
        read_analysis(page)


def test_fields_of_a_later_lessonkit_are_passed_over(page: Path) -> None:
    """The format may grow (docs/analysis-format.md)."""
    before = read_analysis(page)
    j = json.loads(page.read_text())
    j["table"]["colour"] = "green"
    j["footage"]["lens"] = 24
    j["shots"][0]["comparison"]["mood"] = "good"
    page.write_text(json.dumps(j))
    assert to_json(read_analysis(page)) == to_json(before)
