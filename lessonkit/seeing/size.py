"""The table's size from its balls: a ball is 57.15 mm wide on every table, so its share of the length tells the size.

Works on a surface that was fitted as some size: first the radius at which discs in the bed view gather most votes;
then the step of a rack, which blur and shadow cannot change, or where there is none the outlines of lone balls.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import TableError
from lessonkit.footage.reader import Frame
from lessonkit.model import Camera, Point, Table
from lessonkit.seeing.bedview import VIEW_MM_PER_PX, BedView
from lessonkit.seeing.centres import outline_scale, refine_centre
from lessonkit.seeing.cloth import BareTable, bare_table, contrast_of
from lessonkit.seeing.discs import edges_of, find_discs, votes_of
from lessonkit.seeing.patches import Patcher
from lessonkit.seeing.sampling import clearness, people
from lessonkit.seeing.spacing import Spacing, spacing
from lessonkit.seeing.threads import in_threads
from lessonkit.table.finding import Surface, find_resized, find_table
from lessonkit.table.sizes import SIGHT_FROM_NOSE_MM, likeliest_size

Picture = NDArray[np.uint8]
Floats = NDArray[np.float64]

RATIOS = np.arange(0.92, 1.44, 0.02)
"""Widths of a ball that are tried, beside what it would be on the fitted table."""
LEAST_VOTES = 0.7
MOST_PICTURES = 6
RACK_PICTURES = 3
SIGHTS_TO_TELL = 12
FITS = 3
ROUNDS = 2
"""Centres are fitted as the size that is expected, so a second look sharpens what the first came near."""
LEAST_OUTLINES = 3
"""Balls, not sights of them."""
OTHERWISE = ("2286x1143", "1981x991")
"""In the middle of the sizes that are called 8 and 7 ft: so near them that their sights are found."""
LOOKS_RIGHT = 0.88
"""A surface with such a score needs no other beside it."""
MORE_SIGHTS = 4
CLEARLY = 0.1
"""By how much more a surface must look like a table, once its sights are found."""
SURE = 0.9
BEYOND_DOUBT = 0.98
ROUGHLY = 0.03
"""Standard deviation, as a share, of the width at which discs gather most votes, where there is no rack."""
AGREE = 0.05
"""Votes and sights that differ by more, as a share, tell nothing together: votes are led astray by racks."""
SYSTEMATIC = 0.015
"""Standard deviation, as a share, of what all outlines of a table are off by together (scenes of known truth: see docs/seeing.md)."""
BALL_VARIES, SURE_OF_IT = 0.025, 3
"""Standard deviation, as a share, of what one ball's outline is off by beside the others', by its colour, its shadow and the
cloth (28 scenes of known truth: 0.018 in the median, two sights of one ball differ by 0.002); it counts as so many balls."""
SAME_MM = 25.0
"""Sights nearer to each other than this are of one ball."""
LONE, CLEAR = 3.2, 0.9
"""A ball lies alone if no other is this near, in radii, and so much of the ring about it is bare table."""
LATTICE_PX = 0.2
"""What the step of a rack may be off by for its balls' being few pixels wide, in pixels."""


@dataclass(frozen=True)
class Told:
    """What the balls tell of the table."""

    table: Table
    sure: bool
    balls: int
    """How many outlines were measured."""
    width_share: float | None
    """Width of a ball beside what it would be on the fitted table; None where no ball was seen."""


def sized(
    surface: Surface,
    frames: Sequence[Frame],
    pictures: Sequence[Picture],
    head: str,
    corners: Sequence[Point] | None,
) -> Surface:
    """A surface that was fitted as some size, fitted as the size that its balls and sights tell; doubt is said in it."""
    surface = _with_sights(surface, pictures, head, corners)
    for _ in range(FITS):
        # heights were scaled with the wrong size: fitted closer to the truth, balls and sights tell a little better
        told = tell_size(frames, surface.camera, surface.table, sight_distance_mm(surface))
        if told.table.size == surface.table.size:
            return replace(surface, size_sure=told.sure)
        try:
            surface = _as_size(surface, pictures, told.table.size, head, corners)
        except TableError:
            break
    return replace(surface, size_sure=False)


def _with_sights(
    surface: Surface, pictures: Sequence[Picture], head: str, corners: Sequence[Point] | None
) -> Surface:
    """The surface, or where it shows few sights and shows them as a table of another size, that one.

    On a table taken for one much too large the sights lie where none are looked for.
    """
    if surface.sights >= SIGHTS_TO_TELL:
        return surface

    def resized(size: str) -> Surface:
        return find_resized(surface, size)

    def anew(size: str) -> Surface:
        return find_table(pictures, size=size, head=head)

    best = surface
    # most often all but the heights is right; else what was taken for the table's lines is not, and it is looked for anew
    ways = [resized] if corners is not None else [resized, anew]
    for way in ways:
        for size in OTHERWISE:
            try:
                other = way(size)
            except TableError:
                continue
            # with sights all along the rails a fit is borne out better than with a few, which chance may set
            clearly = 0.0 if other.sights >= best.sights + MORE_SIGHTS else CLEARLY
            if other.sights >= SIGHTS_TO_TELL and other.score > best.score + clearly:
                best = other
                if best.score > LOOKS_RIGHT:
                    return best
    return best


def _as_size(
    surface: Surface, pictures: Sequence[Picture], size: str, head: str, corners: Sequence[Point] | None
) -> Surface:
    """The surface fitted as another size: from where it was found, or where that fails from the start."""
    if corners is None:
        try:
            return find_resized(surface, size)
        except TableError:
            pass
    return find_table(pictures, size=size, head=head, corners=corners)


def sight_distance_mm(surface: Surface) -> float | None:
    """How far behind the nose the sights lie on the surface as fitted; None where too few were seen to tell."""
    return surface.rail.sight_mm if surface.sights >= SIGHTS_TO_TELL else None


def tell_size(frames: Sequence[Frame], camera: Camera, fitted: Table, sight_mm: float | None = None) -> Told:
    """The size of the table whose surface was fitted as `fitted`; that size, unsure, where nothing tells.

    `sight_mm`: how far behind the nose line the fit found the sights (`Surface.rail.sight_mm`), None where it saw few.
    That distance is published and the same on every size, so on a table fitted too large it comes out too large.
    """
    by_sights = None if sight_mm is None else fitted.length_mm * SIGHT_FROM_NOSE_MM / sight_mm
    used = list(frames)[:: max(1, len(frames) // MOST_PICTURES)]
    view = BedView.of(camera, fitted, VIEW_MM_PER_PX)
    rough = _rough_ratio(view, in_threads(view.warp_frame, used[::2]))
    if rough is None:
        if by_sights is None:
            return Told(fitted, False, 0, None)
        table, chance = likeliest_size(None, 1.0, by_sights)
        return Told(table, chance > SURE, 0, None)

    def likeliest(share: float, doubt: float) -> tuple[Table, float]:
        return likeliest_size(fitted.length_mm / (fitted.ball_diameter_mm * share), doubt, by_sights)

    if by_sights is not None and abs(np.log(by_sights * rough / fitted.length_mm)) < AGREE:
        # where votes and sights agree on a size that has no near neighbour, a closer look would only cost time
        table, chance = likeliest(rough, ROUGHLY)
        if chance > BEYOND_DOUBT:
            return Told(table, True, 0, rough)
    rack = _rack(frames, used[:: max(1, len(used) // RACK_PICTURES)], camera, fitted, rough)
    if rack is not None:
        table, chance = likeliest(*rack)
        return Told(table, chance > SURE, 0, rack[0])
    share, doubt, widths = rough, ROUGHLY, np.zeros(0)
    for _ in range(ROUNDS):
        widths = _widths(frames, used, camera, fitted, share)
        if not len(widths):
            break
        share = float(np.median(widths))
        doubt = _doubt_of(widths / share)
    table, chance = likeliest(share, doubt)
    enough = len(widths) >= LEAST_OUTLINES or by_sights is not None
    return Told(table, chance > SURE and enough, len(widths), share)


def _rough_ratio(view: BedView, pictures: Sequence[Picture]) -> float | None:
    """The width at which discs gather most votes, beside the fitted table's balls; None where there are no discs."""
    bed = view.table_mask(-0.5 * view.table.radius_mm)
    contrast = contrast_of(pictures)

    def told(p: Picture) -> Floats:
        edges = edges_of(p, view.slant, contrast)
        score = np.zeros(len(RATIOS))
        for k, ratio in enumerate(RATIOS):
            # votes are shares of a circumference: counted in edge pixels, a larger circle has no handicap
            ballot = np.where(bed, float(ratio) * votes_of(edges, float(ratio) * view.radius_px), 0)
            best = cv2.dilate(ballot, np.ones((9, 9), np.uint8))
            peaks = ballot[(ballot == best) & (ballot > LEAST_VOTES)]
            score[k] = float(((np.sort(peaks)[::-1][:16] - 0.5 * LEAST_VOTES) ** 2).sum())
        return score

    score = np.sum(in_threads(told, pictures), axis=0)
    if score.max() <= 0:
        return None
    k = int(score.argmax())
    if 0 < k < len(RATIOS) - 1:
        left, middle, right = score[k - 1 : k + 2]
        bend = left - 2 * middle + right
        return float(RATIOS[k] + (0.5 * (left - right) / bend if bend < 0 else 0.0) * (RATIOS[1] - RATIOS[0]))
    return float(RATIOS[k])


def _rack(
    frames: Sequence[Frame], used: Sequence[Frame], camera: Camera, fitted: Table, share: float
) -> tuple[float, float] | None:
    """The width of a ball beside the fitted table's, from the step of a rack, and its doubt; None: there is no rack."""
    doubt: float | None = None
    least, most = float(RATIOS[0]) * fitted.ball_diameter_mm, float(RATIOS[-1]) * fitted.ball_diameter_mm
    for _ in range(ROUNDS):
        look = _Look.of(frames, camera, fitted, share)
        steps: list[Spacing] = []
        for frame in used:
            step = spacing([place for place, _ in look.discs(frame, 0.45, 0.5)], least, most)
            if step is not None:
                step = spacing(look.centres(frame), least, most) or step
                steps.append(step)
            elif not steps:
                return None  # most films show no rack: the first picture says so
        if 2 * len(steps) <= len(used):
            return None
        share = float(np.median([s.step_mm for s in steps])) / fitted.ball_diameter_mm
        few_px = LATTICE_PX * look.patcher.mm_per_px / (share * fitted.ball_diameter_mm)
        doubt = float(np.hypot(np.median([s.doubt for s in steps]), few_px))
        least, most = (0.93 * share * fitted.ball_diameter_mm, 1.07 * share * fitted.ball_diameter_mm)
    return None if doubt is None else (share, doubt)


def _widths(
    frames: Sequence[Frame], used: Sequence[Frame], camera: Camera, fitted: Table, share: float
) -> Floats:
    """How wide each lone ball is beside the fitted table's, those at about `share` of it: one width a ball."""
    look = _Look.of(frames, camera, fitted, share)
    widths: list[float] = []
    places: list[Point] = []
    for frame in used:
        for place, lone in look.discs(frame, 0.6, 0.7):
            if not lone:
                continue
            centre, error_mm = refine_centre([look.patcher.patch(frame, place)], place, look.bare)
            if error_mm is not None:
                width = outline_scale(look.patcher.patch(frame, centre), centre, look.bare)
                if width is not None:
                    widths.append(width)
                    places.append(centre)
    return share * _by_ball(widths, places)


def _by_ball(widths: Sequence[float], places: Sequence[Point]) -> Floats:
    """The middle width of each ball; what lies in one place in several pictures is one."""
    balls: list[tuple[Point, list[float]]] = []
    for width, place in zip(widths, places, strict=True):
        for at, seen in balls:
            if np.hypot(place[0] - at[0], place[1] - at[1]) < SAME_MM:
                seen.append(width)
                break
        else:
            balls.append((place, [width]))
    return np.array([np.median(seen) for _, seen in balls], float)


def _doubt_of(widths: Floats) -> float:
    """Standard deviation, as a share, of the middle one of balls' widths given as shares of it.

    One ball in many pictures is no more than one: its outline is off alike in all of them.
    """
    count = len(widths)
    spread2 = float(((widths - widths.mean()) ** 2).sum()) + SURE_OF_IT * BALL_VARIES**2
    return float(np.hypot(SYSTEMATIC, np.sqrt(spread2 / (count - 1 + SURE_OF_IT) / count)))


@dataclass(frozen=True, eq=False)
class _Look:
    """Pictures of a table looked at with balls of some width in mind."""

    view: BedView
    bare: BareTable
    patcher: Patcher
    bed: NDArray[np.bool_]

    @classmethod
    def of(cls, frames: Sequence[Frame], camera: Camera, fitted: Table, share: float) -> _Look:
        table = replace(fitted, ball_diameter_mm=fitted.ball_diameter_mm * share)
        view = BedView.of(camera, table, VIEW_MM_PER_PX)
        bare = bare_table(view, frames)
        return cls(bare.view, bare, Patcher(camera, table), view.table_mask(-1.5 * table.radius_mm))

    def discs(self, frame: Frame, votes: float, fill: float) -> list[tuple[Point, bool]]:
        """Places of discs off the cushions, and whether each lies alone with bare table round it."""
        seen = self.view.warp_frame(frame)
        foreign = self.bare.foreign(seen)
        radius = self.view.radius_px
        found = find_discs(
            seen,
            foreign,
            radius,
            least_votes=votes,
            least_fill=fill,
            slant=self.view.slant,
            contrast=self.bare.contrast,
        )
        clear = clearness(foreign, found, people(foreign, radius), radius, self.view.slant)
        at = np.array([(d.x_px, d.y_px) for d in found]).reshape(-1, 2)
        places = self.view.to_mm(at) if len(at) else at
        out: list[tuple[Point, bool]] = []
        for k, (place, open_) in enumerate(zip(places, clear, strict=True)):
            if self.bed[round(at[k, 1]), round(at[k, 0])]:
                alone = np.sum(np.hypot(*(at - at[k]).T) < LONE * radius) == 1
                out.append(((float(place[0]), float(place[1])), bool(alone and open_ > CLEAR)))
        return out

    def centres(self, frame: Frame) -> list[Point]:
        """Places of balls, each by its outline."""
        discs = [place for place, _ in self.discs(frame, 0.45, 0.5)]
        out = []
        for place in discs:
            others = [o for o in discs if o is not place]
            out.append(refine_centre([self.patcher.patch(frame, place)], place, self.bare, others)[0])
        return out
