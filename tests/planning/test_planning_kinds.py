"""Combinations, shots into the rack, what cannot be done, what a plan tells of itself, the words' ranges."""

from __future__ import annotations

from dataclasses import replace
from math import hypot, sqrt
from pathlib import Path
from typing import get_args

import pytest

from lessonkit.model import (
    Event,
    Execution,
    Intent,
    Layout,
    Plan,
    Pocketed,
    Shade,
    Side,
    SideRelative,
    Speed,
    Stroke,
    Table,
)
from lessonkit.physics.cushions import cushions_of
from lessonkit.planning.plan import make_plan, plan_after
from lessonkit.planning.words import SHADE, SOME_SIDE, SPEEDS_MPS, TIP_RADII, TIPS_UP, tip_choice
from tests.planning.test_planning_any import shot

TABLE = Table("9ft", 2540.0, 1270.0)
D = TABLE.ball_diameter_mm
DOC = (Path(__file__).parents[2] / "docs" / "strokes.md").read_text(encoding="utf-8")
COMBINATION: Layout = {0: (1500.0, 500.0), 3: (1900.0, 800.0), 9: (2200.0, 1000.0)}


def named(plan: Plan) -> list[tuple[str, tuple[int, ...], str | None]]:
    return [(e.kind, e.balls, e.cushion or e.pocket) for e in plan.contacts]


def test_a_combination_goes_over_its_first_ball() -> None:
    plan = make_plan(shot(COMBINATION), TABLE, Intent(ball=9, pocket="foot-left", via=(3,), speed="medium"))
    assert plan.note is None and plan.via == (3,)
    assert named(plan)[:3] == [
        ("ball", (0, 3), None), ("ball", (3, 9), None), ("pocket", (9,), "foot-left")
    ]  # fmt: skip
    assert plan.ghost is not None
    assert hypot(plan.ghost[0] - 1900.0, plan.ghost[1] - 800.0) == pytest.approx(D, abs=0.01)
    # two contacts are harder than one
    alone = {n: p for n, p in COMBINATION.items() if n != 3}
    direct = make_plan(shot(alone), TABLE, Intent(ball=9, pocket="foot-left", speed="medium"))
    assert plan.pot_chance is not None and direct.pot_chance is not None
    assert plan.pot_chance < direct.pot_chance


def test_a_called_ball_that_dropped_off_another_was_a_combination() -> None:
    seen = replace(
        shot(COMBINATION), pocketed=(Pocketed(9, "foot-left", 3.0),),
        events=(Event(1.3, "ball", (0, 3)), Event(1.6, "ball", (3, 9)), Event(3.0, "pocket", (9,), None, "foot-left")),
    )  # fmt: skip
    assert make_plan(seen, TABLE, Intent(ball=9)).via == (3,)
    assert make_plan(seen, TABLE, Intent(pocket="foot-left")).via == ()


def test_a_combination_with_a_ball_that_is_gone_is_said() -> None:
    plan = make_plan(shot(COMBINATION), TABLE, Intent(ball=9, pocket="foot-left", via=(7,)))
    assert plan.cue_path == () and plan.note is not None and "The 7" in plan.note


def _racked() -> Layout:
    pitch, gap = sqrt(3) / 2 * 57.17, 57.17
    spots = [(1905 + r * pitch, 635 + (j - r / 2) * gap) for r in range(1, 5) for j in range(r + 1)]
    return {0: (1510.0, 792.0), 15: (1994.0, 826.0)} | {n + 1: p for n, p in enumerate(spots)}


@pytest.mark.parametrize("words", [{"into_rack": True}, {"break_ball": 15}])
def test_a_break_shot_opens_the_rack(words: dict[str, object]) -> None:
    layout = _racked()
    plan = make_plan(shot(layout), TABLE, Intent(ball=15, pocket="foot-left", stroke="follow", **words))  # type: ignore[arg-type]
    assert plan.note is None and plan.strike is not None
    met = {b for e in plan.contacts if e.kind == "ball" and 0 in e.balls for b in e.balls} - {0, 15}
    assert met, "the cue ball goes into the rack"
    # firm or hard where no speed is said
    assert plan.strike.speed_mps >= SPEEDS_MPS["firm"][0]


def test_a_rack_that_is_not_to_be_opened_is_left() -> None:
    layout = _racked() | {15: (2400.0, 1100.0), 0: (2000.0, 1000.0)}
    plan = make_plan(shot(layout), TABLE, Intent(ball=15, pocket="foot-left", stroke="stop"))
    assert all(not (e.kind == "ball" and set(e.balls) - {0, 15}) for e in plan.contacts)


def test_what_a_stroke_of_that_kind_cannot_do_is_said_with_what_would() -> None:
    layout: Layout = {0: (400.0, 300.0), 7: (2200.0, 1000.0)}
    plan = make_plan(shot(layout), TABLE, Intent(ball=7, pocket="foot-left", stroke="draw", speed="soft"))
    assert plan.note is not None and plan.note.startswith("No soft draw was found that pots the 7")
    assert plan.note.endswith("draw would.") and len(plan.cue_path) > 1
    # and the other stroke does it
    speed = plan.note.split("A ")[-1].split()[0]
    other = make_plan(shot(layout), TABLE, Intent(ball=7, pocket="foot-left", stroke="draw", speed=speed))  # type: ignore[arg-type]
    assert other.note is None


@pytest.mark.parametrize(
    ("layout", "why"),
    [
        ({0: (1500.0, 500.0), 9: (2000.0, 900.0), 2: (2250.0, 1065.0)}, "another ball stands in its way"),
        ({0: (1500.0, 500.0), 9: (2000.0, 900.0), 2: (1750.0, 705.0)}, "in the cue ball's way"),
        ({0: (2300.0, 1100.0), 9: (2000.0, 900.0)}, "degrees"),
    ],
)
def test_why_it_cannot_be_done(layout: Layout, why: str) -> None:
    plan = make_plan(shot(layout), TABLE, Intent(ball=9, pocket="foot-left", stroke="follow"))
    assert plan.note is not None and why in plan.note and plan.cue_path


def test_a_fullness_that_the_pot_does_not_take_is_said() -> None:
    layout: Layout = {0: (1500.0, 500.0), 9: (2000.0, 900.0)}
    full = make_plan(shot(layout), TABLE, Intent(ball=9, pocket="foot-left")).fullness
    assert full is not None
    # by geometry 1 - sin of the cut, throw aside (Alciatore, fractional-ball aiming)
    assert full == pytest.approx(0.9, abs=0.06)
    right = make_plan(shot(layout), TABLE, Intent(ball=9, pocket="foot-left", fullness=0.9))
    wrong = make_plan(shot(layout), TABLE, Intent(ball=9, pocket="foot-left", fullness=1 / 3))
    assert right.note is None and wrong.note is not None and "0.33" in wrong.note


def test_a_draw_with_nothing_else_said_is_plainly_a_draw() -> None:
    layout: Layout = {0: (1400.0, 700.0), 5: (1900.0, 957.0)}
    plan = make_plan(shot(layout), TABLE, Intent(ball=5, pocket="foot-left", stroke="draw"))
    assert plan.ghost is not None and plan.ghost[0] - plan.cue_path[-1][0] > 100.0


def test_a_metre_and_a_metre_goes_in_four_times_of_five() -> None:
    """What docs/strokes.md says of the assumed aim."""
    unit = sqrt(0.5)
    wide = Table("3569x1778", 3569.0, 1778.0)
    mouth = next(d.mouth for d in cushions_of(wide).drops if d.pocket == "foot-left")
    ball, cue = ((mouth[0] - way * unit, mouth[1] - way * unit) for way in (1000.0, 2000.0 + D))
    intent = Intent(ball=5, pocket="foot-left", stroke="stop", speed="firm")
    plan = make_plan(shot({0: cue, 5: ball}), wide, intent)
    assert plan.pot_chance == pytest.approx(0.8, abs=0.1)


def test_errors_can_be_set() -> None:
    layout: Layout = {0: (900.0, 400.0), 9: (1700.0, 800.0)}
    intent = Intent(ball=9, pocket="foot-left", stroke="stun")
    steady = make_plan(shot(layout), TABLE, intent, execution=Execution(0.05, 0.02, 0.02))
    shaky = make_plan(shot(layout), TABLE, intent, execution=Execution(0.5, 0.1, 0.08))
    assert steady.pot_chance is not None and shaky.pot_chance is not None
    assert steady.pot_chance > shaky.pot_chance + 0.2
    assert steady.landing_spread is not None and shaky.landing_spread is not None
    assert steady.landing_spread.major_mm < shaky.landing_spread.major_mm
    assert shaky.execution == Execution(0.5, 0.1, 0.08)


def test_plan_b_is_planned_on_the_layout_that_was_left() -> None:
    before: Layout = {0: (1500.0, 500.0), 9: (2000.0, 900.0), 4: (700.0, 300.0)}
    after: Layout = {0: (1900.0, 700.0), 4: (700.0, 300.0)}
    plan = plan_after(shot(before, after), TABLE, Intent(ball=4, pocket="head-right", plan_b=True))
    assert plan is not None and plan.source == "predicted" and plan.cue_path[0] == after[0]
    assert plan_after(shot(before, after), TABLE, Intent(ball=9, plan_b=True)) is None
    scratched = plan_after(shot(before, {4: (700.0, 300.0)}), TABLE, Intent(ball=4, plan_b=True))
    assert scratched is not None and scratched.note is not None and "cue ball" in scratched.note


def test_every_word_stands_in_the_document_with_the_figures_of_the_code() -> None:
    for words in (Speed, Stroke, Side, SideRelative):
        for word in get_args(words):
            assert ("no side" if word == "none" else word) in DOC
    for word, (low, high) in SPEEDS_MPS.items():
        # rounded as a reader would
        assert f"| {word} | {low:.2f}".rstrip("0") in DOC.replace("0.3-", "0.3-") and f"{high:.2f}" in DOC
    for stroke, (low, usual, high) in TIPS_UP.items():
        assert f"| {stroke} | {low:g}, {usual:g}, {high:g}" in DOC
    assert f"{SHADE[0]:g}-{SHADE[2]:g} R above" in DOC and f"usually {SHADE[1]:g}" in DOC
    assert (
        f"| a tip, one tip | {TIP_RADII:g} " in DOC
        and f"{SOME_SIDE[0]:g}-{SOME_SIDE[2]:g}, usually {SOME_SIDE[1]:g}" in DOC
    )
    assert get_args(Shade) == ("run through", "draw back")


def test_a_stun_that_runs_through_is_struck_above_a_plain_one() -> None:
    assert (
        tip_choice("stun", "run through").low
        > tip_choice("stun").usual
        > tip_choice("stun", "draw back").high
    )
    layout: Layout = {0: (1300.0, 600.0), 5: (1900.0, 920.0)}
    ends = {}
    for shade in (None, *get_args(Shade)):
        plan = make_plan(
            shot(layout), TABLE, Intent(ball=5, pocket="foot-left", stroke="stun", speed="firm", shade=shade)
        )
        assert plan.ghost is not None
        ends[shade] = plan.cue_path[-1][0] - plan.ghost[0]
    assert ends["draw back"] < ends[None] < ends["run through"]


def test_all_of_a_plan_is_written_and_read_back() -> None:
    from lessonkit.analysis_file import _plan, _plan_from

    plan = make_plan(shot(COMBINATION), TABLE, Intent(ball=9, pocket="foot-left", via=(3,)))
    written = _plan(plan)
    assert written is not None and written["pot_chance"] is not None
    assert _plan(_plan_from(written)) == written
