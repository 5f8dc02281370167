"""The camera that explains all evidence best: one joint robust least-squares fit, with the residual it leaves.

Evidence is given as pixels. Each pixel is carried to the plane on which its thing lies, compared there, and the
difference turned back into pixels; so lines that a lens bends need no model of their own. Parameters that the
evidence leaves open are held by wide priors (a phone's lens, a cushion's usual make).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Camera, Table
from lessonkit.table.camera import centre_mm, project, rays, rotation_matrix, unproject
from lessonkit.table.doubt import bed_error_mm, covariance
from lessonkit.table.rails import outward_rule, places
from lessonkit.table.sizes import SIGHT_FROM_NOSE_MM

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
Four = tuple[float, float, float, float]


@dataclass(frozen=True)
class Rail:
    """What the evidence has to say of the rails besides the camera; common practice, no source, but for the sights."""

    cloth_mm: Four = (50.0, 50.0, 50.0, 50.0)
    """From the nose line back to where cloth meets rail, each side (a gap's shadow may shift it)."""
    cloth_height_mm: float = 41.0
    sight_mm: float = SIGHT_FROM_NOSE_MM
    sight_height_mm: float = 42.0
    nose_seen_mm: Four = (0.5, 0.5, 0.5, 0.5)
    """How far behind its tip the nose is seen to begin, each side: the nose is round and its lit top lies back."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """Pixels and what they show."""

    line_px: Array = field(default_factory=lambda: np.zeros((0, 2)))
    line_side: Whole = field(default_factory=lambda: np.zeros(0, np.int64))
    line_nose: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, np.bool_))
    """True: nose line; False: where cloth meets rail."""
    sight_px: Array = field(default_factory=lambda: np.zeros((0, 2)))
    sight_side: Whole = field(default_factory=lambda: np.zeros(0, np.int64))
    sight_along: Array = field(default_factory=lambda: np.zeros(0))
    line_sigma_px: float | Array = 0.5
    """Of all, or of each."""
    sight_sigma_px: float = 0.2
    hole_px: Array = field(default_factory=lambda: np.zeros((0, 2)))
    """Middles of pockets' holes, for a first fit."""
    hole_mm: Array = field(default_factory=lambda: np.zeros((0, 2)))
    """Where those lie on the table, roughly."""


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted camera with what went along."""

    camera: Camera
    rail: Rail
    cost: float
    """Half the sum of robust squared residuals in sigmas, priors included, over the number of pieces of evidence."""
    residual_px: Array
    """Of each piece of evidence (lines, then sights outward, then sights along)."""
    error_mm: float | None = None
    """Root mean square error to be expected over the bed: what the evidence leaves open, and what it cannot tell; None after
    a loose fit."""


HOLE_HEIGHT_MM, HOLE_SIGMA_MM = 15.0, 12.0
"""Of a hole's middle: its near edge is that of the bed, its far edge that of the rail."""
SYSTEMATIC_PX = 0.2
"""What rails of an unusual make and light at their edges shift a camera by, beside what the evidence leaves open: with it nine
in ten made-up tables lie within the error stated (see docs/camera.md)."""
_LENS_PRIOR = np.array([0.3, 0.15, 0.06, 3e-4, 3e-4, 0.004, 0.004])
"""Sigmas: of the focal length as a share (natural logarithm) about a phone camera's usual 0.95 picture widths, of the distortion about none,
of the principal point as a share of the picture's width about its middle."""
_RAIL_PRIOR = np.array([4.0, 3.0, 3.0])
_SEEN_PRIOR_MM = (0.6, 0.3)
"""Sigmas of where the nose is seen: of all sides together, and of each side against the others."""
_CLOTH_PRIOR_MM = (12.0, 0.7)
"""The same of where cloth meets rail."""


def fit(
    start: Camera,
    rail: Rail,
    table: Table,
    evidence: Evidence,
    long_px: int,
    *,
    loose: bool = False,
    gentle: bool = False,
    most: int = 25,
) -> Fit:
    """The camera near `start` that agrees best with the evidence; `loose`: a first fit, fewer parameters.

    `gentle`: for a start that may be far off, evidence keeps its pull however far it is from the fit.
    """
    from scipy.optimize import least_squares

    free = _Free.of(start, rail, long_px, loose)
    laid = _Laid.of(table, evidence)
    weights = laid.scales(start, rail)

    def residuals(v: Array) -> Array:
        cam, kept = free.unpack(v)
        parts = _weighed(laid.residuals(cam, kept, weights), evidence)
        return np.asarray(np.concatenate([*parts, _hole_residuals(cam, evidence), free.unusual(v)]), float)

    v0 = free.start()
    count = len(free.unusual(v0))
    found = least_squares(
        residuals,
        v0,
        loss=lambda z: _loss(z, count, gentle=loose or gentle),
        max_nfev=most,
        x_scale="jac",
        ftol=1e-6,
        xtol=1e-7,
        gtol=1e-7,
    )
    camera, rail = free.unpack(found.x)
    seen = laid.residuals(camera, rail, laid.scales(camera, rail))
    lines, out, along = seen
    pieces = max(len(lines) + len(out) + len(evidence.hole_px), 1)
    error = None
    if not loose:
        groups = np.r_[
            evidence.line_side * 2 + evidence.line_nose, np.full(len(out), 8), np.full(len(along), 9)
        ].astype(np.int64)
        spread = covariance(found.jac, np.concatenate(_weighed(seen, evidence)), groups)
        left_open = bed_error_mm(camera, table, spread, lambda v: free.unpack(v)[0], found.x)
        mm_per_px = float(centre_mm(camera)[2] / camera.matrix[0, 0])
        error = float(np.hypot(left_open, SYSTEMATIC_PX * mm_per_px))
    return Fit(camera, rail, float(found.cost) / pieces, np.r_[lines, out, along], error)


def _weighed(seen: tuple[Array, Array, Array], evidence: Evidence) -> tuple[Array, Array, Array]:
    """What lines and sights are off by, in standard deviations."""
    lines, out, along = seen
    return lines / evidence.line_sigma_px, out / evidence.sight_sigma_px, along / evidence.sight_sigma_px


@dataclass(frozen=True, eq=False)
class _Free:
    """What a fit may change, as a vector: turn (3), shift (3, as a share of the distance), lens, rails (in 10 mm)."""

    start_camera: Camera
    long_px: int
    lens: Array
    lens_usual: Array
    lens_free: list[int]
    rail: Array
    rail_usual: Array
    rail_free: list[int]

    @classmethod
    def of(cls, start: Camera, rail: Rail, long_px: int, loose: bool) -> _Free:
        return cls(
            start,
            long_px,
            np.array([np.log(start.matrix[0, 0]), *start.distortion, 0.0, 0.0]),
            np.array([np.log(0.95 * long_px), 0, 0, 0, 0, 0, 0]),
            [0, 1] if loose else [0, 1, 2, 3, 4],
            _as_array(rail),
            _as_array(rail if loose else Rail()),
            [] if loose else list(range(11)),
        )

    def start(self) -> Array:
        """The vector that changes nothing."""
        return np.asarray(
            np.r_[np.zeros(6), self.lens[self.lens_free], self.rail[self.rail_free] / 10], float
        )

    def unpack(self, v: Array) -> tuple[Camera, Rail]:
        """The camera and the rails of a vector."""
        lens, kept = self._lens_and_rail(v)
        base_t = np.asarray(self.start_camera.translation, float)
        turn = np.asarray(cv2.Rodrigues(v[:3])[0], float)
        m = self.start_camera.matrix.copy()
        m[0, 0] = m[1, 1] = np.exp(np.clip(lens[0], 3.0, 12.0))
        m[0, 2] += lens[5] * self.long_px
        m[1, 2] += lens[6] * self.long_px
        rotation = np.asarray(cv2.Rodrigues(turn @ rotation_matrix(self.start_camera))[0], float).ravel()
        shift = v[3:6] * float(np.linalg.norm(base_t))
        cam = Camera(m, lens[1:5].copy(), rotation, turn @ base_t + shift, None)
        return cam, _as_rail(kept)

    def unusual(self, v: Array) -> Array:
        """How unusual lens and rails of a vector are, in standard deviations."""
        rule, base = self._unusual_rule
        return np.asarray(rule @ v + base, float)

    @cached_property
    def _unusual_rule(self) -> tuple[Array, Array]:
        """(A, b) such that a vector v is A v + b standard deviations away from the usual: it is so linear in v."""

        def at(v: Array) -> Array:
            lens, kept = self._lens_and_rail(v)
            off = ((lens - self.lens_usual) / _LENS_PRIOR)[self.lens_free]
            return _priors(off, kept - self.rail_usual)

        size = 6 + len(self.lens_free) + len(self.rail_free)
        base = at(np.zeros(size))
        return np.stack([at(one) - base for one in np.eye(size)], 1), base

    def _lens_and_rail(self, v: Array) -> tuple[Array, Array]:
        n = len(self.lens_free)
        lens, kept = self.lens.copy(), self.rail.copy()
        lens[self.lens_free] = v[6 : 6 + n]
        kept[self.rail_free] = v[6 + n :] * 10
        return lens, kept


def _priors(unusual_lens: Array, off: Array) -> Array:
    """How unusual a lens and a rail are, in standard deviations; `off`: the rail's parameters beside the usual ones."""
    seen, cloth = off[3:7], off[7:]
    return np.concatenate(
        [
            unusual_lens,
            off[:3] / _RAIL_PRIOR,
            [seen.mean() / _SEEN_PRIOR_MM[0], cloth.mean() / _CLOTH_PRIOR_MM[0]],
            (seen - seen.mean()) / _SEEN_PRIOR_MM[1],
            (cloth - cloth.mean()) / _CLOTH_PRIOR_MM[1],
        ]
    )


def _loss(z: Array, priors: int, *, gentle: bool) -> Array:
    """Robust for the evidence, plain for the last `priors` residuals; shape (3, N): the loss and its derivatives.

    Cauchy's ln(1 + z), or gently 2 (sqrt(1 + z) - 1), each with a scale of 1.5 sigmas.
    """
    c = 2.25
    y = 1 + z / c
    out = np.empty((3, len(z)))
    if gentle:
        out[:] = c * 2 * (np.sqrt(y) - 1), y**-0.5, -0.5 / c * y**-1.5
    else:
        out[:] = c * np.log(y), 1 / y, -1 / (c * y**2)
    out[0, len(z) - priors :] = z[len(z) - priors :]
    out[1, len(z) - priors :], out[2, len(z) - priors :] = 1.0, 0.0
    return out


def _as_array(rail: Rail) -> Array:
    three = (rail.cloth_height_mm, rail.sight_mm, rail.sight_height_mm)
    return np.array([*three, *rail.nose_seen_mm, *rail.cloth_mm], float)


def _as_rail(v: Array) -> Rail:
    a = [float(x) for x in v]
    return Rail((a[7], a[8], a[9], a[10]), a[0], a[1], a[2], (a[3], a[4], a[5], a[6]))


@dataclass(frozen=True, eq=False)
class _Laid:
    """Evidence laid out on the table: what does not change while a camera is fitted to it."""

    table: Table
    evidence: Evidence
    px: Array
    """Shape (N, 2), lines then sights."""
    turn: Array
    """Shape (N, 3): of each one's side, see `outward_rule`."""
    lengthwise: NDArray[np.bool_]
    """Of each sight: whether its side runs along the table's length."""

    @classmethod
    def of(cls, table: Table, e: Evidence) -> _Laid:
        side = np.concatenate([e.line_side, e.sight_side])
        px = np.concatenate([e.line_px, e.sight_px])
        return cls(table, e, px, outward_rule(table)[side], e.sight_side % 2 == 0)

    def _places(self, camera: Camera, rail: Rail) -> tuple[Array, Array]:
        """Table places (N, 2) that the pixels show, each at its own height (N,)."""
        e = self.evidence
        lines = np.where(e.line_nose, self.table.nose_height_mm, rail.cloth_height_mm)
        heights = np.concatenate([lines, np.full(len(e.sight_px), rail.sight_height_mm)])
        d = rays(camera, self.px)
        c = centre_mm(camera)
        return np.asarray(c[:2] + ((heights - c[2]) / d[:, 2])[:, None] * d[:, :2], float), heights

    def scales(self, camera: Camera, rail: Rail) -> tuple[Array, Array]:
        """Pixels per millimetre of each, outward and along."""
        xy, heights = self._places(camera, rail)
        here = project(camera, np.c_[xy, heights])
        out = project(camera, np.c_[xy + self.turn[:, :2], heights])
        aside = project(camera, np.c_[xy + self.turn[:, 1::-1], heights])
        return np.hypot(*(out - here).T), np.hypot(*(aside - here).T)

    def residuals(
        self, camera: Camera, rail: Rail, scales: tuple[Array, Array]
    ) -> tuple[Array, Array, Array]:
        """Pixels off: lines outward, sights outward, sights along."""
        e, n = self.evidence, len(self.evidence.line_px)
        xy, _ = self._places(camera, rail)
        outward = self.turn[:, 0] * xy[:, 0] + self.turn[:, 1] * xy[:, 1] - self.turn[:, 2]
        back = np.where(
            e.line_nose, np.array(rail.nose_seen_mm)[e.line_side], np.array(rail.cloth_mm)[e.line_side]
        )
        along = np.where(self.lengthwise, xy[n:, 0], xy[n:, 1])
        return (
            (outward[:n] - back) * scales[0][:n],
            (outward[n:] - rail.sight_mm) * scales[0][n:],
            (along - e.sight_along) * scales[1][n:],
        )


def _hole_residuals(camera: Camera, e: Evidence) -> Array:
    """In sigmas, x then y of each hole."""
    if not len(e.hole_px):
        return np.zeros(0)
    return ((unproject(camera, e.hole_px, HOLE_HEIGHT_MM) - e.hole_mm) / HOLE_SIGMA_MM).ravel()


def first_cameras(
    corners_px: Array,
    table: Table,
    back_mm: float,
    z_mm: float,
    shape: tuple[int, int],
    *,
    focal_widths: tuple[float, ...] = (0.7, 1.0, 1.5),
) -> list[Camera]:
    """Plain cameras that put the rectangle `back_mm` behind the nose lines at these corners (4, 2).

    Corners in the order head-right, foot-right, foot-left, head-left. One camera per focal length tried, in picture
    widths; the principal point is the picture's middle.
    """
    h, w = shape
    side = np.array([0, 0, 2, 2])
    along = np.array([-back_mm, table.length_mm + back_mm, table.length_mm + back_mm, -back_mm])
    flat = np.c_[places(table, side, along, np.full(4, back_mm)), np.zeros(4)]
    cameras = []
    for focal in focal_widths:
        m = np.array([[focal * max(w, h), 0, (w - 1) / 2], [0, focal * max(w, h), (h - 1) / 2], [0, 0, 1.0]])
        ok, turns, shifts, _ = cv2.solvePnPGeneric(
            flat, np.asarray(corners_px, float), m, None, flags=cv2.SOLVEPNP_IPPE
        )
        for r, t in zip(turns, shifts, strict=True) if ok else ():
            R = np.asarray(cv2.Rodrigues(r)[0], float)
            t = t.ravel() - R[:, 2] * z_mm
            if (-R.T @ t)[2] > 100:
                cameras.append(Camera(m, np.zeros(4), np.asarray(r, float).ravel(), t, None))
    return cameras


def with_error(found: Fit) -> Camera:
    """The camera with the root mean square residual of its evidence, outliers beyond four deviations left out."""
    r = np.abs(found.residual_px)
    if not len(r):
        return replace(found.camera, error_px=None, error_mm=found.error_mm)
    limit = 4 * max(1.4826 * float(np.median(r)), 0.05)
    error_px = float(np.sqrt(np.mean(r[r <= limit] ** 2)))
    return replace(found.camera, error_px=error_px, error_mm=found.error_mm)


def corners_px(camera: Camera, table: Table) -> Array:
    """Where the corners of the nose lines appear, (4, 2): head-right, foot-right, foot-left, head-left."""
    L, W = table.length_mm, table.width_mm
    return project(camera, np.array([[0.0, 0.0], [L, 0.0], [L, W], [0.0, W]]), table.nose_height_mm)
