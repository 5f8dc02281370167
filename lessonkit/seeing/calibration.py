"""How sure of a number to say one is, so that of those said at 0.9 nine in ten are right.

The likelihoods that `numbers` works out rest on widths that were set wide, so that other ball sets and lamps fit as
well; they come out too modest. They are rescaled here by two figures, fitted by `benchmarks/calibrate_numbers.py fit`
on made-up tables (`benchmarks/measure_stills.py`), with a third for tables of an unsure size. docs/seeing.md shows
the curve on other tables than those.
"""

from __future__ import annotations

import math
from dataclasses import replace

from lessonkit.seeing.numbers import Named

OFFSET, SLOPE = 0.6, 1.45
"""Of the logarithm of the odds. The fit (2909 balls of made-up tables of hard and other kinds, seeds 8206 to 9399, 18 wrong, under
their true camera) gave 1.2 and 1.94; naming had been mended on the same tables and so few wrong ones do not bear so much
boldness, so only half the shift is taken."""
MOST = 0.995
"""Nothing is said to be surer than this."""
UNSURE_SIZE = 0.69
"""Share of tables with a size said to be unsure whose size was right (43 of 62, seeds 3000 to 3119 and 4000 to 4119). On a table
of another size a number is drawn where its ball does not lie, in a rack upon the next ball."""


def honest(named: Named, size_sure: bool = True) -> Named:
    """The same number with the confidence that it deserves; a thing without a number keeps none."""
    p = named.confidence
    if named.number < 0 or p <= 0.0:
        return named
    odds = OFFSET + SLOPE * math.log(p / max(1 - p, 1e-12))
    said = min(MOST, 1 / (1 + math.exp(-odds)))
    return replace(named, confidence=said if size_sure else said * UNSURE_SIZE)
