"""The picture with nobody in front, against NumPy's median (general library)."""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.errors import TableError
from lessonkit.table.plate import median_picture


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 7, 8, 11, 12, 16, 25])
def test_median_is_numpys(count: int) -> None:
    rng = np.random.default_rng(count)
    pictures = [rng.integers(0, 256, (9, 7, 3), dtype=np.uint8) for _ in range(count)]
    assert np.array_equal(median_picture(pictures), np.median(pictures, 0).astype(np.uint8))


def test_many_pictures_are_thinned_evenly() -> None:
    pictures = [np.full((2, 2, 3), k, np.uint8) for k in range(101)]
    assert abs(int(median_picture(pictures)[0, 0, 0]) - 50) <= 2


def test_no_picture_and_mixed_sizes_are_refused() -> None:
    with pytest.raises(TableError, match="no picture"):
        median_picture([])
    with pytest.raises(TableError, match="one camera"):
        median_picture([np.zeros((4, 4, 3), np.uint8), np.zeros((4, 5, 3), np.uint8)])
