"""Figures, differences and strokes survive analysis.json and reach the report's words."""

from __future__ import annotations

from dataclasses import replace

from lessonkit.analysis_file import from_json, to_json
from lessonkit.comparing.compare import compare
from lessonkit.comparing.stroke import estimate_stroke
from lessonkit.gauging.figures import measure_table
from lessonkit.model import Shot
from lessonkit.publish.measured import difference_rows, table_facts
from tests.comparing.made import TABLE, filmed
from tests.comparing.strayed import WELL_KNOWN, planned
from tests.lesson.made import analysis


def test_written_and_read_back() -> None:
    p = planned(4)
    seen = filmed(p.layout, replace(p.strike, speed_mps=0.8 * p.strike.speed_mps), seed=5)
    stroke = estimate_stroke(seen, TABLE)
    shot = Shot(seen, plan=p.plan, comparison=compare(seen, TABLE, p.plan, p.intent, stroke), stroke=stroke)
    whole = replace(analysis(), shots=(shot,), figures=WELL_KNOWN)
    back = from_json(to_json(whole))
    assert to_json(back) == to_json(whole)
    assert back.figures == WELL_KNOWN
    held, got = shot.comparison, back.shots[0].comparison
    assert held is not None and got is not None and held.meant is not None and got.meant is not None
    assert [d.account for d in got.differences] == ["fullness", "speed", "tip_up", "tip_left"]
    assert (got.cause, got.detail) == (held.cause, held.detail)


def test_an_analysis_without_the_new_fields_can_be_read() -> None:
    old = to_json(analysis())
    del old["table_figures"]
    for shot in old["shots"]:
        for name in ("differences", "cause", "unexplained_mm", "detail", "meant"):
            if shot["comparison"]:
                del shot["comparison"][name]
    assert from_json(old).figures is None


def test_words_for_the_report() -> None:
    facts = dict(table_facts(WELL_KNOWN, TABLE))
    # sqrt(2 (2540 - 57.15) / (0.01 g)) s
    assert "7.1\u00a0s from end to end" in facts["Rolling resistance"]
    assert facts["Friction of the cloth"] == "0.200 ± 0.006, from 9 stretches of way"
    unknown = dict(table_facts(measure_table([], TABLE), TABLE))
    assert unknown["Rebound of the cushions"] == "too little to tell; the usual 0.94 is used"
    assert table_facts(None, TABLE) == [] and difference_rows(None) == []
