"""What is told of a table beside the shot, how ways fade, where words go, and that nothing flashes."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.lesson import marks, projected, style
from lessonkit.lesson.in_front import Shy
from lessonkit.lesson.labels import Plate, Room, overlap, put
from lessonkit.lesson.landing import actual_rest, measured_place
from lessonkit.lesson.picture import Layer, Picture
from lessonkit.lesson.plan_scene import plan_steps
from lessonkit.lesson.play_scene import straightened
from lessonkit.lesson.result_scene import result_steps
from lessonkit.lesson.scene import Step, shown
from lessonkit.lesson.situation import blocked_lane, clusters_of, situation
from lessonkit.model import Intent, Note, Spread
from lessonkit.table.camera import project
from tests.lesson.made import rack
from tests.lesson.test_drawing_places import RADIUS, H, W, drawn, extreme, is_colour, scene
from tests.publish import filmed

LAYOUT = {0: (400.0, 400.0), 1: (1200.0, 600.0), 2: (1262.0, 600.0), 4: (1900.0, 300.0), 6: (2200.0, 160.0)}


def said(text: str, **intent: object) -> Note:
    return Note(1.0, text, 1, Intent(**intent))  # type: ignore[arg-type]


def test_roles_clusters_and_lanes_are_those_that_the_notes_name() -> None:
    """Nothing unless named; then ball and role, the balls that lie together, and the lane that is shut."""
    shot = replace(filmed.analysis(None, filmed.camera(W, H)).shots[0])  # type: ignore[arg-type]
    shot = replace(shot, seen=replace(shot.seen, layout_before=LAYOUT), plan=None)
    silent = situation(replace(shot, note=said("Six in the foot-right.")), filmed.TABLE)
    assert (silent.roles, silent.clusters, silent.lanes) == ((), (), ())
    told = situation(
        replace(
            shot,
            note=said(
                "Leave the cluster. The 6 is blocked by the 4.", break_ball=6, leave_alone=(1,), key_ball=9
            ),
        ),
        filmed.TABLE,
    )
    assert told.roles == ((6, "break ball"), (1, "leave alone"))  # the nine is not on the table
    assert told.clusters == ((1, 2),)
    assert len(told.lanes) == 1
    assert told.lanes[0].start == LAYOUT[6]


def test_a_lane_is_shut_only_by_a_ball_that_stands_in_it() -> None:
    """Nearer to the line than a ball's diameter: then the moving ball meets it (geometry)."""
    layout = {3: (1000.0, 600.0), 5: (1500.0, 650.0)}
    assert blocked_lane(layout, filmed.TABLE, 5, 3, "head-right") is None
    open_ = {**layout, 5: (1500.0, 1200.0)}
    assert blocked_lane(open_, filmed.TABLE, 5, 3, "foot-right") is None
    on = (1000.0 + 0.4 * 1540, 600.0 - 0.4 * 600 + 20)
    lane = blocked_lane({**layout, 5: on}, filmed.TABLE, 5, 3, "foot-right")
    assert lane is not None
    assert lane.pocket == "foot-right"


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(st.floats(30, 2500), st.floats(30, 1240)), min_size=0, max_size=15))
def test_clusters_share_no_ball(places: list[tuple[float, float]]) -> None:
    """Every ball is in one group at most, and each of a group has a neighbour in it."""
    layout = {k + 1: p for k, p in enumerate(places)}
    groups = clusters_of(layout, filmed.TABLE)
    every = [b for g in groups for b in g]
    assert len(every) == len(set(every))
    for g in groups:
        for b in g:
            assert any(np.hypot(*np.subtract(layout[b], layout[o])) < 83 for o in g if o != b)


def nothing(_layer: Layer, _progress: float) -> None:
    """A step that draws nothing."""


@settings(max_examples=80, deadline=None)
@given(st.lists(st.floats(0, 0.9), min_size=1, max_size=9), st.integers(1, 4), st.floats(0, 1))
def test_no_more_ways_stand_out_than_the_budget_allows(
    starts: list[float], budget: int, share: float
) -> None:
    """However many ways there are, at most so many are wholly there at any time."""
    steps = [Step(s, s + 0.05, nothing, route=f"way {k}") for k, s in enumerate(starts)]
    states = shown(steps, share, budget)
    assert sum(opacity == 1.0 and done == 1.0 for done, opacity in states) <= budget
    assert all(0.0 <= opacity <= 1.0 for _, opacity in states)


@pytest.mark.parametrize("named", [False, True])
def test_the_distance_is_drawn_from_where_it_is_measured(named: bool) -> None:
    """The dotted line's ends lie within 2 pixels of the place from which the figure is measured and of the cue ball,
    whether the place is given in figures or by name."""
    made, _ = scene()
    shot = made.shot
    assert shot.note is not None
    assert shot.note.intent.landing is not None
    landing = replace(shot.note.intent.landing, explicit=not named, radius_mm=300.0, point=(900.0, 1150.0))
    assert shot.plan is not None
    end = shot.plan.cue_path[-1]
    shot = replace(shot, note=replace(shot.note, intent=replace(shot.note.intent, landing=landing)),
                   plan=replace(shot.plan, landing=(900.0, 1150.0)))  # fmt: skip
    wanted = end if named else (900.0, 1150.0)
    assert measured_place(shot) == wanted
    made = replace(made, shot=shot)
    steps = result_steps(made)
    k = next(i for i, s in enumerate(steps) if s.name == "difference" and s.on_cloth)
    ink = is_colour(drawn(steps, k), made.pen.inks.aim.line)
    rest = actual_rest(shot)
    a, b = project(made.pen.camera, [wanted, rest], RADIUS)
    along = (a - b) / np.hypot(*(a - b))
    first, last = extreme(ink, along, b), extreme(ink, -along, b)
    # a dot may end a gap's length before the end, and reaches half a thin line's width beyond it
    gap = 24.0 * projected.px_per_mm(made.pen.camera, wanted)
    assert -2 - gap <= (first - a) @ along <= 2 + 0.3 * made.pen.sizes.line_px
    assert abs((last - b) @ along) <= 2 + 0.3 * made.pen.sizes.line_px
    off = along[0] * (last - b)[1] - along[1] * (last - b)[0]
    assert abs(off) <= 2 + 0.3 * made.pen.sizes.line_px


def test_the_spread_is_drawn_where_it_is() -> None:
    """The ellipse's farthest pixels along its axes are within 2 pixels of its projected ends, line's width apart."""
    made, _ = scene()
    spread = Spread((1300.0, 600.0), 260.0, 90.0, 30.0)
    layer = Layer(W, H)
    marks.draw_spread(made.pen, layer, spread, made.pen.inks.planned)
    ink = is_colour(layer.bgra, made.pen.inks.planned.line)
    centre = project(made.pen.camera, [spread.centre])[0]
    for angle, half in ((30.0, 260.0), (210.0, 260.0), (120.0, 90.0), (300.0, 90.0)):
        c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
        end = project(made.pen.camera, [(1300.0 + half * c, 600.0 + half * s)])[0]
        along = (end - centre) / np.hypot(*(end - centre))
        assert abs((extreme(ink, along, centre) - end) @ along) <= 2 + 0.3 * made.pen.sizes.line_px


def test_doubtful_balls_are_marked_on_both_stills() -> None:
    """A mark beside the ball, from the first moment on, and none where nothing is doubtful."""
    made, _ = scene()
    for steps_of in (plan_steps, result_steps):
        assert not [s for s in steps_of(made) if not s.name]
        unsure = replace(made, shot=replace(made.shot, seen=replace(made.shot.seen, doubtful=(3,))))
        marked = [s for s in steps_of(unsure) if not s.name]
        assert len(marked) == 1
        layer = Layer(W, H)
        marked[0].draw(layer, 1.0)
        assert layer.touched is not None
        x, y = project(made.pen.camera, [filmed.OTHER], RADIUS)[0]
        x0, y0, x1, y1 = layer.touched
        assert np.hypot(max(x0 - x, 0, x - x1), max(y0 - y, 0, y - y1)) < 4 * RADIUS * 0.4
        assert shown(marked, 0.0)[0] == (1.0, 1.0)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(200, 1080), st.floats(120, 600)), min_size=1, max_size=9))
def test_no_two_labels_overlap(places: list[tuple[float, float]]) -> None:
    """Words at up to nine places, however close: no two plates share a pixel."""
    room = Room(W, H)
    boxes = []
    for k, p in enumerate(places):
        box = put(Layer(W, H), Plate((f"ball {k}",), 24), p, 12.0, room)
        if box is not None:
            assert not any(overlap(box, other) for other in boxes)
            boxes.append(box)
    assert boxes


def test_a_straightened_track_keeps_times_ends_and_place() -> None:
    """Jitter goes; times stay, ends stay, and no place moves by more than the tolerance and its jitter."""
    rng = np.random.default_rng(2)
    t = np.linspace(0, 1, 60)
    track = np.c_[t, 500 + 900 * t + rng.normal(0, 2, 60), 400 + 200 * t + rng.normal(0, 2, 60)]
    out = straightened(track, 8.0)
    assert np.array_equal(out[:, 0], track[:, 0])
    assert np.allclose(out[[0, -1]], track[[0, -1]])
    assert np.hypot(*(out[:, 1:] - track[:, 1:]).T).max() < 16


@settings(max_examples=15, deadline=None)
@given(st.lists(st.booleans(), min_size=30, max_size=30))
def test_words_that_make_room_do_not_flash(covered: list[bool]) -> None:
    """However somebody moves beneath, opacity turns round at most six times in any second: three flashes (WCAG 2.x,
    success criterion 2.3.1, "Three flashes or below threshold")."""
    base = Picture.from_bgr(np.full((120, 200, 3), 90, np.uint8))
    person = Picture.from_bgr(np.full((120, 200, 3), 220, np.uint8))
    layer = Layer(200, 120)
    Plate(("words",), 20).draw(layer, 20, 20)
    shy = Shy(layer.overlay(), base, [])
    seen = []
    for k, is_covered in enumerate(covered):
        picture = (person if is_covered else base).copy()
        shy.lay(picture, k / 10)
        seen.append(shy._opacity)
    steps = np.diff(np.array(seen, float))
    signs = [s for s in np.sign(steps) if s]
    assert sum(a != b for a, b in pairwise(signs)) <= 3  # in three seconds


@pytest.mark.parametrize(
    "cloth", ["#0B8A5A", "#1C7FD6", "#7A7D80", "#8A1F2B", "#C9B48A", "#202428", "#F0F0F0"]
)
def test_lines_and_words_have_the_contrast_asked_of_them(cloth: str) -> None:
    """WCAG 2.x: 3:1 for graphical objects (1.4.11), 4.5:1 for text (1.4.3), on cloths of any colour."""
    inks = style.inks_for(cloth)
    for ink in (inks.planned, inks.actual, inks.aim):
        assert ink.stands_out(cloth)
    worst = style.PLATE_ALPHA * np.array(style.bgr(style.PLATE)) + (1 - style.PLATE_ALPHA) * 255
    ground = style.hex_of((int(worst[0]), int(worst[1]), int(worst[2])))
    assert style.contrast_ratio(style.WHITE, ground) >= style.MIN_TEXT_CONTRAST


@pytest.mark.parametrize(("width", "height"), [(1920, 1080), (1080, 1920), (1080, 1080), (640, 360)])
def test_the_closing_table_holds_long_words_whole(width: int, height: int) -> None:
    """A long verdict goes over lines instead of being cut; nothing leaves the picture, no two cells overlap."""
    from lessonkit.lesson.cards import table_pages
    from lessonkit.lesson.text import line_height_px, width_px

    a = rack(["nine in the foot-left"] * 23)
    verdict = "another ball first, then short"
    shots = tuple(
        replace(s, comparison=replace(s.comparison, verdict=verdict)) for s in a.shots if s.comparison
    )
    pages = table_pages(replace(a, shots=shots), width, height)
    text = " ".join(w.text for page in pages for w in page)
    assert "…" not in text
    for word in set(verdict.split()):
        assert text.count(word) >= 23
    for page in pages:
        boxes = [
            (
                w.x,
                w.y,
                w.x + width_px(w.text, w.size_px, bold=w.bold),
                w.y + line_height_px(w.size_px, bold=w.bold),
            )
            for w in page
        ]
        assert all(b[0] >= 0 and b[2] <= width and b[1] >= 0 and b[3] <= height for b in boxes)
        assert not any(overlap(b, o) for i, b in enumerate(boxes) for o in boxes[i + 1 :])
