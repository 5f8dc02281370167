"""The top view as SVG and as pixels."""

from __future__ import annotations

import itertools
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.lesson import style
from lessonkit.lesson.diagram import diagram_image, diagram_svg
from lessonkit.lesson.diagram_shapes import ACTUAL, CLOTH, FRAME_MM, PLANNED, on_table, thin
from lessonkit.model import Footage, Shot
from tests.publish import filmed

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def shot() -> Shot:
    """The made-up shot."""
    return filmed.analysis(Footage("clip.mp4", 640, 360, 30.0, 120, 4.0), filmed.camera()).shots[0]


def test_svg_is_self_contained_and_tells_what_it_shows(shot: Shot) -> None:
    """Well-formed, with title and description bound to it, and nothing fetched from elsewhere."""
    text = diagram_svg(shot, filmed.TABLE)
    root = ET.fromstring(text)
    named = {e.get("id"): e.text for e in root if e.tag in (SVG + "title", SVG + "desc")}
    assert root.get("role") == "img"
    assert root.get("aria-labelledby", "").split() == list(named)
    title, text_of_it = (str(t) for t in named.values())
    assert "Shot 1" in title
    assert "ball 9 in the foot-left pocket" in text_of_it
    assert "href" not in text
    assert "url(" not in text


def test_planned_is_dashed_and_actual_solid(shot: Shot) -> None:
    """Never colour alone."""
    root = ET.fromstring(diagram_svg(shot, filmed.TABLE))
    ways = {PLANNED: [], ACTUAL: []}  # type: dict[str, list[bool]]
    for e in root.iter(SVG + "polyline"):
        if e.get("stroke") in ways:
            ways[str(e.get("stroke"))].append(e.get("stroke-dasharray") is not None)
    assert ways == {PLANNED: [True], ACTUAL: [False]}


def test_numbers_stand_on_the_balls(shot: Shot) -> None:
    """Every ball but the cue ball has its number at its place."""
    root = ET.fromstring(diagram_svg(shot, filmed.TABLE))
    words = {e.text: (float(e.get("x", 0)), float(e.get("y", 0))) for e in root.iter(SVG + "text")}
    assert set(words) == {"9", "3"}
    x, y = words["9"]
    assert x == pytest.approx(filmed.CALLED[0] + FRAME_MM, abs=0.1)
    assert y == pytest.approx(filmed.TABLE.width_mm - filmed.CALLED[1] + FRAME_MM, abs=0.1)


def test_two_diagrams_on_one_page_have_their_own_ids(shot: Shot) -> None:
    """Ids must be unique in a page."""
    ids = [
        e.get("id") for t in range(2) for e in ET.fromstring(diagram_svg(shot, filmed.TABLE)) if e.get("id")
    ]
    assert len(ids) == len(set(ids)) == 4


@pytest.mark.parametrize("turn", range(4))
def test_pixels_show_the_same_geometry(shot: Shot, turn: int) -> None:
    """The cue ball is white and ball 3 red where the turned frame has them."""
    width = 840 if turn % 2 == 0 else 460
    image = diagram_image(shot, filmed.TABLE, width, turn=turn)
    L, W = filmed.TABLE.length_mm + 2 * FRAME_MM, filmed.TABLE.width_mm + 2 * FRAME_MM
    scale = width / (L if turn % 2 == 0 else W)

    def pixel(x: float, y: float) -> np.ndarray:
        u, v = x + FRAME_MM, y + FRAME_MM
        px, py = {0: (u, W - v), 1: (W - v, L - u), 2: (L - u, v), 3: (v, u)}[turn]
        return image[round(py * scale - 0.5), round(px * scale - 0.5)].astype(int)

    assert pixel(*filmed.CUE).min() > 240
    rim = pixel(filmed.OTHER[0], filmed.OTHER[1] + 30)
    assert np.abs(rim - style.bgr(style.ball_colour(3))).max() < 40
    assert np.abs(pixel(2000, 300) - style.bgr(CLOTH)).max() < 4


def test_before_the_shot_nothing_actual_is_told(shot: Shot) -> None:
    """The inset of the play does not give the end away."""
    early = diagram_image(shot, filmed.TABLE, 640, actual=False).astype(int)
    late = diagram_image(shot, filmed.TABLE, 640).astype(int)
    orange = style.bgr(ACTUAL)
    assert not (np.abs(early - orange).max(-1) < 30).any()
    assert (np.abs(late - orange).max(-1) < 30).any()


def test_lines_have_contrast_on_the_drawn_cloth() -> None:
    """WCAG 2.x, 1.4.11: 3:1."""
    assert style.contrast_ratio(PLANNED, CLOTH) >= 3
    assert style.contrast_ratio(ACTUAL, CLOTH) >= 3


def test_a_shot_without_plan_and_without_cue_ball(shot: Shot) -> None:
    """A break without a note, ended by a scratch, still has a diagram."""
    bare = replace(shot, plan=None, note=None, comparison=None, seen=replace(shot.seen, layout_after={}))
    assert ET.fromstring(diagram_svg(bare, filmed.TABLE)) is not None


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 2540), st.floats(0, 1270)), min_size=2, max_size=20))
def test_thinning_stays_near(points: list[tuple[float, float]]) -> None:
    """Ends are kept, and every point left out lies within the tolerance of what stayed."""
    from lessonkit.lesson.diagram_shapes import _distance

    kept = thin(points, 5.0)
    assert (kept[0], kept[-1]) == (points[0], points[-1])
    for p in points:
        assert min(_distance(p, a, b) for a, b in itertools.pairwise(kept)) <= 5.0 + 1e-6


def test_ways_end_at_the_pocket() -> None:
    """What a ball does beyond the nose line is not drawn."""
    way = on_table([(2400.0, 1200.0), (2530.0, 1265.0), (2550.0, 1280.0), (2560.0, 1300.0)], filmed.TABLE)
    assert way[-1] == (2550.0, 1280.0)
