"""CIEDE2000 as the library behind `inventory.stock.search` reckons it.

G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference formula: implementation notes,
supplementary test data, and mathematical observations", Color Research & Application 30 (2005)
21-30, table 1; the rows below are from memory.
"""

from __future__ import annotations

import pytest
from coloraide import Color


@pytest.mark.parametrize(
    ("one", "other", "distance"),
    [
        ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
        ((50.0, 3.1571, -77.2803), (50.0, 0.0, -82.7485), 2.8615),
        ((50.0, 2.8361, -74.0200), (50.0, 0.0, -82.7485), 3.4412),
        ((50.0, 0.0, 0.0), (50.0, -1.0, 2.0), 2.3669),
        ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
        ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
    ],
)
def test_the_pairs_of_the_paper(one, other, distance: float) -> None:
    first, second = Color("lab-d65", one), Color("lab-d65", other)
    assert first.delta_e(second, method="2000") == pytest.approx(distance, abs=1e-4)
