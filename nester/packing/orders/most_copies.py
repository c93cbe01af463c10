"""How many equal objects can be made of what is at hand: exactly, or between two proven numbers.

Papers are looked at one by one.  That so many can be made is shown by a plan; that no more can is
proven by an inequality which sheets and pieces would break, or by trying all there is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from nester.core.problem import Answer, Effort, Problem
from nester.packing.orders.capacity import Room
from nester.packing.runtime.stop import Stop, never
from nester.packing.task.task import split_by_paper
from nester.packing.task.validate import refuse_unsound

__all__ = ["Most", "most_copies"]


@dataclass(frozen=True)
class Most:
    """How many objects can be made.

    Attributes
    ----------
    at_least, at_most
        So many can be made, and no more can; both are proven, and equal unless the search ended
        before.
    short
        The papers of which no plan for one more was found; or what fits no sheet.
    plans
        For each paper a problem and its answer, in which pieces for so many are placed at least.
    """

    at_least: int
    at_most: int
    short: tuple[str, ...]
    plans: tuple[tuple[Problem, Answer], ...] = ()

    @property
    def proven(self) -> bool:
        """Whether it is proven that no more can be made."""
        return self.at_least == self.at_most


def most_copies(problem: Problem, effort: Effort = Effort.NORMAL, *, stop: Stop = never) -> Most:
    """Find how many equal objects a problem's stock suffices for.

    Parameters
    ----------
    problem
        Its wants are the pieces of one object; there must be an end to its stock.
    effort
        How hard to look for a plan for one more where it is not proven that there is none.

    Raises
    ------
    Refusal
        If the problem has no meaning: see `nester.packing.task.validate`.
    ValueError
        If there is no end to a kind of stock.
    """
    refuse_unsound(problem)
    if any(one.quantity is None for one in problem.stock):
        raise ValueError("there is no end to what can be made of endless stock")
    tasks, hopeless = split_by_paper(problem)
    if hopeless:
        return Most(0, 0, tuple(dict.fromkeys(f"{want.name}: {why}" for want, why in hopeless)))
    searches = []
    for task in tasks:
        wants = tuple(want for want in problem.wants if want.paper == task.paper)
        stock = tuple(one for one in problem.stock if one.paper == task.paper)
        searches.append(_OnPaper(replace(problem, wants=wants, stock=stock), effort, stop))
    at_most = min(one.at_most for one in searches)
    for one in searches:
        one.search(at_most + 1)  # one more, to see which papers would suffice for it
        at_most = min(at_most, one.at_most)
    at_least = min(one.at_least for one in searches)
    short = (one.paper for one in searches if one.at_least == at_least)
    return Most(
        at_least,
        max(at_least, at_most),
        tuple(short),
        tuple(one.plan for one in searches if one.plan is not None),
    )


class _OnPaper:
    """The search on one paper."""

    def __init__(self, problem: Problem, effort: Effort, stop: Stop) -> None:
        self._effort, self._stop = effort, stop
        self._each = {want.name: want.quantity for want in problem.wants}
        self.paper = problem.wants[0].paper
        solid = sum(
            want.quantity * (want.width * want.height - sum(void.area for void in want.voids))
            for want in problem.wants
        )
        area = sum(one.width * one.height * (one.quantity or 0) for one in problem.stock)
        self.at_least, self.at_most = 0, area // solid
        self._problem = self._of(problem, max(1, self.at_most))
        self._room = Room(self._problem, split_by_paper(self._problem)[0][0])
        self.plan: tuple[Problem, Answer] | None = None
        self._lower_quickly()

    @staticmethod
    def _of(problem: Problem, number: int) -> Problem:
        wants = (replace(want, quantity=want.quantity * number) for want in problem.wants)
        return replace(problem, wants=tuple(wants))

    def _pieces(self, number: int) -> Mapping[str, int]:
        return {name: each * number for name, each in self._each.items()}

    def _lower_quickly(self) -> None:
        """Lower what can be made at most by inequalities that are found at once."""
        low, high = 0, self.at_most
        while low < high:
            middle = (low + high + 1) // 2
            if self._room.broken(self._room.counts(self._pieces(middle))) is None:
                low = middle
            else:
                high = middle - 1
        # What breaks an inequality can't be made, nor can more.
        self.at_most = high

    def search(self, ceiling: int) -> None:
        """Find how many can be made, as far as the ceiling: more than that is of no use.

        At a glance first, then with more and more effort; each time by halves.
        """
        for effort in (None, *list(Effort)[: list(Effort).index(self._effort) + 1]):
            low = self.at_least
            high = min(self.at_most, ceiling)
            while low < high and not self._stop():
                middle = (low + high + 1) // 2
                if self._can_make(middle, effort):
                    low = middle
                else:
                    high = middle - 1
                low, high = max(low, self.at_least), max(high, self.at_least)
            if self.at_least < min(self.at_most, ceiling):
                self._lower_with_effort()
            if self.at_least >= min(self.at_most, ceiling):
                return

    def _can_make(self, number: int, effort: Effort | None) -> bool:
        held = self._room.holds(self._pieces(number), effort, self._stop)
        if held.surely:
            self.at_most = min(self.at_most, number - 1)
        # Of what does not hold all, some may be made whole nevertheless.
        lacking = {one.name: one.quantity for one in held.answer.unplaced}
        made = min(
            (each * number - lacking.get(name, 0)) // each for name, each in self._each.items()
        )
        if made > self.at_least:
            self.at_least = made
            wanted = self._pieces(number)
            wants = (replace(want, quantity=wanted[want.name]) for want in self._problem.wants)
            stock = (replace(one, price=Fraction(0)) for one in self._problem.stock)
            problem = replace(self._problem, wants=tuple(wants), stock=tuple(stock))
            self.plan = problem, held.answer
        return held.all

    def _is_refuted(self, number: int) -> bool:
        counts = self._room.counts(self._pieces(number))
        return self._room.refuted(counts, self._stop) is not None

    def _lower_with_effort(self) -> None:
        """Refute more and more that could perhaps be made, by halves."""
        low, high = self.at_least, self.at_most
        while low < high and not self._stop():
            middle = (low + high + 1) // 2
            if self._is_refuted(middle):
                high = middle - 1
            else:
                low = middle
        self.at_most = high
