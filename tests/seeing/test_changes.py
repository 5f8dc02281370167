"""Looking again only at what changed gives what looking at everything gives."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lessonkit.model import Point
from lessonkit.seeing.changes import Cells, Changes, without_lone
from lessonkit.seeing.sampling import Sample, Sampler
from tests.scenes import Scene, random_scene, render
from tests.seeing.filming import Filmed, decoded, frame

TIMES_S = [0.0, 0.2, 0.4, 0.6]


@pytest.fixture(scope="module")
def filmed() -> Filmed:
    """A table with balls at rest and nobody near, some noise in the picture."""
    scene = random_scene(np.random.default_rng(21), "middling", 1, size=(1280, 720))
    return Filmed.of(scene, TIMES_S)


def moved(scene: Scene, ball: int, by: Point) -> Scene:
    """The scene with one ball elsewhere."""
    x, y = scene.layout[ball]
    return replace(scene, layout={**scene.layout, ball: (x + by[0], y + by[1])})


def test_noise_is_no_change(filmed: Filmed) -> None:
    """The first frame is looked at whole; further frames of the same table, each with noise of its own, hardly at all."""
    changes = Changes(filmed.view)
    assert changes.since_last(frame(filmed.scene, 0.0)) is None
    for t in (0.1, 0.2, 0.3, 0.4):
        parts = changes.since_last(frame(filmed.scene, t))
        assert parts is not None
        assert (
            sum((p.x1 - p.x0) * (p.y1 - p.y0) for p in parts) < 0.02 * filmed.view.rows * filmed.view.columns
        )


@pytest.mark.parametrize("by", [(8.0, 0.0), (0.0, -60.0), (300.0, 40.0)])
def test_a_ball_that_moved_is_looked_at_again(filmed: Filmed, by: Point) -> None:
    """Where it lay and where it lies fall into the parts that changed, and no two parts overlap."""
    ball = next(iter(filmed.scene.layout))
    changes = Changes(filmed.view)
    changes.since_last(frame(filmed.scene, 0.0))
    parts = changes.since_last(frame(moved(filmed.scene, ball, by), 0.1))
    assert parts
    x, y = filmed.scene.layout[ball]
    for place in filmed.view.to_view([(x, y), (x + by[0], y + by[1])]):
        assert any(p.holds(float(place[0]), float(place[1])) for p in parts)
    for i, a in enumerate(parts):
        for b in parts[i + 1 :]:
            assert a.x1 <= b.x0 or b.x1 <= a.x0 or a.y1 <= b.y0 or b.y1 <= a.y0


def test_an_exposure_that_breathes_changes_no_cell(filmed: Filmed) -> None:
    """A camera makes all of its pictures brighter and darker together; somebody comes in meanwhile. Cells stay as bright as in
    the first picture, but where somebody is."""
    light = render(filmed.scene, 0.0).astype(float)
    cells = Cells(filmed.view)
    first = cells.small(decoded(light.astype(np.uint8), 0.0)).copy()
    light[:, : light.shape[1] // 3] *= 0.3
    for k, share in enumerate((0.85, 0.93, 1.1)):
        shown = decoded(np.clip(light * share, 0, 255).astype(np.uint8), 0.1 * k + 0.1)
        off = np.abs(cells.small(shown) - first)[:, first.shape[1] // 3 + 2 :]
        # what is burnt out in the first picture, and what clips in a brighter one, tells no exposure
        assert np.percentile(off, 95) <= 2.0


def test_a_lone_cell_is_no_change() -> None:
    """What coding leaves changes a cell here and there; two side by side, or corner to corner, are more than that."""
    changed = np.zeros((9, 9), np.uint8)
    changed[1, 1] = changed[4, 4] = changed[5, 5] = changed[7, 1] = changed[7, 2] = 1
    left = without_lone(changed)
    assert np.argwhere(left).tolist() == [[4, 4], [5, 5], [7, 1], [7, 2]]


def test_a_lone_cell_counts_in_dim_pictures(filmed: Filmed) -> None:
    """There the edge of a ball that moves may change no more than one."""
    first = frame(filmed.scene, 0.0)
    for dim in (False, True):
        changes = Changes(filmed.view, dim=dim)
        assert changes.since_last(first) is None
        small = changes._cells.small(first)
        assert changes._last is not None
        changes._last = small.copy()
        middle = (small.shape[0] // 2, small.shape[1] // 2)
        changes._last[middle] += 12.0
        assert bool(changes.since_last(first)) == dim


def places(sample: Sample) -> np.ndarray:
    """Places of the discs that stand clear, in order."""
    return np.array(sorted(s.place for s in sample.sightings if s.clear > 0.6))


def test_parts_give_what_the_whole_gives(filmed: Filmed) -> None:
    """A ball is moved about from look to look: discs found by looking at parts are those of a fresh look at everything,
    within a view pixel."""
    ball = next(iter(filmed.scene.layout))
    sampler = Sampler(filmed.view, filmed.bare, filmed.patcher)
    for k, by in enumerate([(0.0, 0.0), (15.0, 0.0), (120.0, -30.0), (120.0, -30.0), (-200.0, 10.0)]):
        shown = frame(moved(filmed.scene, ball, by), 0.1 * k)
        got = places(sampler.sample(shown))
        whole = places(Sampler(filmed.view, filmed.bare, filmed.patcher).sample(shown))
        assert got.shape == whole.shape
        assert np.abs(got - whole).max() < filmed.view.mm_per_px
