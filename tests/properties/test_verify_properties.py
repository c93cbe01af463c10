"""Random good answers pass the judge, and no small change to a good one does."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.problem import (
    Cut,
    CuttingPlan,
    Demand,
    Layout,
    PlacedPiece,
    Problem,
    Rect,
    StockItem,
)
from nester.verify import FaultKind, verify

SMALLEST = 40


def split(part: Rect, chance: random.Random, layout: tuple[list, list, list]) -> None:
    """Cut a part into pieces and offcuts at random, writing down the cuts."""
    pieces, cuts, offcuts = layout
    deep = len(cuts) > 60
    kinds = [kind for kind, side in ((True, part.width), (False, part.height)) if side > 20]
    if deep or not kinds or chance.random() < 0.15:
        if min(part.width, part.height) >= SMALLEST and chance.random() < 0.3:
            offcuts.append(part)
        elif chance.random() < 0.9:
            pieces.append(part)
        return
    vertical = chance.choice(kinds)
    if vertical:
        at = part.x + chance.randrange(1, part.width)
        cuts.append(Cut(part, True, at, part.y, part.bottom))
        halves = (part._replace(width=at - part.x), part._replace(x=at, width=part.right - at))
    else:
        at = part.y + chance.randrange(1, part.height)
        cuts.append(Cut(part, False, at, part.x, part.right))
        halves = (part._replace(height=at - part.y), part._replace(y=at, height=part.bottom - at))
    for half in halves:
        split(half, chance, layout)


def random_answer(chance: random.Random) -> tuple[Problem, CuttingPlan]:
    sheet = Rect(0, 0, chance.randrange(60, 400), chance.randrange(60, 400))
    pieces: list[Rect] = []
    cuts: list[Cut] = []
    offcuts: list[Rect] = []
    split(sheet, chance, (pieces, cuts, offcuts))
    copies = chance.randrange(1, 4)
    placed, wants = [], []
    for number, rect in enumerate(pieces):
        turned = chance.random() < 0.5
        sides = rect[:1:-1] if turned else rect[2:]
        wants.append(Demand(str(number), *sides, copies))
        placed.append(PlacedPiece(str(number), *rect, turned))
    stock = (StockItem("sheet", *sheet[2:], chance.choice([None, copies]), Fraction(7, 3)),)
    layout = Layout("sheet", copies, tuple(placed), tuple(cuts), tuple(offcuts))
    problem = Problem(tuple(wants), stock, smallest_offcut=SMALLEST)
    layouts = (layout,) if placed else ()
    return problem, CuttingPlan(layouts, (), Fraction(7 * copies * bool(placed), 3), Fraction(0))


seeds = st.integers(0, 2**32).map(random.Random)


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_random_good_answers_pass(chance: random.Random) -> None:
    problem, answer = random_answer(chance)
    assert verify(problem, answer) == []


@settings(max_examples=100, deadline=None)
@given(seeds)
def test_a_piece_that_is_moved_is_caught(chance: random.Random) -> None:
    problem, answer = random_answer(chance)
    if not answer.layouts:
        return
    layout = answer.layouts[0]
    index = chance.randrange(len(layout.placed))
    piece = layout.placed[index]
    step = chance.choice([-1, 1]) * chance.choice([1, 7, 1000])
    piece = (
        piece._replace(x=piece.x + step) if chance.random() < 0.5
        else piece._replace(y=piece.y + step)
    )  # fmt: skip
    placed = (*layout.placed[:index], piece, *layout.placed[index + 1 :])
    found = verify(problem, replace(answer, layouts=(replace(layout, placed=placed),)))
    # Only upon an equal neighbour would it lie in a part that is cut free.
    assert {FaultKind.NOT_CUT_FREE, FaultKind.OVERLAP} & {fault.kind for fault in found}


@settings(max_examples=100, deadline=None)
@given(seeds)
def test_a_cut_that_is_left_out_or_shifted_is_caught(chance: random.Random) -> None:
    problem, answer = random_answer(chance)
    if not answer.layouts or not answer.layouts[0].cuts:
        return
    layout = answer.layouts[0]
    index = chance.randrange(len(layout.cuts))
    cut = layout.cuts[index]
    freed = [*(piece.rect for piece in layout.placed), *layout.offcuts]
    part = cut.part
    needed = any(
        cut.at in ((rect.x, rect.right) if cut.vertical else (rect.y, rect.bottom))
        for rect in freed
        if part.x <= rect.x < part.right and part.y <= rect.y < part.bottom
    )
    changes = [(), (cut._replace(start=cut.start + 1),), (cut._replace(at=cut.at - 1000),)]
    spoiled = (*layout.cuts[:index], *chance.choice(changes), *layout.cuts[index + 1 :])
    found = verify(problem, replace(answer, layouts=(replace(layout, cuts=spoiled),)))
    # A cut between two parts that are both thrown away may be left out, or lie elsewhere.
    if needed or spoiled[index : index + 1] == (cut._replace(start=cut.start + 1),):
        assert found


def brute_overlaps(rects: list[Rect]) -> bool:
    return any(
        a.x < b.right and b.x < a.right and a.y < b.bottom and b.y < a.bottom
        for i, a in enumerate(rects)
        for b in rects[:i]
    )


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.builds(Rect, st.integers(0, 9), st.integers(0, 9), st.integers(1, 5), st.integers(1, 5)),
        min_size=1,
        max_size=8,
    )
)
def test_overlaps_are_found_as_by_looking_at_every_pair(rects: list[Rect]) -> None:
    placed = tuple(PlacedPiece(str(i), *rect) for i, rect in enumerate(rects))
    wants = tuple(Demand(p.name, p.width, p.height, 1) for p in placed)
    problem = Problem(wants, (StockItem("s", 14, 14, 1, Fraction(1)),))
    found = verify(problem, CuttingPlan((Layout("s", 1, placed),), (), Fraction(1), Fraction(0)))
    assert (FaultKind.OVERLAP in {fault.kind for fault in found}) == brute_overlaps(rects)
