"""What a problem must keep to before anything is sought for it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from itertools import combinations

from nester.core.errors import Refusal
from nester.core.problem import Demand, Problem, Rect

__all__ = ["validate"]


def validate(problem: Problem) -> None:
    """Refuse a problem that has no meaning.

    Raises
    ------
    Refusal
        If a name stands for two things, a side is not positive, a quantity or a price is negative,
        or voids leave their blank, overlap or cover it wholly; the first fault found is named.
    """
    _check_unique_names("piece", (want.name for want in problem.demands))
    _check_unique_names("sheet", (stock.name for stock in problem.stock))
    for want in problem.demands:
        _check_sides(f"piece '{want.name}'", want.width, want.height)
        if want.quantity < 0:
            raise Refusal(
                f"piece '{want.name}' is wanted {want.quantity} times; none or more would do"
            )
        _check_voids(want)
    for stock in problem.stock:
        _check_sides(f"sheet '{stock.name}'", stock.width, stock.height)
        if stock.quantity is not None and stock.quantity < 0:
            raise Refusal(
                f"of sheet '{stock.name}' there are {stock.quantity}; none or more would do"
            )
        if stock.price < 0:
            raise Refusal(
                f"the price of sheet '{stock.name}' is {stock.price}; zero or more would do"
            )
    if problem.smallest_offcut < 0:
        raise Refusal("the smallest offcut worth keeping is shorter than nothing")


def _check_unique_names(what: str, names: Iterable[str]) -> None:
    for name, number in Counter(names).items():
        if number > 1:
            raise Refusal(f"{number} kinds of {what} are named '{name}'; each needs its own name")


def _check_sides(what: str, width: int, height: int) -> None:
    if width <= 0 or height <= 0:
        raise Refusal(f"{what} has a side that is not longer than nothing")


def _check_voids(want: Demand) -> None:
    blank = Rect(0, 0, want.width, want.height)
    for void in want.voids:
        _check_sides(f"a void of piece '{want.name}'", void.width, void.height)
        if void.x < 0 or void.y < 0 or void.right > blank.right or void.bottom > blank.bottom:
            raise Refusal(f"a void of piece '{want.name}' reaches out of its blank")
    if any(_overlap(void, other) for void, other in combinations(want.voids, 2)):
        raise Refusal(f"two voids of piece '{want.name}' overlap")
    if sum(void.area for void in want.voids) == blank.area:
        raise Refusal(f"piece '{want.name}' is all void; its voids must leave part of it")


def _overlap(rect: Rect, other: Rect) -> bool:
    return (
        rect.x < other.right
        and other.x < rect.right
        and rect.y < other.bottom
        and other.y < rect.bottom
    )
