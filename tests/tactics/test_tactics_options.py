"""Ranked options on layouts of our own, and the command that lists them."""

from __future__ import annotations

import json
from dataclasses import replace
from math import hypot
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lessonkit.analysis_file import write_analysis
from lessonkit.cli import run
from lessonkit.model import Analysis, Camera, Execution, Footage, Layout, SeenShot, Shot, Table
from lessonkit.physics.impacts import strike
from lessonkit.physics.simulate import simulate
from lessonkit.tactics.options import rank

TABLE = Table("9ft", 2540.0, 1270.0)
LAYOUT: Layout = {0: (2000.0, 900.0), 9: (2350.0, 1020.0), 5: (2300.0, 200.0), 6: (300.0, 1230.0)}
"""The 9 and the 5 lie by the corners at the foot, the 6 far off on a rail."""


def test_the_easy_ball_with_a_shot_after_it_comes_first() -> None:
    found = rank(LAYOUT, TABLE)
    assert {found[0].ball, found[0].next_ball} == {9, 5}
    assert found[0].kind == "straight" and found[0].score > 0.8 > found[-1].score
    assert [o.score for o in found] == sorted((o.score for o in found), reverse=True)
    for o in found:
        assert 0.0 <= o.score <= o.pot_chance <= 1.0 and o.pot_chance + o.scratch_chance <= 1.0 + 1e-9
        assert o.next_chance is not None and o.score == pytest.approx(o.pot_chance * o.next_chance, abs=1e-9)
        assert o.next_ball in LAYOUT and o.next_ball != o.ball


def test_the_path_is_that_of_the_stroke() -> None:
    for o in rank(LAYOUT, TABLE)[:3]:
        s = o.strike
        x, y = LAYOUT[0]
        cue = strike(x, y, s.aim_deg, s.speed_mps, s.tip_up, s.tip_left, TABLE.radius_mm)
        run = simulate(LAYOUT, cue, TABLE)
        assert run.dropped == {o.ball: o.pocket}
        assert o.cue_path[0] == LAYOUT[0] and o.cue_path[-1] == pytest.approx(run.rest[0])


def test_where_no_ball_goes_straight_banks_and_combinations_are_offered() -> None:
    # both corners at the foot are shut to the 9 by balls before it; off the 2 it goes
    layout: Layout = {0: (1500.0, 800.0), 2: (1950.0, 950.0), 9: (2200.0, 1060.0)}
    combination = [o for o in rank(layout, TABLE) if o.kind == "combination"]
    assert combination and combination[0].via == (2,) and combination[0].ball == 9
    banks = [o for o in rank({0: (1000.0, 500.0), 7: (1700.0, 600.0)}, TABLE) if o.kind == "bank"]
    assert banks
    for o in banks:
        met = [e.cushion for e in o.contacts if e.kind == "cushion" and e.balls == (7,)]
        assert tuple(met[:1]) == o.bank


def test_a_worse_player_has_worse_chances() -> None:
    layout: Layout = {0: (600.0, 400.0), 9: (1900.0, 900.0), 4: (700.0, 900.0)}
    good = {
        (o.ball, o.pocket, o.kind): o.pot_chance
        for o in rank(layout, TABLE, execution=Execution(0.05, 0.03, 0.02))
    }
    poor = {
        (o.ball, o.pocket, o.kind): o.pot_chance
        for o in rank(layout, TABLE, execution=Execution(0.5, 0.1, 0.08))
    }
    both = good.keys() & poor.keys()
    assert both and sum(good[k] for k in both) > sum(poor[k] for k in both) + 0.2


def test_mirrored_layouts_have_mirrored_options() -> None:
    mirrored = {n: (x, TABLE.width_mm - y) for n, (x, y) in LAYOUT.items()}
    a, b = rank(LAYOUT, TABLE)[0], rank(mirrored, TABLE)[0]
    assert a.ball == b.ball and a.pocket.replace("left", "right") == b.pocket.replace("left", "right")
    assert b.score == pytest.approx(a.score, abs=0.05)


def test_the_last_ball_needs_no_next_shot_and_no_cue_ball_gives_no_options() -> None:
    last = rank({0: (1500.0, 500.0), 9: (2400.0, 1150.0)}, TABLE)[0]
    assert last.next_chance is None and last.next_ball is None and last.score == last.pot_chance
    assert rank({9: (2400.0, 1150.0)}, TABLE) == ()
    assert rank({0: (1500.0, 500.0)}, TABLE) == ()


@pytest.fixture(name="lesson")
def _lesson(tmp_path: Path) -> Path:
    fields: dict[str, Any] = {
        "number": 1, "strike_s": 1.0, "rest_s": 5.0, "layout_before": LAYOUT, "layout_after": {9: (2000.0, 300.0)},
        "doubtful": (), "cue_path": np.zeros((0, 3)), "paths": {}, "events": (), "pocketed": (), "fullness": None,
    }  # fmt: skip
    seen = SeenShot(**fields)
    camera = Camera(np.eye(3), np.zeros(4), np.zeros(3), np.array([0.0, 0.0, 2500.0]), None)
    footage = Footage("made.mp4", 1280, 720, 30.0, 300, 10.0)
    shots = (Shot(seen), Shot(replace(seen, number=2, layout_after=LAYOUT)))
    write_analysis(tmp_path / "analysis.json", Analysis(footage, TABLE, camera, shots))
    return tmp_path


def test_the_command_prints_a_table_or_json(lesson: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["options", str(lesson)]) == 0
    text = capsys.readouterr().out
    assert "Shot 1, before the stroke" in text and "Shot 2" in text and "foot-left" in text
    assert run(["options", str(lesson / "analysis.json"), "--shot", "2", "--after", "--json"]) == 0
    (layout,) = json.loads(capsys.readouterr().out)
    assert (layout["shot"], layout["after"]) == (2, True)
    best = layout["options"][0]
    assert best["rank"] == 1 and best["ball"] in (5, 9)
    assert hypot(best["cue_path"][0][0] - 2000.0, best["cue_path"][0][1] - 900.0) < 0.01


def test_what_cannot_be_listed_is_said(lesson: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["options", str(lesson), "--shot", "1", "--after"]) == 0
    assert "in hand" in capsys.readouterr().out
    assert run(["options", str(lesson), "--shot", "7"]) == 1
    assert "no shot 7" in capsys.readouterr().err
    assert run(["options", str(lesson / "nothing.json")]) == 1
    assert "cannot be read" in capsys.readouterr().err
