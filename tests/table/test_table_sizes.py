"""Sizes against the published ones in shared/table.toml (sources named there)."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessonkit.errors import TableError
from lessonkit.table import sizes

FACTS = tomllib.loads((Path(__file__).parents[2] / "shared" / "table.toml").read_text())


@pytest.mark.parametrize("name", ["9ft", "8ft", "7ft"])
def test_surfaces_are_the_published_ones(name: str) -> None:
    fact = FACTS["surfaces_mm"][name]
    table = sizes.table_of_size(name)
    assert [table.length_mm, table.width_mm] == pytest.approx(fact["size"], abs=1e-9)
    assert [i * sizes.INCH_MM for i in fact["inches"]] == pytest.approx(fact["size"])


def test_alternates_are_the_listed_ones() -> None:
    listed = sorted(tuple(f["size"]) for f in FACTS["alternates_mm"].values())
    assert np.allclose(sorted(sizes.ALTERNATES_MM.values()), listed)


def test_equipment_is_within_the_published_ranges() -> None:
    e, table = FACTS["equipment_mm"], sizes.table_of_size("9ft")
    assert table.ball_diameter_mm == e["ball_diameter"]["value"] == e["ball_diameter"]["inches"] * 25.4
    low, high = (e["nose_height_of_ball"][k] * table.ball_diameter_mm for k in ("low", "high"))
    assert low <= table.nose_height_mm <= high
    assert e["corner_mouth"]["low"] <= table.corner_mouth_mm <= e["corner_mouth"]["high"]
    assert e["side_mouth"]["low"] <= table.side_mouth_mm <= e["side_mouth"]["high"]
    assert pytest.approx(e["sight_from_nose"]["inches"] * 25.4) == sizes.SIGHT_FROM_NOSE_MM


@pytest.mark.parametrize("name", ["9ft", "8ft"])
def test_sights_divide_the_rails_as_published(name: str) -> None:
    marks = sizes.sights(sizes.table_of_size(name))
    assert len(marks) == FACTS["equipment_mm"]["sights"]["value"]
    along = [m.along_mm for m in marks if m.side == "right"]
    gaps = np.diff(along)
    assert gaps[[0, 1, 3, 4]] == pytest.approx(FACTS["equipment_mm"]["sight_to_sight"][name])
    assert gaps[2] == pytest.approx(2 * gaps[0])  # no sight at the side pocket


def test_odd_sizes_are_read_in_any_order_and_dress() -> None:
    for text in ("2540x1270", "1270x2540", "2540 x 1270 mm", "2540mm x 1270mm", "2540×1270"):
        table = sizes.table_of_size(text)
        assert (table.length_mm, table.width_mm) == (2540.0, 1270.0)
    assert sizes.table_of_size("9FT").length_mm == 2540.0


@given(st.text(max_size=12))
def test_anything_else_is_refused_in_one_sentence(text: str) -> None:
    try:
        table = sizes.table_of_size(text)
    except TableError as error:
        assert "\n" not in str(error).replace(text, "")
        assert "nose to nose" in str(error)
    else:
        assert table.length_mm >= table.width_mm


@pytest.mark.parametrize("text", ["100x50", "9000x100", "2540x2540", "8", "6ft"])
def test_sizes_of_no_pool_table_are_refused(text: str) -> None:
    with pytest.raises(TableError):
        sizes.table_of_size(text)
