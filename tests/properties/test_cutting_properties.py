"""Whatever is placed, its order of cuts takes it apart; the judge says so."""

from __future__ import annotations

import random
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.lengths import Unit
from nester.core.problem import (
    Cuts,
    CuttingPlan,
    Demand,
    Layout,
    PlacedPiece,
    Problem,
    Rect,
    StockItem,
)
from nester.cutting import NotGuillotineError, cutting_instructions, is_guillotine, plan_cuts
from nester.verify import verify


def judged(width: int, height: int, placed: list[PlacedPiece], cuts: Cuts, smallest: int) -> Layout:
    made, offcuts = plan_cuts(width, height, placed, cuts, smallest)
    layout = Layout("sheet", 1, tuple(placed), made, offcuts)
    problem = Problem(
        tuple(Demand(p.name, p.width, p.height, 1) for p in placed),
        (StockItem("sheet", width, height, 1, Fraction(1)),),
        cuts,
        smallest,
    )
    assert verify(problem, CuttingPlan((layout,), (), Fraction(1), Fraction(0))) == []
    return layout


def scattered(chance: random.Random, width: int, height: int, tries: int) -> list[PlacedPiece]:
    """Place pieces at random where they overlap none."""
    placed: list[PlacedPiece] = []
    for _ in range(tries):
        wide, high = chance.randrange(1, width // 2 + 1), chance.randrange(1, height // 2 + 1)
        x, y = chance.randrange(width - wide + 1), chance.randrange(height - high + 1)
        rect = Rect(x, y, wide, high)
        if all(
            rect.x >= p.x + p.width
            or p.x >= rect.right
            or rect.y >= p.y + p.height
            or p.y >= rect.bottom
            for p in placed
        ):
            placed.append(PlacedPiece(str(len(placed)), *rect))
    return placed


def split(part: Rect, chance: random.Random, depth: int) -> list[Rect]:
    """Cut a part at random into rectangles."""
    if depth == 0 or max(part.width, part.height) < 2 or chance.random() < 0.1:
        return [part]
    if part.height < 2 or (part.width >= 2 and chance.random() < 0.5):
        at = chance.randrange(1, part.width)
        halves = [part._replace(width=at), part._replace(x=part.x + at, width=part.width - at)]
    else:
        at = chance.randrange(1, part.height)
        halves = [part._replace(height=at), part._replace(y=part.y + at, height=part.height - at)]
    return [rect for half in halves for rect in split(half, chance, depth - 1)]


def apart(pieces: list[Rect]) -> bool:
    """Tell by trying every line whether pieces come apart by edge-to-edge cuts."""
    if len(pieces) < 2:
        return True
    for low, high in ((0, 2), (1, 3)):
        sides = [(piece[low], piece[low] + piece[high], piece) for piece in pieces]
        for line in {end for _, end, _ in sides}:
            if any(start < line < end for start, end, _ in sides):
                continue
            before = [piece for _, end, piece in sides if end <= line]
            after = [piece for start, _, piece in sides if start >= line]
            if before and after:
                return apart(before) and apart(after)
    return False


chances = st.integers(0, 2**32).map(random.Random)


@settings(max_examples=120, deadline=None)
@given(chances, st.integers(0, 6), st.sampled_from([0, 5, 30]))
def test_what_was_cut_straight_comes_apart_straight(
    chance: random.Random, depth: int, smallest: int
) -> None:
    width, height = chance.randrange(10, 200), chance.randrange(10, 200)
    placed = []
    for number, rect in enumerate(split(Rect(0, 0, width, height), chance, depth)):
        if chance.random() < 0.25:
            continue
        wide = chance.randrange(1, rect.width + 1) if chance.random() < 0.3 else rect.width
        high = chance.randrange(1, rect.height + 1) if chance.random() < 0.3 else rect.height
        placed.append(PlacedPiece(str(number), rect.x, rect.y, wide, high))
    if not placed:
        return
    assert is_guillotine(placed)
    layout = judged(width, height, placed, Cuts.STRAIGHT, smallest)
    assert not any(cut.knife for cut in layout.cuts)
    assert judged(width, height, placed, Cuts.FREE, smallest).cuts == layout.cuts
    told = cutting_instructions(layout, Unit.MM)
    assert len(told) == len(layout.cuts)
    for piece in placed:
        if piece.rect != Rect(0, 0, width, height):
            assert sum(f": {piece.name}, " in words for words in told) == 1


@settings(max_examples=150, deadline=None)
@given(chances, st.sampled_from([0, 2, 12]))
def test_anything_comes_apart_by_free_cuts(chance: random.Random, smallest: int) -> None:
    width, height = chance.randrange(4, 60), chance.randrange(4, 60)
    placed = scattered(chance, width, height, chance.randrange(1, 60))
    layout = judged(width, height, placed, Cuts.FREE, smallest)
    if is_guillotine(placed):
        judged(width, height, placed, Cuts.STRAIGHT, smallest)
        assert not any(cut.knife for cut in layout.cuts)
    else:
        assert any(cut.knife for cut in layout.cuts)
        with pytest.raises(NotGuillotineError):
            plan_cuts(width, height, placed, Cuts.STRAIGHT, smallest)


@settings(max_examples=200, deadline=None)
@given(chances)
def test_separable_is_what_trying_every_line_finds(chance: random.Random) -> None:
    placed = scattered(chance, 8, 8, 40)
    assert is_guillotine(placed) == apart([piece.rect for piece in placed])


@settings(max_examples=60, deadline=None)
@given(chances)
def test_no_scrap_worth_keeping_is_left_beside_one_piece(chance: random.Random) -> None:
    width, height = chance.randrange(20, 100), chance.randrange(20, 100)
    wide, high = chance.randrange(1, width + 1), chance.randrange(1, height + 1)
    layout = judged(width, height, [PlacedPiece("a", 0, 0, wide, high)], Cuts.STRAIGHT, 10)
    first_across = [(wide, 0, width - wide, height), (0, high, wide, height - high)]
    first_down = [(0, high, width, height - high), (wide, 0, width - wide, high)]

    def kept(rects: list[tuple[int, int, int, int]]) -> list[Rect]:
        return [Rect(*rect) for rect in rects if min(rect[2:]) >= 10]

    best = max(sum(r.area**2 for r in kept(rects)) for rects in (first_across, first_down))
    assert sum(rect.area**2 for rect in layout.offcuts) == best
