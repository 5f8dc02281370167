"""The planned place is one place with one figure in the report, the table of shots, the drawing and the still."""

from __future__ import annotations

from math import dist

import pytest

from lessonkit.comparing.compare import compare
from lessonkit.lesson import diagram_shapes
from lessonkit.lesson.diagram import diagram_svg, shot_shapes
from lessonkit.lesson.landing import measured_place
from lessonkit.model import Intent, Landing, Note, Plan, Shot
from lessonkit.publish.figures import figures, place, planned_pairs
from lessonkit.publish.shots_csv import row
from tests.comparing.test_comparing_compare import END, GHOST, TABLE, shot

ZONE = (1270.0, 317.5)


def told(explicit: bool, rest: tuple[float, float]) -> Shot:
    """A shot whose note names a place that its planned way does not reach."""
    intent = Intent(
        ball=9, pocket="foot-left", landing=Landing(ZONE, "right half of the middle", explicit, 268.0)
    )
    way = ((1500.0, 500.0), GHOST, END)
    plan = Plan(9, "foot-left", None, None, None, None, ZONE, way, "predicted", ghost=GHOST)
    seen = shot(rest)
    return Shot(seen, Note(1.0, "", 1, intent), plan=plan, comparison=compare(seen, TABLE, plan, intent))


@pytest.mark.parametrize("explicit", [True, False])
def test_one_place_and_one_figure(explicit: bool) -> None:
    """Whatever the note names, the figure is the distance between the two places that stand in the table beside it."""
    s = told(explicit, (1900.0, 800.0))
    wanted = ZONE if explicit else END
    assert measured_place(s) == wanted and s.comparison is not None
    error = s.comparison.landing_error_mm
    assert error == pytest.approx(dist(wanted, (1900.0, 800.0)), abs=0.1)
    stops = next(p for p in planned_pairs(s, TABLE) if p.what == "Cue ball stops at")
    assert stops.planned == f"Right half of the middle (planned place: {place(wanted)})"
    assert dict(figures(s, TABLE))["From the planned place"].startswith(f"{error:.0f}\u00a0mm")
    csv = row(s)
    at = float(csv["planned landing x (mm)"]), float(csv["planned landing y (mm)"])
    assert dist(at, (float(csv["landing x (mm)"]), float(csv["landing y (mm)"]))) == pytest.approx(
        error, abs=1.0
    )
    assert f"{error:.0f} mm from the planned place" in diagram_svg(s, TABLE)
    assert s.comparison.sentence is not None and "its planned place" in s.comparison.sentence


def test_the_drawing_has_its_cross_there() -> None:
    shapes = [p for p in shot_shapes(told(False, END), TABLE) if isinstance(p, diagram_shapes.Line)]
    crosses = [p for p in shapes if len(p.points) == 12 and p.fill == diagram_shapes.PLANNED]
    assert len(crosses) == 1
    middle = tuple(sum(p[k] for p in crosses[0].points) / 12 for k in (0, 1))
    assert middle == pytest.approx(END)
    assert max(dist(p, END) for p in crosses[0].points) < 2 * diagram_shapes.CROSS_MM


def test_in_the_named_place_it_stopped_as_planned() -> None:
    """However far the planned way ends from it."""
    inside = told(False, (1200.0, 250.0)).comparison
    assert inside is not None and inside.verdict == "as planned" and (inside.landing_error_mm or 0) > 268.0
    outside = told(False, (700.0, 250.0)).comparison
    assert outside is not None and outside.verdict != "as planned"
    in_figures = told(True, (1270.0, 500.0)).comparison
    assert in_figures is not None and in_figures.verdict != "as planned"
