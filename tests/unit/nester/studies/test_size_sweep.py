"""Sizes of a design compared: plans, bounds, the words for steps, nearby sizes."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction

import pytest

from nester.core.errors import Refusal
from nester.core.lengths import Unit, cm, inch, mm
from nester.core.problem import Cuts, Demand, Problem, StockItem
from nester.designs import DESIGNS
from nester.designs.demand import CuttingRules
from nester.packing.search.quick_plan import SolvedProblem, quick_plan
from nester.studies import size_sweep
from nester.studies.size_jumps import changed_lengths, describe_jump, find_jumps, suggest_sizes
from nester.studies.size_sweep import (
    MAX_SIZES,
    PricedSheet,
    SizeResult,
    SweepSetup,
    sizes_between,
    sweep,
    swept_setting,
)
from nester.verify import verify

SHEET = PricedSheet(cm(56), cm(71))
BOX = DESIGNS["layered-box"]
TAG = DESIGNS["gift-tag"]


def box_batch(quantity: int = 10, rules: CuttingRules | None = None, **texts: str) -> SweepSetup:
    papers = {"all": "card", "mat": "mat"}
    return SweepSetup(
        BOX,
        texts,
        Unit.CM,
        papers,
        {"card": (SHEET,), "mat": (SHEET,)},
        quantity,
        rules or CuttingRules(),
    )


@pytest.fixture(scope="module")
def boxes() -> list[SizeResult]:
    """Ten boxes with mats at every mm from 16 to 18.8 cm; the last is too large for the sheet."""
    sizes = sizes_between(cm(16), mm(188), mm(1), Unit.CM)
    return sweep(box_batch(mats="outside"), "panel", sizes, processes=1)


def tag_batch(quantity: int = 30) -> SweepSetup:
    offers = (PricedSheet(cm(21), mm(297)),)
    return SweepSetup(TAG, {}, Unit.CM, {"all": "card"}, {"card": offers}, quantity)


def test_every_point_passes_the_judge(boxes: list[SizeResult]) -> None:
    able = [point for point in boxes if not point.refusal]
    assert len(able) == len(boxes) - 2
    for point in able:
        for like in point.papers.values():
            assert verify(like.problem, like.cutting_plan) == []
            assert not like.cutting_plan.unplaced
        made: Counter[str] = Counter()
        for like in point.papers.values():
            for layout in like.cutting_plan.layouts:
                for one in layout.placed:
                    made[one.name] += layout.copies
        assert made == {piece.name: 10 * piece.quantity for piece in point.pieces}
        assert 0 < point.lower_bound <= point.cost
        assert Fraction(1, 4) < point.utilization < 1


def test_plans_are_close_to_what_is_proven(boxes: list[SizeResult]) -> None:
    able = [point for point in boxes if not point.refusal]
    gap = sum(p.cost - p.lower_bound for p in able) / sum(p.cost for p in able)
    assert gap < Fraction(4, 100)


def test_what_fits_no_sheet_says_why(boxes: list[SizeResult]) -> None:
    assert [point.size for point in boxes if point.refusal] == [mm(187), mm(188)]
    assert boxes[-1].refusal == "tier 1 of card: it is larger than every sheet of its paper"


def test_what_a_design_refuses_says_why() -> None:
    points = sweep(tag_batch(), "width", [mm(1), cm(5)], processes=1)
    assert "out of range" in points[0].refusal
    assert not points[1].refusal


def test_the_result_does_not_depend_on_the_processes() -> None:
    batch = tag_batch()
    sizes = sizes_between(cm(4), cm(8), mm(1), Unit.CM)
    assert len(sizes) > 2 * size_sweep._RUN_LENGTH
    one, two, three = (sweep(batch, "width", sizes, processes=n) for n in (1, 2, 3))
    assert one == two == three


def test_a_stop_leaves_whole_sizes() -> None:
    sizes = sizes_between(cm(12), cm(16), mm(1), Unit.CM)
    batch = box_batch(2, mats="outside")
    runs = []

    def stop() -> bool:
        return len(runs) == 3

    points = sweep(
        batch, "panel", sizes, processes=1, stop=stop, on_progress=lambda done, _: runs.append(done)
    )
    assert [point.size for point in points] == sizes[: size_sweep._RUN_LENGTH]
    assert all(set(point.papers) == {"card", "mat"} for point in points)
    for point in points:
        for like in point.papers.values():
            assert verify(like.problem, like.cutting_plan) == []
    runs.clear()
    assert len(sweep(batch, "panel", sizes[:20], processes=1, stop=lambda: True)) == 0


def test_equal_problems_are_solved_once(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []

    def count(problem, *others, **named):  # type: ignore[no-untyped-def]
        asked.append(problem.demands)
        return sketch(problem, *others, **named)

    sketch = size_sweep.quick_plan
    monkeypatch.setattr(size_sweep, "quick_plan", count)
    # The size of a photo stays the same over several panels, as it is rounded.
    batch = SweepSetup(
        BOX, {"photos": "4"}, Unit.CM, {"all": "card", "photo": "photo"},
        {"card": (SHEET,), "photo": (SHEET,)},
    )  # fmt: skip
    points = sweep(batch, "panel", sizes_between(cm(16), mm(169), mm(1), Unit.CM), processes=1)
    assert len(asked) == len(set(asked))
    photos = {point.settings["photo-size"] for point in points}
    assert sum(wants[0].paper == "photo" for wants in asked) == len(photos) < len(points)


def test_a_bound_of_smaller_pieces_holds_for_larger_ones() -> None:
    sizes = sizes_between(cm(4), cm(6), mm(1), Unit.CM)
    points = sweep(tag_batch(), "width", sizes, processes=1)
    assert [p.lower_bound for p in points] == sorted(p.lower_bound for p in points)
    assert [p.cost for p in points] == sorted(p.cost for p in points)


@pytest.mark.parametrize("cuts", list(Cuts))
def test_gaps_trimmers_and_free_cuts_are_kept_to(cuts: Cuts) -> None:
    rules = CuttingRules(cuts, gap=mm(3))
    points = sweep(
        box_batch(2, rules, mats="both", tiers="3"),
        "panel",
        sizes_between(cm(11), cm(13), mm(5), Unit.CM),
        processes=1,
    )
    for point in points:
        for like in point.papers.values():
            assert like.problem.gap == mm(3)
            assert verify(like.problem, like.cutting_plan) == []


# --- words ---------------------------------------------------------------------------------------


def contents(like: SolvedProblem, stock: str) -> list[Counter[str]]:
    return [
        Counter(one.name for one in layout.placed)
        for layout in like.cutting_plan.layouts
        if layout.stock == stock
    ]


def test_what_is_said_of_a_step_is_true_of_the_plans(boxes: list[SizeResult]) -> None:
    steps = find_jumps(boxes, 8)
    assert len(steps) >= 4
    assert [step.below.size for step in steps] == sorted(step.below.size for step in steps)
    for step in steps:
        assert step.stock is not None
        cheap, dear = step.below, step.above
        if step.cost_increase < 0:
            cheap, dear = dear, cheap
        shared = Counter(dict(step.pieces))
        assert any(shared <= one for one in contents(cheap.papers[step.paper], step.stock.name))
        assert not any(shared <= one for one in contents(dear.papers[step.paper], step.stock.name))


def test_a_step_in_words(boxes: list[SizeResult]) -> None:
    words = [describe_jump(step, Unit.CM, several_papers=True) for step in find_jumps(boxes, 8)]
    assert (
        "17.5 cm: tier 2 and outer lid share a 56 × 71 cm sheet of card; 17.6 cm: they can't"
        in words
    )


def test_words_of_a_step_in_inches() -> None:
    offers = (PricedSheet(inch(12), inch(12)),)
    batch = SweepSetup(TAG, {"length": "9"}, Unit.IN, {"all": "card"}, {"card": offers}, 4)
    points = sweep(
        batch, "width", sizes_between(inch("2.5"), inch(4), inch("1/2"),
                                      Unit.IN), processes=1,
    )  # fmt: skip
    (step,) = find_jumps(points, 3)
    said = describe_jump(step, Unit.IN, several_papers=False)
    assert said == "3 in: 4 × tag share a 12 × 12 in sheet; 3 1/2 in: they can't"


def test_pieces_that_only_one_size_has_explain_nothing() -> None:
    """The smaller size has bands, a sheet each; the larger one has none to ask about."""

    def point(size: int, *sides: tuple[str, int, int, int]) -> SizeResult:
        wants = tuple(Demand(name, cm(w), cm(h), number) for name, w, h, number in sides)
        problem = Problem(wants, (StockItem("0", cm(20), cm(20), None, Fraction(1)),))
        return SizeResult(cm(size), 1, papers={"card": SolvedProblem(problem, quick_plan(problem))})

    below = point(9, ("lid", 9, 18, 1), ("base", 10, 18, 1), ("band", 20, 20, 2))
    above = point(10, ("lid", 11, 18, 1), ("base", 12, 18, 1), ("tray", 13, 18, 2))
    (step,) = find_jumps([below, above], 1)
    assert step.cost_increase == 1
    said = describe_jump(step, Unit.CM, several_papers=False)
    assert said == "9 cm: base and lid share a 20 × 20 cm sheet; 10 cm: they can't"
    (step,) = find_jumps([point(9, ("band", 20, 20, 1)), above], 1)
    said = describe_jump(step, Unit.CM, several_papers=False)
    assert said == "9 cm: 1 sheet; 10 cm: 4"


def test_nearby_sizes_that_save_and_what_changes(boxes: list[SizeResult]) -> None:
    base, found = suggest_sizes(boxes, cm(18), BOX, "panel")
    assert base is not None
    assert base.size == cm(18)
    assert 1 <= len(found) <= 3
    savings = [one.saving for one in found]
    assert savings == sorted(savings)
    for one in found:
        assert one.saving == base.cost - one.result.cost > 0
        assert abs(one.result.size - base.size) * 10 <= base.size
        nearer = [
            p for p in boxes
            if not p.refusal and abs(p.size - base.size) < abs(one.result.size - base.size)
        ]  # fmt: skip
        assert all(p.cost > one.result.cost for p in nearer)
        for change in one.changes:
            if change.name in base.settings:
                assert base.settings[change.name] == change.before
                assert one.result.settings[change.name] == change.after
    names = {change.name for one in found for change in one.changes}
    assert {"outer lid", "inner lid", "step"} <= names
    assert "wall" not in names


def test_nothing_is_suggested_where_nothing_can_be_had() -> None:
    none = [SizeResult(cm(1), 10, refusal="too small")]
    assert suggest_sizes(none, cm(1), BOX, "panel") == (None, [])
    assert find_jumps(none, 3) == []


def test_what_changes_between_equal_sizes_is_nothing(boxes: list[SizeResult]) -> None:
    assert changed_lengths(boxes[0], boxes[0], BOX, "panel") == ()


# --- what can't be asked -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sizes", "said"),
    [
        ((cm(3), cm(2), mm(1)), "the sizes run from 3 cm to 2 cm, which is upside down"),
        ((cm(2), cm(3), 0), "the step between sizes must be more than zero"),
        ((cm(1), cm(90), mm("0.1")), "that is 8,901 sizes, and 500 at most"),
    ],
)
def test_ranges_that_make_no_sense(sizes: tuple[int, int, int], said: str) -> None:
    with pytest.raises(Refusal, match=said):
        sizes_between(*sizes, Unit.CM)


def test_ranges() -> None:
    assert sizes_between(cm(2), cm(2), mm(1), Unit.CM) == [cm(2)]
    assert sizes_between(cm(2), mm(25), mm(2), Unit.CM) == [mm(20), mm(22), mm(24)]
    assert len(sizes_between(mm(1), mm(MAX_SIZES), mm(1), Unit.MM)) == MAX_SIZES


def test_the_setting_that_is_swept() -> None:
    assert swept_setting(BOX) == "panel"
    assert swept_setting(BOX, "step") == "step"
    with pytest.raises(Refusal, match="layered-box has no length 'tiers'"):
        swept_setting(BOX, "tiers")


def test_a_paper_without_a_sheet_is_refused() -> None:
    batch = SweepSetup(BOX, {}, Unit.CM, {"all": "card"}, {})
    with pytest.raises(Refusal, match="no sheet is named for card"):
        sweep(batch, "panel", [cm(18)])
    with pytest.raises(Refusal, match="no paper is named for tier"):
        sweep(SweepSetup(BOX, {}, Unit.CM, {}, {}), "panel", [cm(18)])
