"""Any intent on any layout gives a plan or a plain sentence, never an exception."""

from __future__ import annotations

import os
from typing import Any, get_args

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lessonkit.model import (
    CUE_BALL,
    Cushion,
    Intent,
    Landing,
    Layout,
    Plan,
    SeenShot,
    Shade,
    Side,
    SideRelative,
    Speed,
    Stroke,
    Table,
)
from lessonkit.planning.plan import make_plan, plan_after

TABLE = Table("9ft", 2540.0, 1270.0)
EXAMPLES = int(os.environ.get("LESSONKIT_EXAMPLES", "40"))


def shot(layout: Layout, after: Layout | None = None) -> SeenShot:
    fields: dict[str, Any] = {
        "number": 1, "strike_s": 1.0, "rest_s": 5.0, "layout_before": layout, "layout_after": after or layout,
        "doubtful": (), "cue_path": np.zeros((0, 3)), "paths": {}, "events": (), "pocketed": (), "fullness": None,
    }  # fmt: skip
    return SeenShot(**fields)


def words(kind: Any) -> st.SearchStrategy[Any]:
    """One of the words, or none."""
    return st.none() | st.sampled_from(get_args(kind))


numbers = st.integers(0, 15)
anywhere = st.tuples(st.floats(-40.0, 2580.0), st.floats(-40.0, 1310.0))
close = st.tuples(st.floats(1850.0, 1990.0), st.floats(560.0, 700.0))
layouts = st.dictionaries(numbers, anywhere, max_size=6) | st.dictionaries(
    numbers, anywhere | close, max_size=16
)
cushions = st.lists(st.sampled_from(get_args(Cushion)), max_size=2).map(tuple)
landings = st.builds(
    Landing, st.none() | anywhere, st.just("there"), st.booleans(), st.sampled_from([0.0, 60.0, 300.0])
)
intents = st.builds(
    Intent, ball=numbers, pocket=st.none() | st.sampled_from(tuple(TABLE.pockets)), stroke=words(Stroke),
    side=words(Side), side_tips=st.none() | st.sampled_from([0.5, 1.0, 3.0]), speed=words(Speed),
    rails=st.none() | st.integers(0, 5), landing=st.none() | landings, waypoints=st.just(()) | st.lists(anywhere, max_size=2).map(tuple),
    next_ball=st.none() | numbers, break_ball=st.none() | numbers, leave_alone=st.lists(numbers, max_size=2).map(tuple),
    bank=st.just(()) | cushions, rail_first=st.just(()) | cushions, side_relative=words(SideRelative),
    via=st.just(()) | st.lists(numbers, max_size=2).map(tuple), fullness=st.none() | st.floats(0.0, 1.0),
    shade=words(Shade), into_rack=st.booleans(),
)  # fmt: skip


def check(plan: Plan, layout: Layout) -> None:
    """Either a way from the cue ball's place, with figures that can be, or a sentence that says why there is none."""
    if not plan.cue_path:
        assert plan.source is None and (plan.note or (plan.ball is None and plan.pocket is None))
        return
    assert plan.cue_path[0] == layout[CUE_BALL] or plan.source == "predicted"
    assert np.isfinite(np.array(plan.cue_path)).all()
    if plan.source == "drawn":
        assert plan.pot_chance is None and plan.execution is None
        return
    assert plan.pot_chance is not None and 0.0 <= plan.pot_chance <= 1.0
    assert plan.scratch_chance is not None and 0.0 <= plan.scratch_chance <= 1.0
    assert plan.execution is not None and plan.strike is not None
    assert [e.t_s for e in plan.contacts] == sorted(e.t_s for e in plan.contacts)
    if plan.landing_spread is not None:
        assert plan.landing_spread.major_mm >= plan.landing_spread.minor_mm >= 0.0
    if plan.note is not None:
        assert plan.note.endswith(".") and plan.note[0].isupper()


@settings(
    deadline=None,
    max_examples=EXAMPLES,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(layouts, intents, st.data())
def test_any_intent_on_any_layout(layout: Layout, intent: Intent, data: st.DataObject) -> None:
    others = sorted(n for n in layout if n != CUE_BALL)
    if others and data.draw(st.integers(0, 4)):
        # most often call a ball that is there, with the cue ball on the table
        layout = {**layout, CUE_BALL: layout.get(CUE_BALL, (635.0, 400.0))}
        intent = Intent(**{**vars(intent), "ball": data.draw(st.sampled_from(others))})
    check(make_plan(shot(layout), TABLE, intent), layout)
    left = {n: p for n, p in layout.items() if n % 3 != 1}
    after = plan_after(shot(layout, left), TABLE, intent)
    if after is None:
        assert intent.ball is not None and intent.ball not in (left or layout)
    else:
        check(after, left or layout)
