"""What was kept of moving pictures gives back the pictures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lessonkit.seeing.changes import Cells
from lessonkit.seeing.kept import TILE_PX, Keeper, Kept, Store, replay
from tests.scenes import Scene, random_scene, render
from tests.seeing.filming import Filmed, decoded, frame

TIMES_S = [0.0, 0.2, 0.4, 0.6]
FPS = 30


@pytest.fixture(scope="module")
def filmed() -> Filmed:
    """A table with balls at rest and nobody near, some noise in the picture."""
    scene = random_scene(np.random.default_rng(21), "middling", 1, size=(1280, 720))
    return Filmed.of(scene, TIMES_S)


def moved(scene: Scene, ball: int, by_mm: float) -> Scene:
    """The scene with one ball further along the table."""
    x, y = scene.layout[ball]
    return replace(scene, layout={**scene.layout, ball: (x + by_mm, y)})


def test_a_moving_ball_is_given_back_as_it_was(filmed: Filmed) -> None:
    """A ball that rolls on from frame to frame and then creeps: about it the picture put together is exactly the frame's
    own, and elsewhere it differs by noise alone; most of the picture was not kept."""
    ball, (x, y) = next(iter(filmed.scene.layout.items()))
    keeper = Keeper(filmed.view, Cells(filmed.view))
    way_mm = [*(12.0 * k for k in range(8)), *(84.0 + 2.0 * k for k in range(5))]
    live = [frame(moved(filmed.scene, ball, s), k / FPS) for k, s in enumerate(way_mm)]
    for shown in live:
        keeper.keep(shown)
    kept = keeper.kept(0.0, len(live) / FPS)
    tiles = np.diff([0, *kept.upto])
    assert tiles[0] * TILE_PX**2 >= filmed.view.rows * filmed.view.columns
    assert tiles[1:].max() < 0.25 * tiles[0]
    moments = replay(filmed.view, [kept], 0.0)
    for k, (shown, s) in enumerate(zip(live, way_mm, strict=True)):
        moment = next(moments)
        assert moment.t_s == shown.t_s
        true = filmed.view.warp_frame(shown)
        at = filmed.view.to_view([(x + s, y)])[0]
        about = filmed.view.window(at, filmed.view.radius_px)
        if 0 < k < 8:
            assert np.array_equal(moment.bed(about), true[about.area])
        off = np.abs(moment.bed().astype(float) - true).mean()
        assert off < 4.0
    assert next(moments, None) is None


def test_a_drifting_exposure_is_not_taken_for_noise(filmed: Filmed) -> None:
    """After a camera has made its pictures darker and darker, by a seventh in two and a half seconds, a ball that creeps off is still
    given back where it is."""
    ball, (x, y) = next(iter(filmed.scene.layout.items()))
    there, gone = (render(moved(filmed.scene, ball, s), 0.0).astype(float) for s in (0.0, 3.0))
    rng = np.random.default_rng(3)
    noise = [rng.normal(0.0, 4.0, there.shape) for _ in range(4)]
    count, leaves = 80, 76
    keeper = Keeper(filmed.view, Cells(filmed.view))
    shown = frame(filmed.scene, 0.0)
    for k in range(count):
        light = (gone if k >= leaves else there) * (1 - 0.15 * min(k, leaves) / leaves)
        shown = decoded(np.clip(light + noise[k % 4], 0, 255).astype(np.uint8), k / FPS)
        keeper.keep(shown)
    *_, moment = replay(filmed.view, [keeper.kept(0.0, count / FPS)], 0.0)
    true = filmed.view.warp_frame(shown)
    for place in ((x, y), (x + 3.0, y)):
        about = filmed.view.window(filmed.view.to_view([place])[0], filmed.view.radius_px)
        assert np.array_equal(moment.bed(about), true[about.area])


def test_replay_begins_at_any_time(filmed: Filmed) -> None:
    """Frames before the time asked for are worked in but not shown."""
    keeper = Keeper(filmed.view, Cells(filmed.view))
    ball = next(iter(filmed.scene.layout))
    for k in range(6):
        keeper.keep(frame(moved(filmed.scene, ball, 15.0 * k), k / FPS))
    kept = keeper.kept(0.0, 6 / FPS)
    all_of_it = [m.bed().copy() for m in replay(filmed.view, [kept], 0.0)]
    late = [(m.t_s, m.bed().copy()) for m in replay(filmed.view, [kept], 4 / FPS)]
    assert [t for t, _ in late] == [4 / FPS, 5 / FPS]
    assert np.array_equal(late[0][1], all_of_it[4])


def stretch(start_s: float, end_s: float, tiles: int = 10) -> Kept:
    """A stretch of no matter what."""
    n = np.zeros(tiles, np.int32)
    return Kept(
        start_s,
        end_s,
        np.array([start_s]),
        np.array([tiles]),
        n,
        np.zeros((tiles, TILE_PX, TILE_PX, 3), np.uint8),
    )


def test_a_full_store_keeps_no_more() -> None:
    """What does not fit is left out, and what is asked for never has a gap."""
    store = Store(3 * stretch(0, 1).nbytes)
    for k in range(5):
        store.add(stretch(float(k), k + 1.0))
    assert [k.start_s for k in store.over(0.5, 10.0)] == [0.0, 1.0, 2.0]
    assert [k.start_s for k in store.over(1.2, 1.9)] == [1.0]
    assert store.over(3.5, 4.0) == []


def test_a_gap_ends_what_is_given() -> None:
    """After a stretch that was not kept nothing more is given."""
    store = Store(3 * stretch(0, 1).nbytes)
    store.add(stretch(0.0, 1.0))
    store.add(stretch(1.0, 2.0, tiles=10_000))
    store.add(stretch(2.0, 3.0))
    assert [k.start_s for k in store.over(0.0, 10.0)] == [0.0]
