"""Plans on layouts of our own: the call settled, the words kept, the ball potted, the place reached."""

from __future__ import annotations

from math import hypot
from typing import Any

import numpy as np
import pytest

from lessonkit.model import Event, Intent, Landing, Layout, Pocketed, SeenShot, Table
from lessonkit.physics.impacts import strike
from lessonkit.physics.laws import DEFAULT
from lessonkit.physics.simulate import simulate
from lessonkit.planning.choice import openness, settle_side
from lessonkit.planning.geometry import direction_deg, ghost_ball, turn_deg
from lessonkit.planning.plan import make_plan
from lessonkit.planning.words import SPEEDS_MPS, dead_tip, side_choice, speed_choice

TABLE = Table("9ft", 2540.0, 1270.0)
LAYOUT: Layout = {0: (1500.0, 500.0), 9: (2000.0, 900.0), 4: (700.0, 300.0)}


def shot(layout: Layout, **fields: Any) -> SeenShot:
    base: dict[str, Any] = {
        "number": 1, "strike_s": 1.0, "rest_s": 5.0, "layout_before": layout, "layout_after": layout, "doubtful": (),
        "cue_path": np.zeros((0, 3)), "paths": {}, "events": (), "pocketed": (), "fullness": None,
    }  # fmt: skip
    return SeenShot(**{**base, **fields})


def test_an_empty_intent_gives_an_empty_plan() -> None:
    plan = make_plan(shot(LAYOUT), TABLE, Intent(next_ball=4))
    assert (plan.ball, plan.pocket, plan.stroke, plan.source, plan.cue_path) == (None, None, None, None, ())


def test_unsaid_words_stay_none_and_the_rest_is_predicted() -> None:
    plan = make_plan(shot(LAYOUT), TABLE, Intent(ball=9, pocket="foot-left"))
    assert (plan.stroke, plan.side, plan.speed, plan.landing) == (None, None, None, None)
    assert plan.source == "predicted" and plan.note is None
    assert plan.cue_path[0] == LAYOUT[0]
    assert plan.ball_path[0] == LAYOUT[9] and plan.ball_path[-1] == TABLE.pockets["foot-left"]


def test_the_ghost_ball_stands_a_diameter_from_the_called_ball_near_the_pocket_line() -> None:
    plan = make_plan(shot(LAYOUT), TABLE, Intent(ball=9, pocket="foot-left", stroke="stun", speed="medium"))
    assert plan.ghost is not None
    ball = LAYOUT[9]
    assert hypot(plan.ghost[0] - ball[0], plan.ghost[1] - ball[1]) == pytest.approx(
        TABLE.ball_diameter_mm, abs=0.01
    )
    bare = ghost_ball(ball, (2499.0, 1229.0), TABLE.ball_diameter_mm)
    # throw moves it off the bare ghost ball, by less than the 3.4 degrees that friction can throw (shared/physics.toml)
    turned = turn_deg(direction_deg(bare, ball), direction_deg(plan.ghost, ball))
    assert 0.05 < abs(turned) < 6.0


@pytest.mark.parametrize("place", [(1600.0, 900.0), (1000.0, 640.0), (2200.0, 400.0)])
def test_a_stated_place_that_a_stroke_can_reach_is_reached(place: tuple[float, float]) -> None:
    plan = make_plan(
        shot(LAYOUT), TABLE, Intent(ball=9, pocket="foot-left", landing=Landing(place, "there", True))
    )
    end = plan.cue_path[-1]
    off = hypot(end[0] - place[0], end[1] - place[1])
    # either it gets there or it says that it does not
    assert off < 90.0 or (plan.note is not None and f"{off:.0f} mm" in plan.note)
    assert plan.landing == place


def test_a_stop_shot_leaves_the_cue_ball_at_the_ghost_ball() -> None:
    layout = {0: (1200.0, 635.0), 5: (1900.0, 950.0)}
    plan = make_plan(shot(layout), TABLE, Intent(ball=5, pocket="foot-left", stroke="stop", speed="firm"))
    assert plan.ghost is not None
    end = plan.cue_path[-1]
    assert hypot(end[0] - plan.ghost[0], end[1] - plan.ghost[1]) < 150
    assert plan.rails == 0


def test_draw_comes_back_and_follow_goes_on() -> None:
    layout = {0: (1400.0, 700.0), 5: (1900.0, 957.0)}
    ends = {}
    for stroke in ("draw", "follow"):
        plan = make_plan(
            shot(layout), TABLE, Intent(ball=5, pocket="foot-left", stroke=stroke, speed="medium")
        )
        assert plan.stroke == stroke
        assert plan.ghost is not None
        ends[stroke] = plan.cue_path[-1][0] - plan.ghost[0]
    assert ends["draw"] < -5 and ends["follow"] > 100


def test_stated_rails_are_taken() -> None:
    for rails in (1, 2, 3):
        plan = make_plan(shot(LAYOUT), TABLE, Intent(ball=9, pocket="foot-left", rails=rails))
        assert plan.rails == rails
        assert plan.note is None or "rail" in plan.note


def test_drawn_waypoints_win() -> None:
    way = ((2300.0, 600.0), (1800.0, 300.0))
    plan = make_plan(shot(LAYOUT), TABLE, Intent(ball=9, pocket="foot-left", waypoints=way))
    assert plan.source == "drawn"
    assert plan.cue_path[0] == LAYOUT[0] and plan.cue_path[2:] == way and plan.cue_path[1] == plan.ghost


def test_a_bank_goes_over_its_cushion() -> None:
    layout = {0: (1000.0, 500.0), 7: (1700.0, 600.0)}
    plan = make_plan(shot(layout), TABLE, Intent(ball=7, pocket="head-left", bank=("foot",), speed="firm"))
    assert plan.source == "predicted" and plan.note is None
    assert max(x for x, _ in plan.ball_path) > 2480
    assert plan.ball_path[-1] == TABLE.pockets["head-left"]


def test_a_kick_meets_its_cushion_first() -> None:
    layout = {0: (1500.0, 900.0), 7: (2300.0, 700.0)}
    plan = make_plan(
        shot(layout), TABLE, Intent(ball=7, pocket="foot-left", rail_first=("right",), speed="firm")
    )
    assert plan.source == "predicted" and plan.ghost is not None
    before = [p for p in plan.cue_path if p[1] < 40]
    assert before and plan.cue_path.index(before[0]) < len(plan.cue_path) - 1


def test_the_pocket_is_where_the_called_ball_dropped() -> None:
    seen = shot(LAYOUT, pocketed=(Pocketed(9, "side-left", 2.0),))
    assert make_plan(seen, TABLE, Intent(ball=9)).pocket == "side-left"


def test_an_open_pocket_is_chosen_and_the_way_the_ball_went_weighs() -> None:
    assert make_plan(shot(LAYOUT), TABLE, Intent(ball=9)).pocket == "foot-left"
    start = LAYOUT[9]
    went = np.array([[1.2, *start], [1.5, start[0] + 100, start[1] + 75]])
    assert make_plan(shot(LAYOUT, paths={9: went}), TABLE, Intent(ball=9)).pocket == "foot-left"


def test_a_blocked_pocket_is_not_open() -> None:
    layout = {**LAYOUT, 2: (2250.0, 1065.0)}
    assert openness(LAYOUT, TABLE, 9, "foot-left") > 0
    assert openness(layout, TABLE, 9, "foot-left") == 0


def test_a_ball_in_the_jaws_is_open_to_its_pocket() -> None:
    layout = {0: (1857.7, 220.7), 1: (2525.5, 19.8)}
    assert make_plan(shot(layout), TABLE, Intent(ball=1)).pocket == "foot-right"


def test_a_blocked_ball_is_called_where_it_was_played() -> None:
    start = LAYOUT[9]
    went = np.array([[1.2, *start], [1.5, start[0] + 120, start[1] + 80]])
    only = {0: (1500.0, 500.0), 9: start, 2: (2250.0, 1065.0)}
    assert make_plan(shot(only, paths={9: went}), TABLE, Intent(ball=9)).pocket == "foot-left"


def test_a_place_in_words_leaves_a_shot_at_the_next_ball() -> None:
    layout = {0: (1500.0, 500.0), 9: (2000.0, 900.0), 4: (2400.0, 300.0)}
    intent = Intent(ball=9, pocket="foot-left", next_ball=4)
    plan = make_plan(shot(layout), TABLE, intent)
    rest = {n: p for n, p in layout.items() if n != 9} | {0: plan.cue_path[-1]}
    assert max(openness(rest, TABLE, 4, p) for p in TABLE.pockets) > 0.04


def test_rails_filled_in_by_custom_are_not_claimed() -> None:
    place = Landing((2000.0, 200.0), "the far rail", False, 300.0)
    intent = Intent(ball=9, pocket="foot-left", rails=0, by_custom=("rails",), landing=place)
    plan = make_plan(shot(LAYOUT), TABLE, intent)
    cushions = sum(1 for e in plan.cue_path if min(e[0], 2540 - e[0], e[1], 1270 - e[1]) < 28.5)
    assert plan.rails is not None and (plan.rails > 0) == (cushions > 0)


def test_the_ball_is_the_first_that_was_hit() -> None:
    seen = shot(LAYOUT, events=(Event(1.4, "ball", (0, 9)),))
    plan = make_plan(seen, TABLE, Intent(stroke="follow"))
    assert plan.ball == 9 and plan.pocket == "foot-left"


def test_a_ball_that_is_not_there_is_said() -> None:
    plan = make_plan(shot(LAYOUT), TABLE, Intent(ball=13, pocket="foot-left"))
    assert plan.ball == 13 and plan.cue_path == () and plan.note is not None and "13" in plan.note
    plan = make_plan(shot({9: (2000.0, 900.0)}), TABLE, Intent(ball=9, pocket="foot-left"))
    assert plan.cue_path == () and plan.note is not None and "cue ball" in plan.note


def test_an_impossible_cut_is_said() -> None:
    plan = make_plan(
        shot({0: (2300.0, 1100.0), 9: (2000.0, 900.0)}), TABLE, Intent(ball=9, pocket="foot-left")
    )
    # whatever the search found, it is no pot to count on, and the plan says so
    assert plan.note is not None


def test_inside_outside_running_reverse() -> None:
    # cut to the left: inside is left (common practice, no source)
    cue, ball, target = (1000.0, 635.0), (1500.0, 700.0), (2499.0, 1229.0)
    assert settle_side("inside", cue, ball, target, 57.15, None) == "left"
    assert settle_side("outside", cue, ball, target, 57.15, None) == "right"
    # running side opens the first cushion: played with it the cue ball goes farther along that cushion
    layout = {0: (1500.0, 500.0), 9: (2000.0, 900.0)}
    run = simulate(layout, strike(1500, 500, 34.0, 1.5, 0.3, 0.0, TABLE.radius_mm), TABLE)
    side = settle_side("running", layout[0], layout[9], target, 57.15, run)
    other = settle_side("reverse", layout[0], layout[9], target, 57.15, run)
    assert {side, other} == {"left", "right"}
    hit = next(h for h in run.hits if h.kind == "cushion" and h.balls == (0,))
    turns = {}
    for name, tip in (("left", 0.4), ("right", -0.4)):
        spun = simulate(layout, strike(1500, 500, 34.0, 1.5, 0.3, tip, TABLE.radius_mm), TABLE)
        at = next(h.t_s for h in spun.hits if h.kind == "cushion" and h.balls == (0,))
        a, b = spun.place(0, at), spun.place(0, at + 0.3)
        turns[name] = abs(b[1] - a[1]) if hit.cushion in ("head", "foot") else abs(b[0] - a[0])
    assert turns[str(side)] > turns[str(other)]


def test_words_of_speed_follow_the_published_bands() -> None:
    # source: Alciatore, typical shot speeds (shared/physics.toml, physics.shot_speed): slow to 2 mph, medium 2-4, fast 4-7
    assert SPEEDS_MPS["medium"] == pytest.approx((0.89408, 1.78816))
    assert SPEEDS_MPS["firm"] == pytest.approx((1.78816, 3.12928))
    assert SPEEDS_MPS["soft"][1] == pytest.approx(0.89408) and SPEEDS_MPS["hard"][0] == pytest.approx(3.12928)
    order = [speed_choice(Intent(speed=w)).usual for w in ("soft", "medium", "firm", "hard")]  # type: ignore[arg-type]
    assert order == sorted(order)


def test_side_words_keep_their_side() -> None:
    assert side_choice(Intent(side="left", side_tips=1.0)).usual == pytest.approx(0.42)
    assert side_choice(Intent(side="right")).high < 0 and side_choice(Intent(side="none")).high == 0


def test_the_dead_tip_arrives_without_spin() -> None:
    for speed, way in ((2.0, 500.0), (3.0, 1100.0), (1.2, 200.0)):
        cue = strike(0.0, 0.0, 0.0, speed, dead_tip(speed, way, DEFAULT), 0.0, TABLE.radius_mm)
        far = Table("30000x30000", 30000.0, 30000.0)
        cue.x, cue.y = 1000.0, 15000.0
        layout = {0: (1000.0, 15000.0), 1: (1000.0 + way + TABLE.ball_diameter_mm, 15000.0)}
        # stopped at the contact: friction of two balls gives a full hit without spin none either
        run = simulate(layout, cue, far, stop=lambda h, run: True)
        assert abs(run.balls[0].wy) < 0.5


def test_a_break_ball_is_planned_into_the_rack() -> None:
    from math import sqrt

    pitch, gap = sqrt(3) / 2 * 57.17, 57.17
    spots = [(1905 + r * pitch, 635 + (j - r / 2) * gap) for r in range(1, 5) for j in range(r + 1)]
    layout: Layout = {0: (1510.0, 792.0), 15: (1994.0, 826.0)} | {n + 1: p for n, p in enumerate(spots)}
    plan = make_plan(
        shot(layout), TABLE, Intent(ball=15, pocket="foot-left", stroke="force follow", speed="hard")
    )
    assert plan.source == "predicted" and plan.ghost is not None
    assert len(plan.cue_path) > 3
