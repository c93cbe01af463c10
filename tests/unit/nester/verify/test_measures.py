"""The judge follows printed measures, and tells each way in which they can be wrong."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from nester.core.lengths import Unit, cm, inch, mm
from nester.core.problem import Cuts, Layout, PlacedPiece, PrintedCut
from nester.cutting import plan_cuts
from nester.cutting.measures import MEASURE_TOLERANCE, PrintedMeasures
from nester.verify import FaultKind, faults_of_measures, require_followable
from nester.verify.faults import InvalidPlanError


def layout(pieces: list[PlacedPiece], cuts: Cuts, side: int) -> Layout:
    made, offcuts = plan_cuts(side, side, pieces, cuts, mm(75))
    return Layout("sheet", 1, tuple(pieces), made, offcuts)


ROW = layout(
    [PlacedPiece(f"gate {i}", i * mm("72.81"), 0, mm("72.81"), mm("101.3")) for i in range(6)],
    Cuts.STRAIGHT,
    mm("436.86"),
)
"""Told in 64ths one by one, the last gate would be a millimetre too wide."""
WHEEL = layout(
    [
        PlacedPiece("a", 0, 0, cm(20), cm(12)),
        PlacedPiece("b", cm(20), 0, cm(12), cm(20)),
        PlacedPiece("c", cm(12), cm(20), cm(20), cm(12)),
        PlacedPiece("d", 0, cm(12), cm(12), cm(20)),
    ],
    Cuts.FREE,
    cm(32),
)


def printed(made: Layout, unit: Unit) -> list[PrintedCut]:
    measures = PrintedMeasures(made, unit)
    return [measures.of(cut) for cut in made.cuts]


@pytest.mark.parametrize("made", [ROW, WHEEL], ids=["row", "wheel"])
@pytest.mark.parametrize("unit", list(Unit))
def test_what_is_printed_comes_out_right(made: Layout, unit: Unit) -> None:
    require_followable(made, printed(made, unit), MEASURE_TOLERANCE)


def test_measures_rounded_one_by_one_add_up_and_are_caught() -> None:
    sixty_fourth = inch("1/64")
    each = round(mm("72.81") / sixty_fourth) * sixty_fourth
    told = [
        replace_at(one, each if cut.vertical else one.at)
        for cut, one in zip(ROW.cuts, printed(ROW, Unit.MM), strict=True)
    ]
    faults = list(faults_of_measures(ROW, told, MEASURE_TOLERANCE))
    assert {kind for kind, _ in faults} == {FaultKind.WRONG_MEASURE}
    assert any("gate 5 is off by" in message for _, message in faults)


def replace_at(told: PrintedCut, at: int) -> PrintedCut:
    return told._replace(at=at)


@pytest.mark.parametrize(
    ("made", "spoil", "said"),
    [
        (ROW, lambda told: told[:-1], "not every cut has its measures"),
        (
            ROW,
            lambda told: [replace_at(told[0], cm(99)), *told[1:]],
            "does not run within its part",
        ),
        (
            ROW,
            lambda told: [told[0]._replace(is_left_out=True), *told[1:]],
            "is left out, but frees more than a sliver",
        ),
        (WHEEL, lambda told: [replace_at(told[0], told[0].at + cm(1)), *told[1:]], "off by"),
        (WHEEL, lambda told: [told[0]._replace(end=told[0].start), *told[1:]], "does not stop"),
    ],
)
def test_wrong_measures_are_caught(
    made: Layout, spoil: Callable[[list[PrintedCut]], list[PrintedCut]], said: str
) -> None:
    told = spoil(printed(made, Unit.MM))
    messages = [message for _, message in faults_of_measures(made, told, MEASURE_TOLERANCE)]
    assert any(said in message for message in messages), messages
    with pytest.raises(InvalidPlanError, match="layout of sheet"):
        require_followable(made, told, MEASURE_TOLERANCE)
