"""Whatever lies in the voids of pieces, the order of cuts takes it apart; the judge says so."""

from __future__ import annotations

import random
from fractions import Fraction

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
    placed_voids,
)
from nester.cutting import cutting_instructions, plan_cuts
from nester.verify import verify

chances = st.integers(0, 2**32).map(random.Random)


class Scene:
    """Pieces being put on a sheet, each under a name of its own."""

    def __init__(self, chance: random.Random) -> None:
        self.chance = chance
        self.placed: list[PlacedPiece] = []
        self.wants: list[Demand] = []

    def add(self, rect: Rect, voids: tuple[Rect, ...]) -> tuple[Rect, ...]:
        """Put down a piece, turned or not; return where its voids lie."""
        turned = self.chance.random() < 0.5
        name = f"p{len(self.placed)}"
        if turned:
            local = tuple(
                Rect(v.y - rect.y, rect.right - v.right, v.height, v.width) for v in voids
            )
            want = Demand(name, rect.height, rect.width, 1, voids=local)
        else:
            local = tuple(Rect(v.x - rect.x, v.y - rect.y, v.width, v.height) for v in voids)
            want = Demand(name, rect.width, rect.height, 1, voids=local)
        piece = PlacedPiece(name, *rect, turned)
        assert set(placed_voids(want, piece)) == set(voids)
        self.placed.append(piece)
        self.wants.append(want)
        return voids

    def judged(self, width: int, height: int, cuts: Cuts, smallest: int) -> Layout:
        voids = [placed_voids(*pair) for pair in zip(self.wants, self.placed, strict=True)]
        made, offcuts = plan_cuts(width, height, self.placed, cuts, smallest, voids)
        layout = Layout("sheet", 1, tuple(self.placed), made, offcuts)
        stock = (StockItem("sheet", width, height, 1, Fraction(1)),)
        problem = Problem(tuple(self.wants), stock, cuts, smallest)
        assert verify(problem, CuttingPlan((layout,), (), Fraction(1), Fraction(0))) == []
        told = cutting_instructions(layout, Unit.MM)
        assert len(told) == len(made)
        return layout


def corners(rect: Rect, chance: random.Random) -> tuple[Rect, ...]:
    """Return voids at some corners of a rectangle, or a staircase at one of them."""
    if min(rect.width, rect.height) < 4:
        return ()
    wide, high = chance.randrange(1, rect.width // 2), chance.randrange(1, rect.height // 2)
    if chance.random() < 0.2 and wide > 1:
        step = chance.randrange(1, wide)
        return (
            Rect(rect.x, rect.y, step, 2 * high),
            Rect(rect.x + step, rect.y, wide - step, high),
        )
    return tuple(
        Rect(x, y, wide, high)
        for x in (rect.x, rect.right - wide)
        for y in (rect.y, rect.bottom - high)
        if chance.random() < 0.7
    )


def fill(part: Rect, scene: Scene, depth: int) -> None:
    """Cut a part at random into pieces, and their voids likewise."""
    chance = scene.chance
    if min(part.width, part.height) < 2 or depth == 0 or chance.random() < 0.3:
        if chance.random() < 0.8:
            for void in scene.add(part, corners(part, chance)):
                if chance.random() < 0.7:
                    fill(void, scene, depth - 1 if depth else 0)
        return
    if chance.random() < 0.5:
        at = chance.randrange(1, part.width)
        halves = part._replace(width=at), part._replace(x=part.x + at, width=part.width - at)
    else:
        at = chance.randrange(1, part.height)
        halves = part._replace(height=at), part._replace(y=part.y + at, height=part.height - at)
    for half in halves:
        fill(half, scene, depth - 1)


@settings(max_examples=150, deadline=None)
@given(chances, st.sampled_from([0, 3, 9]))
def test_what_lies_in_voids_comes_apart_straight(chance: random.Random, smallest: int) -> None:
    width, height = chance.randrange(8, 90), chance.randrange(8, 90)
    scene = Scene(chance)
    fill(Rect(0, 0, width, height), scene, 4)
    if scene.placed:
        chance.shuffle(both := list(zip(scene.placed, scene.wants, strict=True)))
        scene.placed, scene.wants = map(list, zip(*both, strict=True))
        straight = scene.judged(width, height, Cuts.STRAIGHT, smallest)
        assert scene.judged(width, height, Cuts.FREE, smallest).cuts == straight.cuts


def cells(rect: Rect) -> set[tuple[int, int]]:
    return {(x, y) for x in range(rect.x, rect.right) for y in range(rect.y, rect.bottom)}


@settings(max_examples=150, deadline=None)
@given(chances, st.sampled_from([0, 2, 6]))
def test_pieces_that_reach_into_each_other_come_apart_by_free_cuts(
    chance: random.Random, smallest: int
) -> None:
    width, height = chance.randrange(6, 24), chance.randrange(6, 24)
    scene, taken = Scene(chance), set()
    for _ in range(40):
        wide, high = chance.randrange(1, width + 1), chance.randrange(1, height + 1)
        rect = Rect(chance.randrange(width - wide + 1), chance.randrange(height - high + 1),
                    wide, high)  # fmt: skip
        voids = corners(rect, chance)
        solid = cells(rect).difference(*map(cells, voids))
        if not solid & taken:
            taken |= solid
            scene.add(rect, voids)
    scene.judged(width, height, Cuts.FREE, smallest)
