"""Lengths cut from reels: every answer holds, and none wastes more than all there are."""

from __future__ import annotations

from collections import Counter
from itertools import product

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from nester.core.errors import Refusal
from nester.packing.one_dimensional import Reel, ReelPlan, cut_from_reels


def check(
    plan: ReelPlan, reels: list[Reel], lengths: list[tuple[int, int]], shortest: int
) -> tuple[int, int]:
    """Hold a plan against what was asked; return its waste and how many reels it uses."""
    given_out = Counter(length for one in plan.cuts for length in one.lengths)
    wanted = Counter()
    for length, quantity in lengths:
        wanted[length] += quantity
    assert given_out == wanted
    assert len({one.reel.name for one in plan.cuts}) == len(plan.cuts)
    for one in plan.cuts:
        assert one.reel in reels
        assert one.lengths
        assert one.remainder == one.reel.length - sum(one.lengths) >= 0
    waste = sum(one.remainder for one in plan.cuts if one.remainder < shortest)
    assert plan.bound <= plan.waste == waste
    return waste, len(plan.cuts)


def best(
    reels: list[Reel], lengths: list[tuple[int, int]], shortest: int
) -> tuple[int, int] | None:
    """Try every way to give each length to a reel."""
    single = [length for length, quantity in lengths for _ in range(quantity)]
    found = None
    for choice in product(range(len(reels)), repeat=len(single)):
        rest = [reel.length for reel in reels]
        for number, length in zip(choice, single, strict=True):
            rest[number] -= length
        if min(rest) >= 0:
            waste = sum(rest[n] for n in set(choice) if rest[n] < shortest)
            found = min(found or (waste, len(set(choice))), (waste, len(set(choice))))
    return found


@settings(max_examples=40, deadline=None)
@given(
    sizes=st.lists(st.integers(1, 30), min_size=1, max_size=4),
    lengths=st.lists(st.tuples(st.integers(1, 15), st.integers(1, 2)), min_size=1, max_size=3),
    shortest=st.integers(0, 8),
)
def test_no_way_wastes_less(sizes, lengths, shortest: int) -> None:
    reels = [Reel(f"R-{number}", size) for number, size in enumerate(sizes)]
    assume(sum(quantity for _, quantity in lengths) <= 5)
    known = best(reels, lengths, shortest)
    if known is None:
        with pytest.raises(Refusal, match=r"no reel is long enough|too short for all"):
            cut_from_reels(reels, lengths, shortest=shortest)
        return
    plan = cut_from_reels(reels, lengths, shortest=shortest)
    assert check(plan, reels, lengths, shortest) == known
    assert plan.bound == plan.waste
    assert cut_from_reels(reels, lengths, shortest=shortest) == plan


def test_an_end_is_used_up_before_a_full_reel_is_begun() -> None:
    reels = [Reel("new", 1000), Reel("end", 120)]
    (one,) = cut_from_reels(reels, [(60, 2)], shortest=30).cuts
    assert (one.reel.name, one.lengths, one.remainder) == ("end", (60, 60), 0)


def test_many_lengths_from_many_reels() -> None:
    reels = [Reel(f"R-{n}", 25_000 if n % 3 else 4000 + 137 * n) for n in range(30)]
    lengths = [(600, 40), (350, 60), (1250, 20), (2110, 9)]
    plan = cut_from_reels(reels, lengths, shortest=200)
    assert check(plan, reels, lengths, 200)[0] == 0


def test_more_reels_than_are_looked_at() -> None:
    reels = [Reel(f"R-{n}", 100 + n) for n in range(200)]
    plan = cut_from_reels(reels, [(299, 1), (100, 1)], shortest=20)
    check(plan, reels, [(299, 1), (100, 1)], 20)
    with pytest.raises(Refusal, match="no reel is long enough"):
        cut_from_reels(reels, [(300, 1)], shortest=20)
    with pytest.raises(Refusal, match="no reel is long enough"):
        cut_from_reels([], [(300, 1)], shortest=20)
