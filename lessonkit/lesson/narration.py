"""The talk laid over the lesson: which stretch of a recording belongs to which piece, and when its captions change.

A shot's talk is heard on its stills, which stand until it is over. Where the lesson has no such still it is heard over
the play, which makes way for it, and what is longer than the play runs on into a still after it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Literal

from lessonkit.lesson.captions import MAX_CPS, MIN_CUE_S, measure, reading_s, said, split_cues
from lessonkit.lesson.cutlist import Draft, Voice
from lessonkit.lesson.cutting import plan_notes, remarks
from lessonkit.lesson.laying import BREATH_S, MOVING
from lessonkit.model import Analysis, Note, Shot
from lessonkit.sound.speech import Span, between, nearest_pause, spoken_at

Part = Literal["plan", "result"]

LEAD_S = 0.3
"""From a still's first frame to its first word (our own choice)."""
BETWEEN_S = 0.4
"""From the end of one stretch of talk to the beginning of the next on the same still."""
BOUNDARY_S = 1.5
"""A note's time may lie this much beside the pause in which its talk begins."""


@dataclass(frozen=True)
class Take:
    """A stretch of a recording that belongs to a shot."""

    shot: int
    part: Part
    """Whether it tells the plan or looks back."""
    file: str
    spans: tuple[Span, ...]
    """Speech in it, recording time; not empty."""
    texts: tuple[str, ...] = ()
    """What is said, in order, each a text of its own; empty: nobody wrote it down."""

    @property
    def start_s(self) -> float:
        """Recording time of the first word."""
        return self.spans[0].start_s

    @property
    def duration_s(self) -> float:
        """Until the last word is over."""
        return self.spans[-1].end_s - self.spans[0].start_s


@dataclass(frozen=True)
class Talked:
    """All that was found of a talk."""

    takes: tuple[Take, ...]
    warnings: tuple[str, ...] = ()


# --- which talk belongs where ---------------------------------------------------------------------------------------


def takes_by_time(
    file: str, spans: Sequence[Span], analysis: Analysis, plays: dict[int, tuple[float, float]] | None = None
) -> Talked:
    """The talk of one recording whose times are those of the notes.

    Args:
        spans: where somebody speaks in it.
        plays: footage times that each shot's play shows, where the recording is the footage's own sound: what is said
            then is heard in the play itself, and is not repeated.
    A note's talk begins in the pause nearest to its time and ends where the next note's begins.
    """
    placed = [(n, s.seen.number, part) for s in analysis.shots for n, part in _notes(s) if n.t_s is not None]
    placed.sort(key=lambda p: (p[0].t_s or 0.0, p[0].line))
    begins = [nearest_pause(spans, n.t_s or 0.0, BOUNDARY_S) for n, _, _ in placed]
    begins.append(spans[-1].end_s if spans else 0.0)
    takes: list[Take] = []
    warnings: list[str] = []
    for k, (note, shot, part) in enumerate(placed):
        start_s, end_s = begins[k], max(begins[k], begins[k + 1])
        if note.end_s is not None:
            end_s = min(end_s, max(start_s, nearest_pause(spans, note.end_s, BOUNDARY_S)))
        if plays is not None and shot in plays:
            play_start_s, play_end_s = plays[shot]
            start_s, end_s = (
                (start_s, min(end_s, play_start_s)) if part == "plan" else (max(start_s, play_end_s), end_s)
            )
        spoken = between(spans, start_s, end_s)
        if spoken:
            takes.append(Take(shot, part, file, spoken, (said(note.text),)))
        elif plays is None:
            warnings.append(
                f"nobody was heard to speak at {_clock(note.t_s or 0.0)} in {file}, where line {note.line} of the notes "
                "is; that still stands as long as its caption needs."
            )
    return Talked(tuple(takes), tuple(warnings))


def _clock(t_s: float) -> str:
    return f"{int(t_s) // 60}:{int(t_s) % 60:02}"


def _notes(shot: Shot) -> list[tuple[Note, Part]]:
    plan: list[tuple[Note, Part]] = [(n, "plan") for n in plan_notes(shot)]
    return [*plan, *((n, "result") for n in remarks(shot))]


def take_of_file(file: str, spans: Sequence[Span], shot: Shot, part: Part) -> Take | None:
    """The talk of a file that belongs to one shot; None where nobody speaks in it."""
    texts = tuple(said(n.text) for n, p in _notes(shot) if p == part)
    return Take(shot.seen.number, part, file, tuple(spans), texts) if spans else None


# --- laying it over the pieces --------------------------------------------------------------------------------------

_Spoken = list[tuple[float, str]]
"""Captions with the time at which each is spoken."""


def narrated(drafts: Sequence[Draft], takes: Sequence[Take]) -> list[Draft]:
    """The same pieces with the talk: voices, captions at their times, and stills that stand as long as they must.

    Takes of shots that the lesson does not show are left out.
    """
    out: list[Draft] = []
    for number, group in groupby(drafts, key=lambda d: d.shot):
        pieces = list(group)
        mine = [t for t in takes if t.shot == number]
        out += _of_shot(pieces, mine) if number is not None and mine else pieces
    return out


def _of_shot(drafts: list[Draft], takes: list[Take]) -> list[Draft]:
    stills = {d.kind for d in drafts}
    homeless = [t for t in takes if t.part not in stills]
    out: list[Draft] = []
    rest_s, due = 0.0, _Spoken()
    for d in drafts:
        if d.kind in MOVING:
            if d.kind == "play" and homeless:
                d, rest_s, due = _over_play(d, homeless)
                homeless = []
            d, due = _captioned(d, due)
            length_s = _length_s(d)
            rest_s = max(0.0, rest_s - length_s)
            due = [(max(0.0, at - length_s), text) for at, text in due]
        elif d.kind in ("plan", "result"):
            d = _on_still(d, [t for t in takes if t.part == d.kind], rest_s, due)
            rest_s, due = 0.0, []
        out.append(d)
    if rest_s > 0 or due:
        out.append(_run_on(out[-1], rest_s, due))
    return out


def _length_s(d: Draft) -> float:
    return ((d.source_end_s or 0.0) - (d.source_start_s or 0.0)) / d.speed if d.speed > 0 else 0.0


def _voices(takes: Sequence[Take], at_s: float) -> tuple[list[Voice], _Spoken, float]:
    """The takes one after the other from `at_s` on: what is heard, what is read, and when it is over."""
    voices: list[Voice] = []
    spoken: _Spoken = []
    for t in takes:
        voices.append(Voice(t.file, t.start_s, t.start_s + t.duration_s, at_s))
        cues = [c for text in t.texts for c in split_cues(text)]
        times = spoken_at([measure(c) for c in cues], t.spans)
        spoken += [(at_s + when - t.start_s, c) for when, c in zip(times, cues, strict=True)]
        at_s += t.duration_s + BETWEEN_S
    return voices, spoken, at_s - BETWEEN_S if voices else at_s


def _over_play(d: Draft, takes: list[Take]) -> tuple[Draft, float, _Spoken]:
    voices, spoken, end_s = _voices(takes, LEAD_S)
    return replace(d, voice=tuple(voices)), end_s, spoken


def _captioned(d: Draft, due: _Spoken) -> tuple[Draft, _Spoken]:
    """A moving piece with the captions that can be read before it ends, and those that cannot."""
    length_s, read_s = _length_s(d), 0.0
    now: _Spoken = []
    for at, text in due:
        start_s = max(at, read_s)
        read_s = start_s + max(measure(text) / MAX_CPS, MIN_CUE_S) + 0.1
        if read_s > length_s:
            break
        now.append((start_s, text))
    later = due[len(now) :]
    if not now:
        # Nothing is said that could be read here; what the balls did may be, unless words are waiting.
        return (replace(d, say="") if later else d), later
    return _with_captions(replace(d, say=""), now), later


def _with_captions(d: Draft, spoken: _Spoken) -> Draft:
    return replace(
        d, captions=tuple(c for _, c in spoken), captions_at_s=tuple(round(at, 3) for at, _ in spoken)
    )


def _on_still(d: Draft, takes: list[Take], rest_s: float, due: _Spoken) -> Draft:
    """A still with what is still being said from before, then what is only read, then its own talk."""
    if not takes and not due and rest_s <= 0:
        return d
    told = {text for t in takes for text in t.texts}
    spoken = list(due)
    at_s = max(rest_s + BETWEEN_S, _read_s(due)) if rest_s > 0 or due else 0.0
    for line in d.say.split("\n"):
        for cue in split_cues(line) if line not in told else ():
            spoken.append((at_s, cue))
            at_s += reading_s(cue)
    voices, own, _ = _voices(takes, max(at_s, LEAD_S))
    least_s = max(d.lasts_s or 0.0, rest_s + BREATH_S if rest_s > 0 else 0.0)
    return replace(_with_captions(d, [*spoken, *own]), voice=tuple(voices), lasts_s=least_s or d.lasts_s)


def _read_s(spoken: _Spoken) -> float:
    """When the last of these is read."""
    end_s = 0.0
    for at, text in spoken:
        end_s = max(end_s, at) + reading_s(text)
    return end_s


def _run_on(last: Draft, rest_s: float, due: _Spoken) -> Draft:
    """A still of the end of the last piece, for talk that is longer than the shot."""
    at_s = last.source_end_s if last.source_end_s is not None else last.source_start_s
    still = Draft("result", last.shot, at_s, lasts_s=rest_s + BREATH_S)
    return _with_captions(still, due)
