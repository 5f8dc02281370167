"""Many strokes at once against the same strokes one by one."""

from __future__ import annotations

from time import perf_counter, process_time

import numpy as np
import pytest

from lessonkit.model import CUE_BALL, Layout, Table
from lessonkit.physics.impacts import strike, struck
from lessonkit.physics.many import CUSHIONS_KEPT, simulate_many
from lessonkit.physics.simulate import simulate

TABLE = Table("9ft", 2540.0, 1270.0)
R = TABLE.radius_mm
LAYOUT: Layout = {
    4: (1200.0, 620.0), 0: (600.0, 500.0), 5: (1900.0, 300.0), 6: (2100.0, 900.0), 7: (400.0, 1000.0),
    8: (1500.0, 800.0), 9: (1000.0, 300.0), 10: (2300.0, 600.0),
}  # fmt: skip


def strokes(n: int, seed: int = 3) -> np.ndarray:
    rng = np.random.default_rng(seed)
    low, high = [0.0, 0.3, -0.45, -0.45, 0.0], [360.0, 5.0, 0.45, 0.45, 30.0]
    return rng.uniform(low, high, (n, 5))


def test_a_batch_is_what_its_strokes_are_one_by_one() -> None:
    given, times, of = strokes(150), np.arange(40) / 15, (0, 4, 10)
    many = simulate_many(LAYOUT, given, TABLE, times_s=times, of=of)
    assert many.balls[0] == CUE_BALL and set(many.balls) == set(LAYOUT)
    for i, (aim, speed, up, left, raised) in enumerate(given):
        cue = strike(*LAYOUT[CUE_BALL], aim, speed, up, left, R, raised)
        run = simulate(LAYOUT, cue, TABLE)
        for n in LAYOUT:
            k = many.column(n)
            assert many.moved[i, k] == (n in run.pieces)
            if n in run.dropped:
                assert many.dropped(n, run.dropped[n])[i] and np.isnan(many.rest[i, k]).all()
            else:
                assert many.pocket[i, k] == -1
                assert many.rest[i, k] == pytest.approx(run.rest[n], abs=1e-9)
        first = next((h for h in run.hits if h.kind == "ball" and CUE_BALL in h.balls), None)
        noses = [h for h in run.hits if h.kind == "cushion" and not h.jaw]
        mine = [h for h in noses if h.balls == (CUE_BALL,)]
        assert many.cue_cushions[i] == len(mine)
        assert many.cushions(i) == tuple(h.cushion for h in mine)[:CUSHIONS_KEPT]
        assert many.cushions_before[i] == sum(first is None or h.t_s < first.t_s for h in mine)
        if first is None:
            assert many.first_ball[i] == -1 and np.isnan(many.contact_s[i])
        else:
            other = many.first_ball[i]
            assert set(first.balls) == {CUE_BALL, other} and many.contact_s[i] == first.t_s
            assert many.cushions(i, True) == tuple(h.cushion for h in noses if h.balls == (other,))[:8]
            for which, n in enumerate((CUE_BALL, other)):
                assert many.contact[i, which, :2] == pytest.approx(run.place(n, first.t_s))
        for b, n in enumerate(of):
            want = [run.place(n, t) if n in run.pieces else LAYOUT[n] for t in times]
            assert many.samples[i, :, b] == pytest.approx(np.array(want), abs=1e-6)


def test_to_the_contact_only_gives_the_same_contact() -> None:
    given = strokes(200, 5)
    whole, part = simulate_many(LAYOUT, given, TABLE), simulate_many(LAYOUT, given, TABLE, to_contact=True)
    assert (whole.first_ball == part.first_ball).all() and (whole.first_ball >= 0).any()
    assert part.contact == pytest.approx(whole.contact, nan_ok=True)
    assert (part.stopped == (part.first_ball >= 0)).all()
    assert (part.end_s <= whole.end_s + 1e-12).all()


def test_until_ends_a_stroke_there() -> None:
    many = simulate_many({0: (600.0, 500.0)}, [[0.0, 2.0, 0.0, 0.0]], TABLE, until_s=0.5, times_s=[0.5])
    assert many.end_s[0] == 0.5
    assert many.rest[0, 0] == pytest.approx(many.samples[0, 0, 0])


@pytest.mark.parametrize("bad", [[0.0, 1.0, 0.0, 0.0], [[0.0, 1.0, 0.0]], [[0.0, 1.0, 0.0, 0.0, 95.0]]])
def test_strokes_of_another_kind_are_refused(bad: list[object]) -> None:
    with pytest.raises(ValueError, match=r"shape|raised"):
        simulate_many(LAYOUT, bad, TABLE)
    with pytest.raises(ValueError, match="no cue ball"):
        simulate_many({1: (500.0, 500.0)}, [[0.0, 1.0, 0.0, 0.0]], TABLE)


def test_nothing_asked_nothing_given() -> None:
    many = simulate_many(LAYOUT, np.zeros((0, 4)), TABLE)
    assert many.rest.shape == (0, len(LAYOUT), 2)


def test_ten_thousand_strokes_take_seconds() -> None:
    # 0.3 s were measured; the allowance is for a busy machine
    given = strokes(10_000, 7)
    simulate_many(LAYOUT, given[:1], TABLE)
    cpu, wall = process_time(), perf_counter()
    simulate_many(LAYOUT, given, TABLE)
    assert min(process_time() - cpu, perf_counter() - wall) < 3.0


def test_one_stroke_of_the_batch_is_struck_as_alone() -> None:
    given = strokes(20, 9)
    rows = struck(given, R)
    for row, (aim, speed, up, left, raised) in zip(rows, given, strict=True):
        ball = strike(0.0, 0.0, aim, speed, up, left, R, raised)
        assert row == pytest.approx([ball.vx, ball.vy, ball.wx, ball.wy, ball.wz])
