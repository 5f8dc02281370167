"""What is drawn lies where the things are: ends of ways, landing places, rings and words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.lesson import projected, style
from lessonkit.lesson.diagram import diagram_image, diagram_svg
from lessonkit.lesson.drawing import Pen, cushion_contacts, layout_at, way_until
from lessonkit.lesson.labels import Plate, Room, beside, headline, headline_box, overlap
from lessonkit.lesson.landing import measured_place
from lessonkit.lesson.naming import Naming
from lessonkit.lesson.picture import Layer, Picture
from lessonkit.lesson.plan_scene import plan_steps, plan_still
from lessonkit.lesson.play_scene import Play
from lessonkit.lesson.result_scene import result_steps, result_still
from lessonkit.lesson.scene import Set, pen_for, set_up
from lessonkit.model import Footage, Shot, Spread
from lessonkit.table.camera import centre_mm, project
from tests.publish import filmed

W, H = 1280, 720
RADIUS = filmed.TABLE.radius_mm


def scene(width: int = W, height: int = H) -> tuple[Set, Picture]:
    """The made-up shot, ready to be drawn at its true size."""
    cam = filmed.camera(width, height, portrait=height > width)
    analysis = filmed.analysis(Footage("clip.mp4", width, height, 30.0, 120, 4.0), cam)
    base = Picture.from_bgr(filmed.scene(cam, width, height, 1.0, flash=False))
    return set_up(analysis, analysis.shots[0], pen_for(analysis, base)), base


def drawn(steps: list, which: int, width: int = W, height: int = H) -> np.ndarray:  # type: ignore[type-arg]
    """The layer of one finished step."""
    layer = Layer(width, height)
    steps[which].draw(layer, 1.0)
    return layer.bgra


def extreme(mask: np.ndarray, towards: np.ndarray, origin: np.ndarray) -> np.ndarray:
    """The set pixel furthest in a direction."""
    ys, xs = np.nonzero(mask)
    p = np.c_[xs, ys].astype(float)
    return p[np.argmax((p - origin) @ towards)]


def is_colour(bgra: np.ndarray, colour: str) -> np.ndarray:
    """Where a layer shows this colour, opaque."""
    return (np.abs(bgra[..., :3].astype(int) - style.bgr(colour)).max(-1) < 30) & (bgra[..., 3] > 200)


def test_the_cloth_is_measured() -> None:
    """The pen's inks answer to the cloth that the picture shows."""
    made, _ = scene()
    cloth = style.bgr(made.pen.inks.cloth)
    assert np.abs(np.array(cloth) - filmed.CLOTH).max() <= 4


@pytest.mark.parametrize("end", [filmed.END, (60.0, 1200.0), (2480.0, 80.0)])
def test_the_actual_way_ends_at_the_cue_ball(end: tuple[float, float]) -> None:
    """Within 2 pixels of the projected place, along the way."""
    made, _ = scene()
    layer = Layer(W, H)
    points = [filmed.CUE, end]
    made.pen.way(layer, points, made.pen.inks.actual)
    tip, start = project(made.pen.camera, [end, filmed.CUE], RADIUS)
    along = (tip - start) / np.hypot(*(tip - start))
    found = extreme(is_colour(layer.bgra, made.pen.inks.actual.line), along, start)
    # the round end reaches half a line's width beyond the last point
    assert abs((found - tip) @ along - made.pen.sizes.line_px / 2) <= 2
    assert abs((found - tip) @ np.array([-along[1], along[0]])) <= 2


def test_the_planned_way_points_at_the_landing_place() -> None:
    """The arrow's tip is within 2 pixels of the projected landing place."""
    made, _ = scene()
    layer = Layer(W, H)
    made.pen.arrow(layer, [filmed.GHOST, filmed.LANDING], made.pen.inks.planned)
    tip, start = project(made.pen.camera, [filmed.LANDING, filmed.GHOST], RADIUS)
    along = (tip - start) / np.hypot(*(tip - start))
    found = extreme(is_colour(layer.bgra, made.pen.inks.planned.line), along, start)
    assert np.hypot(*(found - tip)) <= 2


def test_the_landing_place_is_centred_on_the_cloth() -> None:
    """The zone's middle lies within 2 pixels of the projected place at z = 0."""
    made, _ = scene()
    layer = Layer(W, H)
    made.pen.zone(layer, (1270.0, 700.0), 150.0, made.pen.inks.planned)
    ys, xs = np.nonzero(layer.bgra[..., 3])
    middle = np.array([(xs.min() + xs.max()) / 2, (ys.min() + ys.max()) / 2])
    assert np.hypot(*(middle - project(made.pen.camera, [(1270.0, 700.0)])[0])) <= 2


def test_lines_follow_the_lens() -> None:
    """With strong distortion a straight way is drawn bent: every tenth of it lies within 2 pixels of the line."""
    made, _ = scene()
    bent = replace(made.pen.camera, distortion=np.array([-0.25, 0.05, 0, 0]))
    pen = Pen(bent, made.pen.table, made.pen.inks, made.pen.sizes)
    layer = Layer(W, H)
    pen.way(layer, [(100.0, 100.0), (2440.0, 100.0)], pen.inks.actual)
    core = is_colour(layer.bgra, pen.inks.actual.line)
    for x in np.linspace(150, 2400, 10):
        px = np.round(project(bent, [(x, 100.0)], RADIUS)[0]).astype(int)
        assert core[px[1] - 2 : px[1] + 3, px[0] - 2 : px[0] + 3].any()
    ends = project(bent, [(100.0, 100.0), (1270.0, 100.0), (2440.0, 100.0)], RADIUS)
    assert (
        abs(ends[1, 1] - (ends[0, 1] + ends[2, 1]) / 2) > 10
    )  # the test would not notice a straight chord else


def test_planned_is_dashed_and_actual_is_solid() -> None:
    """Along the planned way there are gaps, along the actual one none."""
    made, _ = scene()
    for dash, ink, whole in (
        ((46.0, 34.0), made.pen.inks.planned, False),
        (None, made.pen.inks.actual, True),
    ):
        layer = Layer(W, H)
        made.pen.way(layer, [filmed.CUE, (2000.0, 400.0)], ink, dash=dash)
        px = np.round(
            project(made.pen.camera, projected.sampled([filmed.CUE, (2000.0, 400.0)], 4.0), RADIUS)
        ).astype(int)
        shown = layer.bgra[px[:, 1], px[:, 0], 3] > 0
        assert shown.all() == whole


def test_the_ball_outline_agrees_with_rays() -> None:
    """Sight rays to the outline touch the sphere: their distance from its centre is its radius (geometry)."""
    from lessonkit.table.camera import rays

    cam = filmed.camera(W, H)
    centre = np.array([200.0, 1100.0, RADIUS])
    d = rays(cam, projected.ball_outline(cam, (200.0, 1100.0), RADIUS))
    d /= np.linalg.norm(d, axis=1, keepdims=True)
    to = centre - centre_mm(cam)
    away = np.linalg.norm(to - (d @ to)[:, None] * d, axis=1)
    assert away == pytest.approx(RADIUS, abs=0.05)


@pytest.mark.parametrize(("width", "height"), [(1280, 720), (1920, 1080), (640, 360), (720, 1280)])
def test_words_keep_off_balls_and_each_other(width: int, height: int) -> None:
    """All labels of plan and result: inside the picture, no two overlapping, none on a ball."""
    made, _ = scene(width, height)
    balls = [
        b
        for b in made.taken.solid
        if b != made.inset_box and b not in [v[1] for v in made.headlines.values()]
    ]
    for steps, kind in ((plan_steps(made), "plan"), (result_steps(made), "result")):
        boxes = [made.headlines[kind][1]]
        for step in (s for s in steps if not s.on_cloth):
            layer = Layer(width, height)
            step.draw(layer, 1.0)
            assert layer.touched is not None
            boxes.append(layer.touched)
        assert len(boxes) >= 2
        for i, a in enumerate(boxes):
            assert 0 <= a[0] < a[2] <= width
            assert 0 <= a[1] < a[3] <= height
            assert not any(overlap(a, b) for b in boxes[i + 1 :])
            if i:
                assert not any(overlap(a, b) > 0.1 * (b[2] - b[0]) * (b[3] - b[1]) for b in balls)


@pytest.mark.parametrize(("width", "height"), [(1280, 720), (640, 360), (720, 1280)])
def test_the_inset_hides_nothing_of_the_shot(width: int, height: int) -> None:
    """No ball, used pocket or way lies beneath the diagram, nor does the headline."""
    made, _ = scene(width, height)
    box = made.inset_box
    assert box is not None
    assert not any(overlap(box, v[1]) for v in made.headlines.values())
    for place in (filmed.CUE, filmed.CALLED, filmed.OTHER, filmed.END, filmed.LANDING):
        outline = projected.ball_outline(made.pen.camera, place, RADIUS)
        inside = (
            (outline[:, 0] >= box[0])
            & (outline[:, 0] < box[2])
            & (outline[:, 1] >= box[1])
            & (outline[:, 1] < box[3])
        )
        assert not inside.any()


def test_at_most_three_routes_at_once() -> None:
    """The line budget: the cue ball's planned way (aim and rest of it), the called ball's, and plan B's."""
    made, _ = scene()
    made = replace(made, shot=odd_shots()["plan B"])
    calls: list[bool] = []
    original = Pen.way

    def counting(self: Pen, layer: Layer, points: object, ink: style.Ink, **how: object) -> None:
        dotted = how.get("dash") == (10.0, 24.0)  # the distance is a measure, not a way
        aim = (
            np.hypot(*(np.asarray(points, float)[-1] - filmed.GHOST)) < 5.0
        )  # the first part of the planned way
        if not dotted and not aim:
            calls.append(True)
        original(self, layer, points, ink, **how)  # type: ignore[arg-type]

    Pen.way = counting  # type: ignore[method-assign, assignment]
    try:
        for steps in (plan_steps(made), result_steps(made)):
            calls.clear()
            for step in steps:
                step.draw(Layer(W, H), 1.0)
            assert 1 <= len(calls) <= 3
    finally:
        Pen.way = original  # type: ignore[method-assign]


def test_a_shot_without_plan_or_rest_is_drawn() -> None:
    """No plan: the actual way only; a scratch: no resting place, but a word at the pocket."""
    from lessonkit.model import Pocketed

    cam = filmed.camera(W, H)
    analysis = filmed.analysis(Footage("clip.mp4", W, H, 30.0, 120, 4.0), cam)
    shot = analysis.shots[0]
    seen = replace(shot.seen, layout_after={3: filmed.OTHER}, pocketed=(Pocketed(0, "head-left", 2.9),))
    bare = replace(shot, seen=seen, plan=None, comparison=None, note=None)
    base = Picture.from_bgr(filmed.scene(cam, W, H, 1.0))
    made = set_up(replace(analysis, shots=(bare,)), bare, pen_for(analysis, base))
    assert plan_steps(made) == []
    assert [s.on_cloth for s in result_steps(made)].count(False) == 1


def odd_shots() -> dict[str, Shot]:
    """Shots of which only a part is known."""
    shot = filmed.analysis(Footage("clip.mp4", W, H, 30.0, 120, 4.0), filmed.camera(W, H)).shots[0]
    plan, seen = shot.plan, shot.seen
    assert plan is not None
    none = np.zeros((0, 3))
    return {
        "nothing planned": replace(shot, plan=replace(plan, ball=None, pocket=None, ghost=None, landing=None,
                                                      cue_path=(), ball_path=())),
        "pocket only": replace(shot, plan=replace(plan, ball=None, ghost=None, landing=None, cue_path=(), ball_path=())),
        "ball not on the table": replace(shot, plan=replace(plan, ball=12)),
        "one-point way": replace(shot, plan=replace(plan, cue_path=(filmed.CUE,), ghost=None)),
        "way ends at the ghost": replace(shot, plan=replace(plan, cue_path=(filmed.CUE, filmed.GHOST), landing=None)),
        "landing off the surface": replace(shot, plan=replace(plan, landing=(-300.0, 5000.0))),
        "no tracks": replace(shot, seen=replace(seen, cue_path=none, paths={9: none})),
        "no cue ball": replace(shot, seen=replace(seen, layout_before={9: filmed.CALLED}, layout_after={})),
        "no balls": replace(shot, seen=replace(seen, layout_before={}, layout_after={}, pocketed=())),
        "no comparison": replace(shot, comparison=None),
        "no note": replace(shot, note=None),
        "plan B": replace(shot, plan_b=replace(plan, ball=3, cue_path=(filmed.CUE, (420.0, 960.0), (1500.0, 200.0)))),
    }  # fmt: skip


@pytest.mark.parametrize(("off_mm", "labels"), [(20.0, 1), (300.0, 2)])
def test_one_spot_has_one_label(off_mm: float, labels: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The planned place and the spread about it share their words; a spread elsewhere has its own."""
    made, _ = scene()
    shot = made.shot
    assert shot.plan is not None
    place = measured_place(shot) or filmed.LANDING
    spread = Spread((place[0] - off_mm, place[1]), 150.0, 60.0, 20.0)
    said: list[str] = []

    def heard(self: Naming, text: str | list[str], *args: object, **how: object) -> bool:
        said.append(text if isinstance(text, str) else " / ".join(text))
        return True

    monkeypatch.setattr(Naming, "add", heard)
    plan_steps(replace(made, shot=replace(shot, plan=replace(shot.plan, landing_spread=spread))))
    assert sum("planned place" in t or "2 in 3" in t for t in said) == labels


@pytest.mark.parametrize("name", odd_shots())
def test_what_is_unknown_is_left_out(name: str) -> None:
    """Each piece of a shot of which only a part is known is drawn without an error."""
    shot = odd_shots()[name]
    cam = filmed.camera(W, H)
    analysis = replace(filmed.analysis(Footage("clip.mp4", W, H, 30.0, 120, 4.0), cam), shots=(shot,))
    base = Picture.from_bgr(filmed.scene(cam, W, H, 1.0, flash=False))
    made = set_up(analysis, shot, pen_for(analysis, base))
    for still in (plan_still(made, base), result_still(made, base)):
        assert still.at(0.5).i420.shape == base.i420.shape
        assert np.array_equal(still.at(1.0).i420, still.at(1.0).i420)
    play = Play(made, base)
    for t in (1.0, 1.8, 2.2, 3.5):
        picture = base.copy()
        play.draw(picture, t)
        assert not np.array_equal(picture.i420, base.i420)  # the headline at least
    diagram_svg(shot, filmed.TABLE)
    diagram_image(shot, filmed.TABLE, 300)


@pytest.mark.parametrize(
    ("way", "expected"),
    [
        ([(500, 500), (2511, 900), (1500, 1241), (900, 900)], [(2511, 900), (1500, 1241)]),
        ([(28.6, 600), (1000, 600)], []),  # starts on the cushion
        ([(500, 600), (2511, 600)], []),  # dies against it
        ([(500, 600), (800, 600)], []),
    ],
)
def test_cushion_contacts(way: list[tuple[float, float]], expected: list[tuple[float, float]]) -> None:
    """Turning points at a nose, in order of the way."""
    found = cushion_contacts(projected.sampled(way, 10.0), filmed.TABLE)
    assert len(found) == len(expected)
    for f, e in zip(found, expected, strict=True):
        assert np.hypot(f[0] - e[0], f[1] - e[1]) < 12


def test_a_way_grows_with_time_and_stops_behind_the_ball() -> None:
    """Half of the time of a straight uniform track is half its length, less the ball's radius."""
    track = np.array([(1.0, 0.0, 0.0), (2.0, 1000.0, 0.0)])
    assert projected.lengths(way_until(track, 1.5))[-1] == pytest.approx(500)
    assert projected.lengths(way_until(track, 1.5, RADIUS))[-1] == pytest.approx(500 - RADIUS)
    assert len(way_until(track, 1.0)) == 0
    assert len(way_until(track, 1.01, RADIUS)) == 0


def test_layout_at_a_moment() -> None:
    """A ball that moves is on its track, one that dropped is gone, the rest lie still."""
    cue, called = filmed.tracks()
    before = {0: filmed.CUE, 9: filmed.CALLED, 3: filmed.OTHER}
    at = layout_at(before, {0: cue, 9: called}, {9: filmed.DROP_S}, 2.6)
    assert set(at) == {0, 3}
    assert at[3] == filmed.OTHER
    assert at[0] != filmed.CUE


points = st.lists(st.tuples(st.floats(0, 2540), st.floats(0, 1270)), min_size=2, max_size=8)


@settings(max_examples=60, deadline=None)
@given(points, st.floats(5, 100), st.floats(5, 100))
def test_dashes_cover_their_share(way: list[tuple[float, float]], on: float, off: float) -> None:
    """Dashes are no longer than told, and together as long as the way's whole periods want."""
    total = float(projected.lengths(way)[-1])
    pieces = projected.dashes(way, on, off)
    lengths = [float(projected.lengths(p)[-1]) for p in pieces]
    assert all(length <= on + 1e-6 for length in lengths)
    periods, rest = divmod(total, on + off)
    assert sum(lengths) == pytest.approx(periods * on + min(rest, on), abs=1e-5 * max(1, total))


@settings(max_examples=60, deadline=None)
@given(st.floats(0, 640), st.floats(0, 360), st.text(min_size=1, max_size=12, alphabet="abc 123"))
def test_a_label_lies_inside_or_is_left_out(x: float, y: float, text: str) -> None:
    """Whatever the anchor, no label leaves the picture."""
    box = beside(Plate((text,), 20), (x, y), 8, Room(640, 360))
    assert box is None or (box[0] >= 0 and box[1] >= 0 and box[2] <= 640 and box[3] <= 360)


@settings(max_examples=40, deadline=None)
@given(st.text(max_size=200), st.sampled_from([(1920, 1080), (640, 360), (720, 1280)]))
def test_a_headline_fits(text: str, size: tuple[int, int]) -> None:
    """However long the words, the plate stays in the picture in at most three lines."""
    sizes = style.Sizes(*size)
    plate = headline(text or "x", sizes)
    box = headline_box(plate, Room(*size), 8, top=True)
    assert len(plate.lines) <= 3
    assert box[0] >= 0
    assert box[2] <= size[0]
    assert box[3] <= size[1] / 2
