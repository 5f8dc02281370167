"""The measure itself: perfect, shifted, missing and renamed balls and shots."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from tests.measuring import measure


@pytest.fixture
def as_analysis(sample_truth: dict[str, Any]) -> dict[str, Any]:
    """The truth in the shape of an analysis."""
    return {"shots": copy.deepcopy(sample_truth["shots"])}


def test_the_truth_has_no_error(as_analysis: dict[str, Any], sample_truth: dict[str, Any]) -> None:
    """Held against itself, nothing differs."""
    a = measure(as_analysis, sample_truth)
    assert a.shots_matched == a.shots_true == a.shots_found == 6
    assert a.balls_true == a.balls_found == a.numbers_right == len(a.place_mm)
    assert a.strike_s.max() == a.place_mm.max() == a.path_mm.max() == 0


def test_errors_are_counted(as_analysis: dict[str, Any], sample_truth: dict[str, Any]) -> None:
    """A late strike, a moved ball, two swapped numbers, a lost ball and a lost shot each show."""
    shots = as_analysis["shots"]
    shots[0]["strike_s"] += 0.1
    shots[1]["layout_before"]["4"][0] += 30
    before = shots[2]["layout_before"]
    before["2"], before["4"] = before["4"], before["2"]
    del shots[3]["layout_before"]["9"]
    del shots[5]
    a = measure(as_analysis, sample_truth)
    assert (a.shots_true, a.shots_found, a.shots_matched) == (6, 5, 5)
    assert a.strike_s.max() == pytest.approx(0.1)
    assert a.place_mm.max() == pytest.approx(30)
    assert len(a.place_mm) - a.numbers_right == 2
    assert a.balls_true - a.balls_found == 1


def test_nothing_found(sample_truth: dict[str, Any]) -> None:
    """No shots found is no match and no error."""
    a = measure({"shots": []}, sample_truth)
    assert (a.shots_found, a.shots_matched, len(a.place_mm)) == (0, 0, 0)
