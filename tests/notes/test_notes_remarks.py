"""Sentences that tell what happened are told from those that tell the plan."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessonkit.notes import remarks


@pytest.mark.parametrize(
    "said",
    [
        "I bumped the three on the way, wasn't planning on that.",
        "Missed it, overcut, hit it way too firm",
        "Ugh, I ended up behind the four!",
        "I didn’t mean to touch the nine.",
        "Should've used less follow on the two.",
        "Way too hard.",
    ],
)
def test_what_happened_goes_and_the_plan_beside_it_stays(said: str) -> None:
    """Only the remark is blanked, and places in the text stay valid."""
    plan = "The six in the foot-left, soft. "
    assert remarks.without(said).strip() == ""
    assert remarks.without(plan + said) == plan + " " * len(said)


@pytest.mark.parametrize(
    "said",
    [
        "Hit it soft, the nine.",
        "Not too hard, the six.",
        "Missed it last time, so now the seven in the foot-left.",
        "Clip the fifteen thin into the foot-right.",
        "I should come up short of the rail.",
        "Hit it 2.5 tips low.",
    ],
)
def test_a_plan_stays(said: str) -> None:
    """What is meant, even beside a word of what happened, is left as it was."""
    assert remarks.without(said) == said


@given(st.text(alphabet=st.sampled_from(list("missed it too. I'hrd;\n’é5")), max_size=80))
def test_the_length_never_changes(text: str) -> None:
    """Every place of the text keeps its index; what is left stands where it stood."""
    out = remarks.without(text)
    assert len(out) == len(text)
    assert all(a in (b, " ") for a, b in zip(out, text, strict=True))
