"""From an analysis to the cut list: title card, then for each shot the plan, the play and the result, closing table.

What is shown, in which order and how fast is the person's to set (lessonkit.lesson.settings); dead time is cut, a
freeze lasts as long as its words, shots whose note asks for it run again slowly, long rolls run faster.
"""

from __future__ import annotations

from itertools import pairwise

from lessonkit.lesson.captions import said, split_cues
from lessonkit.lesson.cutlist import PLAN_STEPS, RESULT_STEPS, CutList, Draft, Drawn, output_rate
from lessonkit.lesson.laying import lay_out
from lessonkit.lesson.phrases import outcome, plan_sentences
from lessonkit.lesson.settings import Durations, Settings
from lessonkit.lesson.situation import Situation, situation
from lessonkit.model import CUE_BALL, Analysis, Footage, Note, SeenShot, Shot, Table

TABLE_MIN_S = 5.0
TABLE_MAX_S = 20.0
SKIP_MIN_S = 1.0
"""Shorter stretches between shots are not worth a line in the list."""
ROLL_MARGIN_S = 0.5
"""After and before something happens a roll keeps its speed."""


def play_span(
    shot: SeenShot, before: SeenShot | None, after: SeenShot | None, footage: Footage, durations: Durations | None = None
) -> tuple[float, float]:  # fmt: skip
    """Footage times at which the play of a shot starts and ends, seconds.

    From a moment before the strike (not before the shot before it rests) to a moment after rest (not past the footage
    or the next strike). Always start <= end, within the footage.
    """
    d = durations or Durations()
    start = max(0.0, shot.strike_s - d.before_strike_s)
    if before is not None:
        start = max(start, min(before.rest_s, shot.strike_s))
    end = shot.rest_s + d.after_rest_s
    if after is not None:
        end = min(end, after.strike_s)
    end = min(end, footage.duration_s)
    return min(start, end), end


def _is_remark(note: Note, shot: Shot) -> bool:
    """Whether a further note looks back on the shot rather than ahead."""
    return not note.intent.plan_b and note.t_s is not None and note.t_s > shot.seen.strike_s


def plan_notes(shot: Shot) -> list[Note]:
    """The notes that tell a shot's plan."""
    return [*([shot.note] if shot.note else []), *(n for n in shot.more_notes if not _is_remark(n, shot))]


def remarks(shot: Shot) -> list[Note]:
    """The notes that look back on it."""
    return [n for n in shot.more_notes if _is_remark(n, shot)]


def _plan_texts(shot: Shot) -> list[str]:
    texts = [t for t in (said(n.text) for n in plan_notes(shot)) if t]
    return texts or ([plan_sentences(shot)] if shot.plan and plan_sentences(shot) else [])


def _result_texts(shot: Shot) -> list[str]:
    sentence = shot.comparison.sentence if shot.comparison else None
    return [t for t in (sentence, *(said(n.text) for n in remarks(shot))) if t]


def wants_replay(shot: Shot) -> bool:
    """Whether a note of the shot asks to see it again."""
    return any(n.intent.replay for n in (shot.note, *shot.more_notes) if n is not None)


def quiet_rolls(shot: SeenShot, longer_than_s: float) -> list[tuple[float, float]]:
    """Footage times between which balls only roll: no contact, drop, strike or rest within ROLL_MARGIN_S.

    Only stretches in which nothing happens for `longer_than_s` or more.
    """
    happens = sorted(
        {shot.strike_s, shot.rest_s, *(e.t_s for e in shot.events), *(p.t_s for p in shot.pocketed)}
    )
    happens = [t for t in happens if shot.strike_s <= t <= shot.rest_s]
    return [(a + ROLL_MARGIN_S, b - ROLL_MARGIN_S) for a, b in pairwise(happens) if b - a >= longer_than_s]


def _steps(shot: Shot, usual: dict[str, float], table: Table) -> tuple[Drawn, ...]:
    """What can be drawn of this shot, at the usual times."""
    plan, layout = shot.plan, shot.seen.layout_before
    following = shot.note.intent.next_ball if shot.note else None
    landing = plan is not None and bool(plan.landing or plan.cue_path)
    known = {
        "called": plan is not None and (plan.ball is not None or plan.pocket is not None),
        "aim": plan is not None and plan.ghost is not None,
        "way": plan is not None and len(plan.cue_path) > 1,
        "landing": landing,
        "roles": situation(shot, table) != Situation(),
        "next": following in layout and following != CUE_BALL,
        "plan b": shot.plan_b is not None and len(shot.plan_b.cue_path) > 1,
        "planned": landing,
        "actual": True,
        "difference": landing and CUE_BALL in shot.seen.layout_after,
    }
    return tuple(Drawn(what, at) for what, at in usual.items() if known[what])


def _play(shot: Shot, span: tuple[float, float], settings: Settings) -> list[Draft]:
    """The shot in one piece, or in several where a long roll runs faster; the caption where it may be said."""
    speeds = settings.speeds
    cuts = [(*span, speeds.play)]
    if speeds.roll > speeds.play:
        for a, b in quiet_rolls(shot.seen, settings.durations.long_roll_s):
            start, end, _ = cuts.pop()
            if start < a < b < end:
                cuts += [(start, a, speeds.play), (a, b, speeds.roll), (b, end, speeds.play)]
            else:
                cuts.append((start, end, speeds.play))
    drafts = [Draft("play", shot.seen.number, a, b, speed) for a, b, speed in cuts]
    happened = outcome(shot.seen)
    if happened is None or len(split_cues(happened.words)) != 1:
        return drafts
    k = next((i for i, (_, b, _) in enumerate(cuts) if happened.t_s < b), len(cuts) - 1)
    start, _, speed = cuts[k]
    d = drafts[k]
    drafts[k] = Draft(
        d.kind, d.shot, d.source_start_s, d.source_end_s, speed,
        say=happened.words, say_at_s=max(0.0, happened.t_s - start) / speed,
    )  # fmt: skip
    return drafts


def _shot_drafts(shot: Shot, span: tuple[float, float], settings: Settings, table: Table) -> list[Draft]:
    e, on, still_s = shot.seen, settings.pieces, settings.durations.still_s
    pieces: dict[str, list[Draft]] = {}
    if on.plan and (shot.note is not None or shot.plan is not None):
        at = e.clear_before_s if e.clear_before_s is not None else e.strike_s
        words = "\n".join(_plan_texts(shot))
        pieces["plan"] = [
            Draft("plan", e.number, at, lasts_s=still_s, steps=_steps(shot, PLAN_STEPS, table), say=words)
        ]
    if on.play:
        pieces["play"] = _play(shot, span, settings)
    if on.replay == "all" or (on.replay == "marked" and wants_replay(shot)):
        pieces["replay"] = [Draft("replay", e.number, *span, settings.speeds.replay)]
    results = _result_texts(shot)
    if on.result and (shot.comparison is not None or results):
        at = e.clear_after_s if e.clear_after_s is not None else e.rest_s
        words = "\n".join(results)
        pieces["result"] = [
            Draft("result", e.number, at, lasts_s=still_s, steps=_steps(shot, RESULT_STEPS, table), say=words)
        ]
    return [d for name in settings.order.shot for d in pieces.get(name, [])]


def play_spans(analysis: Analysis, settings: Settings) -> dict[int, tuple[float, float]]:
    """Of every shot, by its number: what `play_span` says."""
    seen = [s.seen for s in analysis.shots]
    spans = {}
    for i, shot in enumerate(seen):
        before, after = (seen[i - 1] if i else None), (seen[i + 1] if i + 1 < len(seen) else None)
        spans[shot.number] = play_span(shot, before, after, analysis.footage, settings.durations)
    return spans


def _shots(analysis: Analysis, settings: Settings) -> list[Draft]:
    """All shots wanted, dead time between them named where they run in the order of the footage."""
    spans = play_spans(analysis, settings)
    by_number = {s.seen.number: s for s in analysis.shots}
    wanted = [n for n in settings.order.shots if n in by_number] or list(by_number)
    in_order = wanted == sorted(wanted)
    drafts: list[Draft] = []
    shown_s = 0.0
    for number in wanted:
        start_s, end_s = spans[number]
        if in_order and start_s - shown_s >= SKIP_MIN_S:
            drafts.append(Draft("skip", None, shown_s, start_s, settings.speeds.dead_time))
        drafts += _shot_drafts(by_number[number], (start_s, end_s), settings, analysis.table)
        shown_s = end_s
    return drafts


def draft_lesson(analysis: Analysis, settings: Settings | None = None) -> list[Draft]:
    """The lesson's pieces in their order, not yet placed in time.

    A shot without note and plan has no plan still, one without comparison and remarks no result still. The closing
    table is left out where there is no shot.
    """
    s = settings or Settings()
    texts, lasts = s.texts, s.durations
    rows = len(analysis.shots)
    own = (texts.over_title, texts.title, texts.under_title)
    parts: dict[str, list[Draft]] = {
        "intro": [Draft("clip", file=s.clips.intro)] if s.clips.intro else [],
        "title": [Draft("title", lasts_s=lasts.title_s, text=own if any(own) else None)] if s.pieces.title else [],
        "shots": _shots(analysis, s),
        "next": [Draft("next", lasts_s=lasts.next_s, text=(texts.next_heading, texts.next_time), say=texts.next_time)]
        if texts.next_time
        else [],
        "outro": [Draft("clip", file=s.clips.outro)] if s.clips.outro else [],
    }  # fmt: skip
    if rows and s.pieces.table:
        table_s = min(max(2.0 + lasts.table_row_s * rows, TABLE_MIN_S), TABLE_MAX_S)
        parts["table"] = [Draft("table", lasts_s=table_s, text=(texts.table_heading,))]
    drafts = [d for name in s.order.lesson for d in parts.get(name, [])]
    return drafts or [Draft("title", lasts_s=lasts.title_s)]


def build_cuts(analysis: Analysis, settings: Settings | None = None) -> CutList:
    """The whole lesson of an analysis: pieces, chapters and captions."""
    return lay_out(draft_lesson(analysis, settings), output_rate(analysis.footage), analysis.shots)
