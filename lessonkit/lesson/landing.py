"""Where the cue ball was to stop and where it did: the places that stills, diagram and figures all go by."""

from __future__ import annotations

from lessonkit.comparing.compare import wanted_place
from lessonkit.model import CUE_BALL, Intent, Point, Shot

USUAL_RADIUS_MM = 150.0


def landing_radius_mm(shot: Shot) -> float:
    """How wide the wanted landing place is, by the note; 150 mm where no note tells."""
    landing = shot.note.intent.landing if shot.note is not None else None
    return landing.radius_mm if landing is not None else USUAL_RADIUS_MM


def landing_place(shot: Shot) -> Point | None:
    """The middle of the place in which the plan wants the cue ball."""
    if shot.plan is None:
        return None
    return shot.plan.landing or (shot.plan.cue_path[-1] if shot.plan.cue_path else None)


def measured_place(shot: Shot) -> Point | None:
    """The place from which the landing error is measured: given in figures, or the planned way's end."""
    if shot.plan is None:
        return None
    intent = shot.note.intent if shot.note is not None else Intent()
    return wanted_place(shot.plan, intent)


def actual_rest(shot: Shot) -> Point | None:
    """Where the cue ball stopped; None after a scratch."""
    return shot.seen.layout_after.get(CUE_BALL)
