"""What travels between the rooms: small frozen dataclasses, units in their names.

Frame of all places (see docs/analysis-format.md): table millimetres, origin at the head-right corner of the nose
lines, x towards the foot, y towards the left long cushion, z up from the cloth. Times are seconds of the footage,
0 at the presentation time of its first frame. Ball 0 is the cue ball.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Point = tuple[float, float]
"""A place (x_mm, y_mm) on the table, of a ball's centre unless said otherwise."""
Layout = dict[int, Point]
"""Where each ball on the table lies: ball number -> centre."""
Track = NDArray[np.float64]
"""A path, shape (N, 3): t_s, x_mm, y_mm, ascending t."""
Stroke = Literal["stop", "stun", "follow", "draw", "force follow"]
Side = Literal["left", "right", "none"]
SideRelative = Literal["inside", "outside", "running", "reverse"]
Shade = Literal["run through", "draw back"]
"""What a stun is meant to have besides: a little of forward roll, or of draw."""
Speed = Literal["soft", "medium", "firm", "hard"]
Cushion = Literal["head", "foot", "right", "left"]
Pocket = Literal["head-right", "side-right", "foot-right", "head-left", "side-left", "foot-left"]

CUE_BALL = 0


@dataclass(frozen=True)
class Footage:
    """What is known of a video file without looking at its pictures; width and height after rotation."""

    name: str
    width: int
    height: int
    fps: float
    """Average frames per second."""
    frames: int
    duration_s: float


@dataclass(frozen=True)
class Table:
    """A pool table's playing surface, nose line to nose line."""

    size: str
    """'9ft', '8ft', '7ft' or 'LxW' in millimetres."""
    length_mm: float
    width_mm: float
    ball_diameter_mm: float = 57.15
    nose_height_mm: float = 36.29
    corner_mouth_mm: float = 115.9
    side_mouth_mm: float = 128.6

    @property
    def radius_mm(self) -> float:
        """Radius of a ball."""
        return self.ball_diameter_mm / 2

    @property
    def pockets(self) -> dict[Pocket, Point]:
        """Each pocket's nominal place: the corner of the nose lines, or the middle of the long nose line."""
        L, W = self.length_mm, self.width_mm
        return {
            "head-right": (0.0, 0.0), "side-right": (L / 2, 0.0), "foot-right": (L, 0.0),
            "head-left": (0.0, W), "side-left": (L / 2, W), "foot-left": (L, W),
        }  # fmt: skip


@dataclass(frozen=True, eq=False)
class Camera:
    """A camera over the table in OpenCV's conventions; see lessonkit.table.camera for what it can do."""

    matrix: NDArray[np.float64]
    """Shape (3, 3), pixels."""
    distortion: NDArray[np.float64]
    """Shape (4,): k1, k2, p1, p2 (Brown-Conrady)."""
    rotation: NDArray[np.float64]
    """Shape (3,): Rodrigues vector, table -> camera."""
    translation: NDArray[np.float64]
    """Shape (3,): millimetres, table -> camera."""
    error_px: float | None
    """Root mean square distance of the evidence from the fit; None where a person gave the corners only."""
    error_mm: float | None = None
    """Root mean square error of places to be expected over the bed from the camera alone; None where nothing was measured."""


Cameras = tuple[tuple[float, Camera], ...]
"""(from_s, camera), ascending in time: each holds until the next one; empty where the camera never moved."""


@dataclass(frozen=True)
class Event:
    """One contact of a moving ball."""

    t_s: float
    kind: Literal["ball", "cushion", "pocket"]
    balls: tuple[int, ...]
    """Two balls for kind 'ball' (the moving one first), else one."""
    cushion: Cushion | None = None
    pocket: Pocket | None = None


@dataclass(frozen=True)
class Pocketed:
    """One ball's drop."""

    ball: int
    pocket: Pocket
    t_s: float


@dataclass(frozen=True, eq=False)
class SeenShot:
    """One shot as the footage shows it: the move from one rest to the next."""

    number: int
    """1 for the first shot of the footage."""
    strike_s: float
    rest_s: float
    layout_before: Layout
    layout_after: Layout
    doubtful: tuple[int, ...]
    """Balls whose number or place a person should check."""
    cue_path: Track
    paths: dict[int, Track]
    """Every other ball that moved."""
    events: tuple[Event, ...]
    """Ascending in time, the cue ball's and (where seen) other balls' contacts."""
    pocketed: tuple[Pocketed, ...]
    fullness: float | None
    """Of the cue ball's first ball contact: 1 full, 0 a graze; None: no ball was hit."""
    clear_before_s: float | None = None
    """A time at which layout_before lies open to the camera, nobody in front; None: there was no such time."""
    clear_after_s: float | None = None
    """The same for layout_after."""

    @property
    def scratch(self) -> bool:
        """Whether the cue ball dropped."""
        return any(p.ball == CUE_BALL for p in self.pocketed)


@dataclass(frozen=True, eq=False)
class Seen:
    """All that the footage told."""

    footage: Footage
    table: Table
    camera: Camera
    shots: tuple[SeenShot, ...]
    doubts: tuple[str, ...] = ()
    """What a person should know of how well it was seen, each a sentence."""
    cameras: Cameras = ()
    """Where the camera was moved: from when on which one holds; `camera` is that of the longest stretch."""


@dataclass(frozen=True)
class Landing:
    """Where the note wants the cue ball to stop."""

    point: Point | None
    """Centre of the wanted place; None when the words cannot be put on the table."""
    words: str
    explicit: bool
    """Given in figures (millimetres or diamonds) rather than as a named place."""
    radius_mm: float = 150.0
    """How wide the place is that the words name."""


@dataclass(frozen=True)
class Intent:
    """What a note says the player meant to do; None (or empty) where it does not say."""

    ball: int | None = None
    pocket: Pocket | None = None
    stroke: Stroke | None = None
    side: Side | None = None
    side_tips: float | None = None
    speed: Speed | None = None
    rails: int | None = None
    landing: Landing | None = None
    waypoints: tuple[Point, ...] = ()
    """Drawn way of the cue ball, in order, its starting place left out."""
    next_ball: int | None = None
    break_ball: int | None = None
    key_ball: int | None = None
    insurance_ball: int | None = None
    leave_alone: tuple[int, ...] = ()
    """Balls that the note says not to disturb."""
    plan_b: bool = False
    bank: tuple[Cushion, ...] = ()
    """Cushions that the called ball meets on its way to the pocket."""
    rail_first: tuple[Cushion, ...] = ()
    """Cushions that the cue ball meets before the called ball."""
    in_hand: bool = False
    replay: bool = False
    side_relative: SideRelative | None = None
    """Side named by the cut or by the cushion ahead; only the layout settles which way it is. `side` is then None."""
    via: tuple[int, ...] = ()
    """Balls of a combination: the cue ball meets the first of them, the last sends the called ball."""
    fullness: float | None = None
    """How much of the ball is to be hit, where the note says it: 1 full, 0.5 half a ball."""
    shade: Shade | None = None
    into_rack: bool = False
    """The cue ball is to go into the rack, or a cluster, after the called ball."""
    by_custom: tuple[str, ...] = ()
    """Names of the fields that no word states but custom fills: 'side' (a stroke named without side has none),
    'rails' (a place reached without a word of a cushion)."""


@dataclass(frozen=True)
class Note:
    """One note: a time and what it says."""

    t_s: float | None
    """None only where times are optional."""
    text: str
    line: int
    """Line of the notes file on which it starts, from 1."""
    intent: Intent
    end_s: float | None = None
    """Where a transcript's cue ends; None for plain notes."""


@dataclass(frozen=True)
class Head:
    """The head of the notes: about the lesson as a whole."""

    title: str | None = None
    series: str | None = None
    number: str | None = None
    table: str | None = None
    player: str | None = None


@dataclass(frozen=True)
class Notes:
    """A whole notes file."""

    head: Head
    notes: tuple[Note, ...]


@dataclass(frozen=True)
class Strike:
    """A stroke in figures: what the cue ball has just after the tip, and where the tip met it."""

    aim_deg: float
    """Direction of the cue ball, from +x towards +y."""
    speed_mps: float
    tip_up: float
    """Tip offsets in ball radii, up and left of the centre."""
    tip_left: float


@dataclass(frozen=True)
class Execution:
    """How far a player's strokes stray from what was meant: standard deviations (docs/strokes.md, "Execution")."""

    aim_deg: float = 0.1
    speed_share: float = 0.05
    """Of the speed meant."""
    tip: float = 0.04
    """Of the tip's place, up and to the side alike, in ball radii."""


STEADY = Execution()
"""A steady club player: ours, no source."""


@dataclass(frozen=True)
class Spread:
    """Where the cue ball comes to rest if a stroke strays: an ellipse that holds two landings of three."""

    centre: Point
    major_mm: float
    """Half axes."""
    minor_mm: float
    turn_deg: float
    """Direction of the major axis, from +x towards +y, 0 to 180."""


@dataclass(frozen=True)
class Plan:
    """The intent settled on a layout: where the cue ball was meant to go."""

    ball: int | None
    pocket: Pocket | None
    stroke: Stroke | None
    side: Side | None
    speed: Speed | None
    rails: int | None
    landing: Point | None
    cue_path: tuple[Point, ...]
    """The cue ball's planned way, its starting place first; empty if it could not be planned."""
    source: Literal["predicted", "drawn"] | None
    ball_path: tuple[Point, ...] = ()
    """The called ball's planned way to the pocket."""
    ghost: Point | None = None
    """Centre of the ghost ball: where the cue ball is when it meets the called ball."""
    note: str | None = None
    """What the planner could not do, in plain words."""
    strike: Strike | None = None
    """The stroke whose way cue_path is; None where the way was drawn or nothing could be planned."""
    via: tuple[int, ...] = ()
    """Balls of a combination, the one that the cue ball meets first."""
    fullness: float | None = None
    """How much of the first ball the stroke hits: 1 full, 0 a graze."""
    contacts: tuple[Event, ...] = ()
    """Contacts of the planned stroke, of the cue ball, the called ball and those between; `t_s` from the strike."""
    landing_spread: Spread | None = None
    pot_chance: float | None = None
    """Share of strokes with such errors that pot the called ball."""
    scratch_chance: float | None = None
    """Share of them in which the cue ball drops."""
    execution: Execution | None = None
    """The errors assumed for spread and chances; None where there are none."""


@dataclass(frozen=True)
class StrokeEstimate:
    """The stroke that best explains the tracked balls; tip offsets in ball radii; None: unknown.

    The errors are standard errors (two thirds of the true values should lie within one of them); each is None where its
    value is.
    """

    speed_mps: float | None
    tip_up: float | None
    tip_left: float | None
    aim_deg: float | None = None
    """Direction of the cue ball, from +x towards +y."""
    speed_error_mps: float | None = None
    tip_up_error: float | None = None
    tip_left_error: float | None = None
    aim_error_deg: float | None = None


Account = Literal["fullness", "speed", "tip_up", "tip_left"]
"""What a stroke can differ in from the planned one: how full the ball is hit, and the tip's speed, height and side."""


@dataclass(frozen=True)
class Difference:
    """One difference between the planned stroke and the one played; None where the footage does not tell."""

    account: Account
    planned: float
    """Fullness 0 to 1, m/s, or tip offset in ball radii, of the stroke held against (`Comparison.meant`)."""
    actual: float | None
    error: float | None
    """Standard error of the difference."""
    sure: bool
    """Whether it is larger than its error allows to doubt, and large enough to matter."""
    words: str | None
    """'0.08 of a ball thinner', '12 % slower'; None where it is not sure."""
    landing: Point | None = None
    """Where the planned stroke with this one difference leaves the cue ball, simulated; None: it drops, or not known."""
    explains: float | None = None
    """Share of the landing error that this one difference brings about: 1 all, 0 none, below 0 it made it smaller."""
    explains_least: float | None = None
    """The least such share with the difference one standard error larger or smaller; None: not known."""


@dataclass(frozen=True)
class Comparison:
    """The plan held against what happened; None where it could not be measured."""

    called_made: bool | None
    landing_error_mm: float | None
    path_distance_mm: float | None
    rails_planned: int | None
    rails_actual: int | None
    verdict: str | None
    """One word or two: 'as planned', 'short', 'long', 'wide', 'missed', 'scratch', 'not compared' and the like."""
    sentence: str | None = None
    """One sentence in plain words, short enough for a caption."""
    differences: tuple[Difference, ...] = ()
    """The stroke played against the one meant; empty where either is not known."""
    cause: Account | None = None
    """Which of them accounts for most of the landing error; None where none does, or the simulation does not tell."""
    unexplained_mm: float | None = None
    """From where the simulation leaves the cue ball with all known differences to where it stopped."""
    detail: str | None = None
    """The differences in words, for the report."""
    meant: Strike | None = None
    """The stroke that the played one is held against: of all that do what the plan says, the one nearest to it."""
    unplanned: Event | None = None
    """What the cue ball ran into that the plan does not have, where that turned it off its way; None: nothing, or not known."""
    cause_sure: bool = False
    """Whether the cause would be named too if the figures lay somewhat otherwise; else the sentence says 'probably'."""


@dataclass(frozen=True, eq=False)
class Shot:
    """One shot with all that is known of it."""

    seen: SeenShot
    note: Note | None = None
    """The note that carries the plan."""
    more_notes: tuple[Note, ...] = ()
    """Further notes that belong to this shot (a plan B, a remark)."""
    plan: Plan | None = None
    plan_b: Plan | None = None
    """The fallback, where one of more_notes gives it, on the layout before the stroke."""
    plan_b_after: Plan | None = None
    """The same fallback on the layout that the stroke left, if its ball still lies there."""
    comparison: Comparison | None = None
    stroke: StrokeEstimate | None = None


@dataclass(frozen=True)
class Figure:
    """One constant of a table."""

    value: float
    error: float
    """Standard error; where nothing was measured, half the width of the published range."""
    stretches: int
    """Stretches of tracked ways that it was read from."""
    measured: bool
    """Whether the footage told it; otherwise `value` is the usual one."""


@dataclass(frozen=True)
class TableFigures:
    """What the tracked balls tell of cloth and cushions; meanings and sources as in lessonkit.physics.laws.Laws."""

    rolling: Figure
    """Rolling deceleration over g."""
    sliding: Figure
    """Friction of a slipping ball on the cloth."""
    rebound: Figure
    """Restitution at the cushion, along the line of contact."""
    cushion_grip: Figure
    """Friction of ball and cushion: how much the cushion takes of side, and side of the cushion."""


@dataclass(frozen=True, eq=False)
class Analysis:
    """Everything that the lesson is made from, and all that analysis.json holds."""

    footage: Footage
    table: Table
    camera: Camera
    shots: tuple[Shot, ...]
    head: Head = field(default_factory=Head)
    figures: TableFigures | None = None
    """Of the table filmed; None in files written before they were measured."""
    cameras: Cameras = ()
    """Where the camera was moved while it filmed: from when on which one holds; `camera` is that of the longest stretch."""
