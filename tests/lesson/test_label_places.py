"""Lines from words to their things do not cross, and headlines keep off the pockets, where there is room."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessonkit.lesson.labels import Plate, Room, crossings, headline, headline_box, headlines, overlap, put
from lessonkit.lesson.picture import Box, Layer
from lessonkit.lesson.style import Sizes

W, H = 1920, 1080
BALL_PX = 30.0
"""Balls cannot lie in each other."""
places = st.tuples(st.floats(0, 100), st.floats(0, 100))


@given(places, places, places, places)
def test_crossings_by_the_two_unknowns(
    a: tuple[float, float], b: tuple[float, float], c: tuple[float, float], d: tuple[float, float]
) -> None:
    """Two stretches cross where a + s (b - a) = c + t (d - c) has s and t between 0 and 1."""
    m = np.array([np.subtract(b, a), -np.subtract(d, c)]).T
    if abs(np.linalg.det(m)) < 1e-3:
        return
    s, t = np.linalg.solve(m, np.subtract(c, a))
    if min(abs(v - e) for v in (s, t) for e in (0.0, 1.0)) < 1e-6:
        return
    assert crossings(np.array([a, b]), np.array([c, d])) == (0 < s < 1 and 0 < t < 1)


def test_lines_from_words_hardly_ever_cross_where_there_is_room() -> None:
    """Three to five balls close together on an empty table have their words about them, each line clear of the others.

    Words are placed one after another, so in a crowd a crossing can be left: in one of 400 such layouts when it was measured.
    """
    rng = np.random.default_rng(5)
    layer, crossed = Layer(W, H), 0
    for _ in range(80):
        things: list[tuple[float, float]] = []
        count = int(rng.integers(3, 6))
        while len(things) < count:
            p = (float(rng.uniform(900, 1020)), float(rng.uniform(480, 600)))
            if all(np.hypot(*np.subtract(p, q)) >= BALL_PX for q in things):
                things.append(p)
        room = Room(W, H)
        for k, p in enumerate(things):
            assert put(layer, Plate((f"thing {k}",), 45), p, 25.0, room) is not None
        crossed += any(crossings(line, o) > 0 for k, line in enumerate(room.leads) for o in room.leads[:k])
    assert crossed <= 1


def test_a_line_goes_round_a_way() -> None:
    """Words beside a thing are shut out on one side by others, and on the other by a way: they stand where no line crosses it."""
    thing = (960.0, 540.0)
    way = np.array([(1010.0, 100.0), (1010.0, 1000.0)])
    wall: list[Box] = [(760, 420, 1100, 660)]
    room = Room(W, H, solid=[(900, 480, 1020, 600)], words=wall)
    free = Room(W, H, solid=[(900, 480, 1020, 600)], words=wall, ways=[way])
    for r in (room, free):
        assert put(Layer(W, H), Plate(("words",), 45), thing, 30.0, r) is not None
    assert crossings(free.leads[0], way) == 0
    beyond = Room(W, H, words=[(760, 420, 1100, 660), (0, 0, 1009, H)], ways=[way])
    assert put(Layer(W, H), Plate(("words",), 45), thing, 30.0, beyond) is not None
    assert crossings(beyond.leads[0], way) == 1


def pockets(inset_px: int = 60) -> list[Box]:
    """Six mouths of a table that nearly fills the picture."""
    at = [(x, y) for x in (inset_px, W // 2, W - inset_px) for y in (inset_px, H - inset_px)]
    return [(x - 45, y - 45, x + 45, y + 45) for x, y in at]


@pytest.mark.parametrize("top", [True, False])
@pytest.mark.parametrize(
    "text",
    [
        "Shot 4 · six, foot-left corner · draw, firm",
        "The three dropped, but the cue ball ran into the six and stopped 90 cm short of its planned place.",
    ],
)
def test_a_headline_covers_no_pocket_where_there_is_room(text: str, top: bool) -> None:
    """Between the pockets, or just past them; it stays on its half of the picture."""
    room = Room(W, H, pockets=pockets())
    box = headline_box(headline(text, Sizes(W, H)), room, 13, top=top)
    assert not any(overlap(box, p) for p in room.pockets)
    assert box[3] < H / 2 if top else box[1] > H / 2
    without = headline_box(headline(text, Sizes(W, H)), Room(W, H), 13, top=top)
    assert any(overlap(without, p) for p in room.pockets)


def test_a_headline_rather_covers_a_pocket_than_a_ball() -> None:
    """Balls all over the cloth past the pockets."""
    balls: list[Box] = [(x, y, x + 40, y + 40) for x in range(0, W, 60) for y in range(112, 600, 60)]
    room = Room(W, H, solid=balls, pockets=pockets())
    box = headline_box(
        headline("The seven dropped, but the cue ball stopped 40 cm wide." * 2, Sizes(W, H)),
        room,
        13,
        top=True,
    )
    assert box[1] == 13


def test_a_headline_hides_not_even_one_ball() -> None:
    """However small it is beside the words; a pocket is rather covered."""
    words = headline(
        "The one dropped, but the cue ball stopped 50 cm wide of its planned place.", Sizes(W, H)
    )
    free = headline_box(words, Room(W, H, pockets=pockets()), 13, top=True)
    assert free[1] > 13
    ball = [(x, free[3] - 9, x + 22, free[3] + 13) for x in range(100, W, 300)]
    box = headline_box(words, Room(W, H, solid=ball, pockets=pockets()), 13, top=True)
    assert not any(overlap(box, b) for b in ball)


def test_a_narrower_headline_says_the_same_words() -> None:
    """Where the words do not fit three narrow lines there is only the usual one."""
    short = "The eight dropped, and the cue ball stopped 78 mm from its planned place."
    usual, narrow = headlines(short, Sizes(W, H))
    assert narrow.size[0] < usual.size[0] and len(narrow.lines) <= 3
    assert " ".join(narrow.lines).split() == " ".join(usual.lines).split() == short.split()
    assert len(headlines(f"{short} {short}", Sizes(W, H))) == 1


def test_pockets_are_left_open_by_labels_where_it_costs_little() -> None:
    """The same words beside the same thing stand elsewhere once there is a pocket."""
    plain = Room(W, H)
    first = put(Layer(W, H), Plate(("planned",), 45), (960.0, 540.0), 30.0, plain)
    assert first is not None
    second = put(
        Layer(W, H), Plate(("planned",), 45), (960.0, 540.0), 30.0, replace(Room(W, H), pockets=[first])
    )
    assert second is not None and not overlap(first, second)
