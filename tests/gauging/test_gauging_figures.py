"""The table's own figures against tables of known figures, handbook motion, and tracks that no table gives."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from math import hypot
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.gauging.figures import RANGES, laws_of, measure_table, roll_time_s
from lessonkit.gauging.stretches import fit, places_at, stretches
from lessonkit.model import Event, SeenShot, Table
from lessonkit.physics.laws import DEFAULT, Laws
from tests.comparing.made import TABLE, Noise, session

FACTS = tomllib.loads((Path(__file__).parents[2] / "shared" / "physics.toml").read_text(encoding="utf-8"))
R = 28.575


@pytest.mark.parametrize("case", FACTS["physics"]["slide"]["cases"], ids=lambda c: c["name"])
def test_the_fitted_motion_is_the_handbooks(case: dict[str, Any]) -> None:
    # source: shared/physics.toml, physics.slide (computed from the equations of motion)
    v, w = 1000.0 * np.array(case["v0"]), np.array(case["w0"])
    slip = np.array([v[0] - R * w[1], v[1] + R * w[0]])
    assert hypot(*slip) / 1000 == pytest.approx(case["slip0"])
    values = np.concatenate([[0.0, 0.0], v, slip])
    t = case["t_roll"]
    got = places_at(values, np.array([t, t + 1e-4]), case["mu"], 0.01)
    assert got[0] / 1000 == pytest.approx(case["displacement_m"], rel=1e-6, abs=1e-9)
    assert (got[1] - got[0]) / 0.1 == pytest.approx(case["v_roll"], rel=1e-3, abs=1e-4)


def test_the_fitted_motion_rolls_as_far_as_the_handbook_says() -> None:
    # source: shared/physics.toml, physics.rolling
    facts = FACTS["physics"]["rolling"]
    rolling = np.array([0.0, 0.0, 1000.0, 0.0, 0.0, 0.0])
    got = places_at(rolling, np.array([facts["from_1_m_s_stop_time_s"], 60.0]), 0.2, facts["mu_r"])
    assert got[:, 0] / 1000 == pytest.approx([facts["from_1_m_s_stop_distance_m"]] * 2, rel=1e-8)


def test_time_of_a_dying_roll() -> None:
    # source: shared/physics.toml, physics.rolling: 10.19 s for the 5.097 m that 1 m/s rolls
    facts = FACTS["physics"]["rolling"]
    long = Table("made", 1000 * facts["from_1_m_s_stop_distance_m"] + 57.15, 1270.0)
    figures = measure_table([], long)
    assert roll_time_s(figures, long) == pytest.approx(facts["from_1_m_s_stop_time_s"], rel=1e-6)


@pytest.mark.parametrize(("low", "high", "name"), [(*v, k) for k, v in RANGES.items()])
def test_ranges_hold_the_defaults_and_are_the_published_ones(low: float, high: float, name: str) -> None:
    assert low <= getattr(DEFAULT, name) <= high
    published = FACTS["defaults"][name]
    if published["low"] < published["high"]:
        assert (low, high) == (published["low"], published["high"])


TABLES = [
    Laws(mu_slide=0.16, mu_roll=0.007, e_cushion=0.96, mu_cushion=0.1),
    Laws(mu_slide=0.26, mu_roll=0.013, e_cushion=0.9, mu_cushion=0.18),
]


@pytest.mark.parametrize("true", TABLES, ids=["fast", "slow"])
@pytest.mark.parametrize(("fps", "mm"), [(60.0, 0.7), (30.0, 1.0)])
def test_a_fast_and_a_slow_table_are_told_apart(true: Laws, fps: float, mm: float) -> None:
    figures = measure_table(session(true, 3, fps=fps, noise=Noise(mm)), TABLE)
    assert figures.rolling.measured and figures.sliding.measured and figures.rebound.measured
    assert figures.rolling.value == pytest.approx(true.mu_roll, rel=0.03)
    assert figures.sliding.value == pytest.approx(true.mu_slide, rel=0.06)
    assert figures.rebound.value == pytest.approx(true.e_cushion, abs=0.02)
    assert figures.cushion_grip.value == pytest.approx(true.mu_cushion, rel=0.35)
    for figure in (figures.rolling, figures.sliding, figures.rebound, figures.cushion_grip):
        assert figure.error > 0 and figure.stretches >= 3
    laws = laws_of(figures)
    assert (laws.mu_roll, laws.e_cushion) == (figures.rolling.value, figures.rebound.value)
    assert laws.e_ball == DEFAULT.e_ball


def test_the_errors_are_honest() -> None:
    """Of figures with errors as told, two thirds at least lie within one error of the truth, nearly all within two."""
    off = []
    for seed, true in enumerate(TABLES * 3):
        figures = measure_table(session(true, 40 + seed, shots=4), TABLE)
        for name, figure in (
            ("mu_slide", figures.sliding),
            ("mu_roll", figures.rolling),
            ("e_cushion", figures.rebound),
        ):
            off.append(abs(figure.value - getattr(true, name)) / figure.error)
    assert np.mean(np.array(off) < 1) >= 0.6
    assert np.mean(np.array(off) < 2) >= 0.9


def test_without_enough_to_tell_the_usual_values_stay() -> None:
    for shots in ([], session(DEFAULT, 1, shots=1, balls=2)[:0]):
        figures = measure_table(shots, TABLE)
        assert not any(
            f.measured for f in (figures.rolling, figures.sliding, figures.rebound, figures.cushion_grip)
        )
        assert laws_of(figures) == DEFAULT
        assert figures.rolling.error == pytest.approx(0.005)
    assert laws_of(None) == DEFAULT


def test_a_contact_that_was_not_seen_does_not_spoil_the_figures() -> None:
    true = TABLES[1]
    shots = session(true, 8, shots=5)
    broken = [replace(s, events=s.events[:1] if k % 2 else s.events) for k, s in enumerate(shots)]
    assert measure_table(broken, TABLE).rolling.value == pytest.approx(true.mu_roll, rel=0.06)


def test_a_ball_hit_from_rest_slides_at_first() -> None:
    found = [s for s in stretches(session(DEFAULT, 2)) if s.from_rest]
    assert found
    good = [f for s in found if (f := fit(s, DEFAULT)) is not None]
    for f in good:
        v, slip = f.values[2:4], f.values[4:6]
        assert hypot(*(v - slip)) < 0.4 * hypot(*v)


numbers = st.floats(-1e4, 1e4) | st.sampled_from([float("nan"), float("inf"), 0.0])


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.tuples(st.floats(0, 6), numbers, numbers), max_size=40),
    st.lists(
        st.tuples(st.floats(-1, 8), st.sampled_from(["ball", "cushion", "pocket"]), st.integers(0, 3)),
        max_size=6,
    ),
)
def test_odd_tracks_never_raise(rows: list[Any], events: list[Any]) -> None:
    track = np.array(sorted(rows), float).reshape(-1, 3)
    met = tuple(
        Event(t, kind, (n, (n + 1) % 4) if kind == "ball" else (n,), "foot" if kind == "cushion" else None)
        for t, kind, n in events
    )
    shot = SeenShot(1, 0.5, 6.0, {0: (500.0, 500.0)}, {}, (), track, {1: track[::2]}, met, (), None)
    with np.errstate(all="ignore"):
        figures = measure_table([shot], TABLE)
    assert np.isfinite([figures.rolling.value, figures.sliding.value, figures.rebound.value]).all()
