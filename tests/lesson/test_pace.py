"""Pace and order: dead time left out, replays where asked, long rolls faster, parts on and off."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from lessonkit.lesson.cutlist import Draft, output_rate
from lessonkit.lesson.cutting import build_cuts, draft_lesson, quiet_rolls
from lessonkit.lesson.laying import lay_out, left_unsaid
from lessonkit.lesson.settings import Clips, Durations, Order, Pieces, Settings, Speeds, Texts
from tests.lesson.made import analysis, note, rack, shot

TEXT = "0:04 The nine goes in the foot-left corner. Draw, firm, left side for the four."


def kinds(drafts: list[Draft]) -> list[str]:
    """In order."""
    return [d.kind for d in drafts]


def test_dead_time_is_named_and_left_out() -> None:
    """What lies between the end of one shot's play and the start of the next's."""
    a = rack([TEXT, TEXT])
    cuts = build_cuts(a)
    assert [(round(x.source_start_s, 2), round(x.source_end_s, 2)) for x in cuts.left_out] == [
        (0.0, 4.3),
        (9.6, 14.3),
    ]
    assert "skip" not in [p.kind for p in cuts.pieces]


def test_dead_time_can_run_through_fast() -> None:
    """Sixteen times as fast: a sixteenth of its length."""
    cuts = build_cuts(rack([TEXT, TEXT]), Settings(speeds=Speeds(dead_time=16.0)))
    skips = [p for p in cuts.pieces if p.kind == "skip"]
    assert [p.duration_s for p in skips] == pytest.approx([4.3 / 16, 4.7 / 16], abs=1 / 30)
    assert not cuts.left_out


def test_shots_marked_in_the_notes_run_again_slowly() -> None:
    """Others run once."""
    marked = replace(shot(1, 5.0, 9.0, TEXT), note=note("Show it again.", 4.0, replay=True))
    cuts = build_cuts(analysis(marked, shot(2, 15.0, 19.0, TEXT)))
    replays = [p for p in cuts.pieces if p.kind == "replay"]
    assert [(p.shot, p.speed) for p in replays] == [(1, 0.5)]
    play = next(p for p in cuts.pieces if p.kind == "play" and p.shot == 1)
    assert replays[0].duration_s == pytest.approx(2 * play.duration_s, abs=1 / 30)
    assert replays[0].footage_s(replays[0].start_s + 1.0) == pytest.approx(play.source_start_s or 0, abs=0.6)
    assert not [
        p
        for p in build_cuts(analysis(marked), Settings(pieces=Pieces(replay="none"))).pieces
        if p.kind == "replay"
    ]


def test_a_long_roll_runs_faster_between_contacts_only() -> None:
    """From half a second after the last contact to half a second before rest; before and after as it was."""
    a = analysis(shot(1, 5.0, 17.0, TEXT), duration_s=30.0)  # contacts within 2.4 s of the strike
    plays = [p for p in build_cuts(a).pieces if p.kind == "play"]
    assert [p.speed for p in plays] == [1.0, 2.0, 1.0]
    last_contact_s = max(e.t_s for e in a.shots[0].seen.events)
    assert plays[1].source_start_s == pytest.approx(last_contact_s + 0.5, abs=0.04)
    assert plays[1].source_end_s == pytest.approx(16.5, abs=0.04)
    assert all(abs((p.source_end_s or 0) - (q.source_start_s or 0)) < 0.07 for p, q in pairwise(plays))
    calm = Settings(speeds=Speeds(roll=1.0))
    assert [p.speed for p in build_cuts(a, calm).pieces if p.kind == "play"] == [1.0]
    assert quiet_rolls(shot(1, 5.0, 9.0).seen, 5.0) == []


def test_order_and_choice_are_the_persons() -> None:
    """Parts, pieces of a shot, and shots."""
    a = rack([TEXT, TEXT, None])
    how = Settings(order=Order(("table", "shots"), ("play", "plan"), (3, 1)))
    drafts = draft_lesson(a, how)
    assert kinds(drafts) == ["table", "play", "play", "plan"]
    assert [d.shot for d in drafts] == [None, 3, 1, 1]
    bare = Settings(pieces=Pieces(title=False, plan=False, result=False, table=False))
    assert [k for k in kinds(draft_lesson(a, bare)) if k != "skip"] == ["play"] * 3


def test_words_clips_and_what_comes_next() -> None:
    """The person's own words on cards; intro first, outro last."""
    how = Settings(
        texts=Texts(title="My title", next_time="Banks"), clips=Clips("in.mp4", "out.mp4"),
        durations=Durations(title_s=2.0),
    )  # fmt: skip
    drafts = [d for d in draft_lesson(rack([TEXT]), how) if d.kind != "skip"]
    assert kinds(drafts) == ["clip", "title", "plan", "play", "result", "table", "next", "clip"]
    assert drafts[1].text == ("", "My title", "")
    assert drafts[1].lasts_s == 2.0
    assert drafts[-2].text == ("Next time", "Banks")


def test_nothing_wanted_is_still_a_lesson() -> None:
    """A card rather than an empty video."""
    assert kinds(draft_lesson(rack([TEXT]), Settings(order=Order(lesson=("outro",))))) == ["title"]


def test_words_over_moving_pictures_that_do_not_fit_are_named() -> None:
    """Those that fit stand one after the other; pieces are counted from 1."""
    a = rack([TEXT])
    words = "The cue ball comes off the foot cushion here.\nThen it crosses the table to the left.\nAnd it stops by the side pocket, too long."
    for end_s, fits in ((15.0, 3), (11.0, 2), (6.5, 0)):
        drafts = [Draft("title"), Draft("play", 1, 4.0, end_s, say=words)]
        cuts = lay_out(drafts, output_rate(a.footage), a.shots)
        assert len(cuts.cues) == fits
        assert left_unsaid(drafts, cuts) == (() if fits == 3 else (2,))
