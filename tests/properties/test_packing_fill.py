"""Whatever the pieces, a filled sheet holds them side by side and can be cut as promised."""

from random import Random
from unittest.mock import patch

from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.problem import Cuts, Rect
from nester.packing.patterns import greedy
from nester.packing.patterns.greedy import GreedyFiller
from nester.packing.search.rectpack_start import rectpack_plans
from nester.packing.search.value_correction import sequential_plans
from nester.packing.task.pattern_pool import PatternPool
from nester.packing.task.task import BinType, ItemType, Task, item_counts

sides = st.integers(1, 12)
shape = st.builds(ItemType, sides, sides, st.integers(1, 4), st.booleans(), st.just(()))
shapes = st.lists(shape, min_size=1, max_size=6)
sheet_sides = st.integers(1, 30)
chances = st.randoms(use_true_random=False)


def comes_apart(boxes):
    """Try every cut: slow and plain, unlike what it is held against."""
    if len(boxes) < 2:
        return True
    for low, high in ((0, 2), (1, 3)):
        for at in {box[high] for box in boxes}:
            first = [box for box in boxes if box[high] <= at]
            rest = [box for box in boxes if box[low] >= at]
            if first and rest and len(first) + len(rest) == len(boxes):
                return comes_apart(first) and comes_apart(rest)
    return False


def check_sheet(task_shapes, spots, width, height, cuts):
    boxes = []
    for index, x, y, turned in spots:
        shape = task_shapes[index]
        assert shape.rotatable or not turned
        wide, high = (shape.height, shape.width) if turned else (shape.width, shape.height)
        boxes.append((x, y, x + wide, y + high))
    for number, (left, top, right, bottom) in enumerate(boxes):
        assert left >= 0
        assert top >= 0
        assert right <= width
        assert bottom <= height
        for x1, y1, x2, y2 in boxes[:number]:
            assert right <= x1 or x2 <= left or bottom <= y1 or y2 <= top
    if cuts is Cuts.STRAIGHT:
        assert comes_apart(boxes)


@given(shapes, sheet_sides, sheet_sides, st.sampled_from(Cuts), chances)
def test_a_filled_sheet(some, width, height, cuts, rng):
    counts = [shape.demand for shape in some]
    order = rng.sample(range(len(some)), len(some))
    filler = GreedyFiller(some, cuts, Random(rng.random()))
    spots = filler.fill(width, height, counts, order)
    check_sheet(some, spots, width, height, cuts)
    used = item_counts(spots)
    assert all(used.get(index, 0) <= most for index, most in enumerate(counts))
    assert filler.steps > 0
    # What fits alone is not left out: the first in order that fits the sheet lies on it.
    fitting = [index for index in order if some[index].fits(width, height)]
    assert bool(spots) == bool(fitting)
    assert not fitting or fitting[0] in used


@settings(max_examples=60, deadline=None)
@given(shapes, sheet_sides, sheet_sides, st.sampled_from(Cuts), chances, st.booleans())
def test_many_equal_pieces_are_laid_in_blocks(some, width, height, cuts, rng, spoil):
    """As many as fit are laid, as they are one by one."""
    some = [one._replace(demand=9 * one.demand) for one in some]
    spoiled = [Rect(width // 2, height // 3, 1, 1)] if spoil and height > 3 else []
    with patch.object(greedy, "_MIN_BLOCK", 3):
        spots = GreedyFiller(some, cuts, Random(rng.random())).fill(
            width, height, [one.demand for one in some], range(len(some)), spoiled=spoiled
        )
    check_sheet(some, spots, width, height, cuts)
    for index, number in item_counts(spots).items():
        assert number <= some[index].demand
    for index, x, y, turned in spots:
        sides = some[index][1::-1] if turned else some[index][:2]
        assert not any(Rect(x, y, *sides).overlaps(bad) for bad in spoiled)
    alone = some[0]
    if not spoiled and not alone.rotatable:
        most = (width // alone.width) * (height // alone.height)
        assert item_counts(spots).get(0, 0) == min(most, alone.demand)


def test_half_a_million_pieces_on_a_sheet():
    piece = ItemType(3, 3, 1_000_000, True)
    filler = GreedyFiller([piece], Cuts.FREE, Random(1))
    spots = filler.fill(10_000, 500, [piece.demand], [0])
    assert len(set(spots)) == len(spots) == 3333 * 166
    assert max(spot.x for spot in spots) == 3332 * 3
    assert max(spot.y for spot in spots) == 165 * 3


def task_of(some):
    kinds = (BinType(12, 12, None, 3), BinType(30, 17, 2, 7), BinType(17, 25, 1, 0))
    return Task("", tuple(some), kinds, (), (), 1, 1)


def check_plan(task, plan, cuts):
    made = [0] * len(task.item_types)
    sheets = [0] * len(task.bin_types)
    for pattern, copies in plan:
        assert pattern.placements
        assert copies > 0
        kind = task.bin_types[pattern.bin_type]
        check_sheet(task.item_types, pattern.placements, kind.width, kind.height, cuts)
        sheets[pattern.bin_type] += copies
        for shape, number in item_counts(pattern.placements).items():
            made[shape] += number * copies
    assert all(n <= wanted for n, wanted in zip(made, task.demand, strict=True))
    for kind, used in zip(task.bin_types, sheets, strict=True):
        assert kind.on_hand is None or used <= kind.on_hand
    return made


@settings(max_examples=30, deadline=None)
@given(shapes, st.sampled_from(Cuts))
def test_plans_of_rectpack(some, cuts):
    task = task_of(some)
    for plan in rectpack_plans(task, cuts):
        check_plan(task, plan, cuts)


@settings(max_examples=40, deadline=None)
@given(shapes, st.sampled_from(Cuts), st.integers(0, 99))
def test_sequential_plans(some, cuts, seed):
    task = task_of(some)
    pool = PatternPool(task)
    for plan in sequential_plans(task, cuts, Random(seed), 300, pool, lambda: False):
        # One kind is there as often as needed, and every piece fits it.
        assert tuple(check_plan(task, plan, cuts)) == task.demand
    assert len(pool)
    for pattern, counts in pool.least_waste(10**6, ()):
        assert counts == item_counts(pattern.placements)
        kind = task.bin_types[pattern.bin_type]
        check_sheet(task.item_types, pattern.placements, kind.width, kind.height, cuts)


def test_pieces_in_a_ring_do_not_come_apart():
    ring = [(0, 0, 2, 1), (2, 0, 3, 2), (1, 2, 3, 3), (0, 1, 1, 3)]
    assert not comes_apart(ring)
    assert comes_apart(ring[:3])
