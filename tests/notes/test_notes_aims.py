"""Combinations, how much of a ball is hit, a stun's shade, shots into the rack. The sentences are ours."""

from __future__ import annotations

import pytest

from lessonkit.notes.reading import NINE_FOOT
from lessonkit.notes.sentences import understand


@pytest.mark.parametrize(
    ("text", "via", "called"),
    [
        ("Combination: the three into the nine, foot-left corner. Firm stun.", (3,), 9),
        ("The nine off the four into the foot-left, combination.", (4,), 9),
        ("Combo, 3-9 in the side-left", (3,), 9),
        ("The nine in the side-left, then the three.", (), 9),
    ],
)
def test_a_combination_names_its_balls(text: str, via: tuple[int, ...], called: int) -> None:
    intent = understand(text, NINE_FOOT)
    assert (intent.via, intent.ball) == (via, called)


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("Hit a third of the seven, foot-left, and follow.", 1 / 3),
        ("I take a third of a ball on the six, foot-left", 1 / 3),
        ("half-ball hit on the six in the foot-left", 0.5),
        ("three quarter ball hit, the six foot-left", 0.75),
        ("The six in the foot-left, leave it half a ball off the left rail", None),
        ("Half a tip of left on the six, foot-left", None),
    ],
)
def test_how_full_the_ball_is_hit(text: str, part: float | None) -> None:
    intent = understand(text, NINE_FOOT)
    assert intent.fullness == (None if part is None else pytest.approx(part, abs=1e-3))
    assert intent.ball in (6, 7)


@pytest.mark.parametrize(
    ("text", "shade"),
    [
        ("stun run through the 5 in the side-left", "run through"),
        ("stun it with a touch of draw, 5 side-left", "draw back"),
        ("stun the 5 in the side-left", None),
    ],
)
def test_a_stun_may_have_a_shade(text: str, shade: str | None) -> None:
    intent = understand(text, NINE_FOOT)
    assert (intent.stroke, intent.shade) == ("stun", shade)


@pytest.mark.parametrize(
    ("text", "opens"),
    [
        ("Break shot, twelve in the foot-left, then into the rack.", True),
        ("7 side-left and open the cluster", True),
        ("7 side-left, don't go into the rack", False),
        ("7 side-left, to get on the break shot", False),
    ],
)
def test_into_the_rack(text: str, opens: bool) -> None:
    assert understand(text, NINE_FOOT).into_rack is opens
