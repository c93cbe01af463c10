"""Which sheets are enough for one paper's pieces: what is shown by plans, and what is refuted.

Sheets that can be bought have no end in the task; those on hand are there anyway and cost nothing
more.  What is *shown* are plans, each with the sheets that it takes of what can be bought: as many
or more are enough.  What is *refuted* are sheets that break an inequality that every plan keeps to
(`feasibility_cuts.py`).  For few pieces every content of every sheet is known
(`feasible_contents.py`), and nothing is left between the two.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from random import Random
from typing import NamedTuple

from nester.core.problem import Cuts
from nester.packing.bounds.dual_bound import Worth
from nester.packing.bounds.dual_feasible_functions import Scales
from nester.packing.bounds.lower_bound import quick_worth
from nester.packing.bounds.valid_inequalities import Inequality
from nester.packing.exact.feasible_contents import Contents, TooMany
from nester.packing.exact.guillotine_fronts import Content, ways_to_part
from nester.packing.purchase.expected_capacity import Likely
from nester.packing.purchase.feasibility_cuts import Shortage
from nester.packing.runtime.stop import Stop
from nester.packing.search.diving import Diver
from nester.packing.search.ruin_recreate import STEPS_OF_RECREATION, Recreator
from nester.packing.search.value_correction import sequential_plans
from nester.packing.task.pattern_pool import Pool, Uses, crowded, joined, standing
from nester.packing.task.task import Pattern, Task, usage

__all__ = ["Column", "Enough", "Sheets"]

_SEED = 1
_MOST_PLANS = 40
"""Plans that a choice looks at; of more, those with least paper."""
_LEFT_TO_COMPLETE = (4, 12)
"""Least and most sheets that a dive leaves to recreation."""
_STEPS_A_COMPLETION = 500_000
"""Steps of recreation without a better plan after which a dive's start is given up."""
_PRICES_APART = 10_000
"""No further sheet is taken to cost less than such a part of the dearest."""
_STEPS_A_QUESTION = 5_000
"""What it costs to choose sheets, and to ask whether they break a known inequality."""
_DIVE = 100_000
"""Steps of one dive at most."""

Sheets = tuple[int, ...]
"""So many of each kind; of kinds on hand, those that there are."""


class Column(NamedTuple):
    """What a sheet of a kind holds, and how that lies on it."""

    kind: int
    content: Content
    pattern: Pattern | None


class Enough:
    """One paper's pieces.

    Attributes
    ----------
    plans
        Plans that make everything, by the sheets that they take of what can be bought.
    columns
        For few pieces: all largest contents, surely held or perhaps; None for more.
    inequalities
        What every plan keeps to, as far as it is known.
    """

    def __init__(self, task: Task, cuts: Cuts, size_of: Sequence[int | None]) -> None:
        self.task = task
        self.size_of = tuple(size_of)
        self._cuts = cuts
        self._rng = Random(f"{_SEED} {task.paper}")  # noqa: S311 - for a search, not for secrets
        self.pool = Pool(task)
        self.plans: dict[Sheets, Uses] = {}
        self.columns: tuple[list[Column], list[Column]] | None = None
        self._scales = Scales(task)
        self._worth: Worth | None = None
        self._shortage: Shortage | None = None
        self._asking = 0
        self._told = 0
        self.inequalities = [self._scales.area()]
        # What is lacking has to count, also where a sheet costs next to nothing.
        least = max(1, *(kind.price // _PRICES_APART for kind in task.kinds))
        self._prices = [
            None if size is None else max(least, kind.price)
            for kind, size in zip(task.kinds, size_of, strict=True)
        ]
        self.likely = Likely(task, cuts, self._rng, self.pool, self._prices)
        self._tried: dict[Sheets, tuple[int, Fraction]] = {}

    # --- what is shown ----------------------------------------------------------------------

    def first_plan(self, start: Uses, stop: Stop) -> None:
        """Find one plan, quickly; some pieces may be made by a start already."""
        left, stock = list(self.task.demand), self._stock(None)
        for pattern, copies in start:
            stock[pattern.kind] -= copies
            for shape, number in usage(pattern.spots).items():
                left[shape] -= number * copies
        if not any(left):
            self.show(start)
            return
        kinds = tuple(
            kind._replace(on_hand=number) if kind.on_hand is not None else kind
            for kind, number in zip(self.task.kinds, stock, strict=True)
        )
        rest = replace(self.task, kinds=kinds).with_demand(left)
        for plan in sequential_plans(rest, self._cuts, self._rng, 1, self.pool, stop):
            self.show(joined(start, plan))
        if not self.plans:
            raise AssertionError("sheets without end do not suffice")

    def show(self, uses: Uses) -> bool:
        """Keep a plan if it makes everything with sheets of which less was not known to do."""
        if standing(self.task, uses)[0] or not all(self.task.allows(p) for p, _ in uses):
            return False
        taken = [0] * len(self.task.kinds)
        for pattern, copies in uses:
            if self.size_of[pattern.kind] is not None:
                taken[pattern.kind] += copies
        sheets = tuple(taken)
        self.pool.add_uses(uses)
        if self.plan_for(sheets) is not None:
            return False
        for known in [k for k in self.plans if _reaches(k, sheets)]:
            del self.plans[known]
        self.plans[sheets] = uses
        return True

    def plan_for(self, sheets: Sequence[int]) -> Uses | None:
        """Return a known plan for which such sheets are enough."""
        return next((uses for known, uses in self.plans.items() if _reaches(sheets, known)), None)

    def most_useful(self) -> list[Sheets]:
        """Return the sheets of known plans, those with least paper first, but not too many."""
        areas = [kind.area for kind in self.task.kinds]

        def area(sheets: Sheets) -> int:
            return sum(n * one for n, one in zip(sheets, areas, strict=True))

        return sorted(self.plans, key=area)[:_MOST_PLANS]

    def most_made(self, steps: int, stop: Stop) -> Uses:
        """Return a plan that makes as much as can be found, where not everything can be made."""
        plans = sequential_plans(self.task, self._cuts, self._rng, 1, self.pool, stop)
        best = min(plans, key=lambda uses: standing(self.task, uses))
        if not standing(self.task, best)[0] or not self._works_over(best):
            return best
        for plan in Recreator(self.task, self._rng, self.pool).plans(steps, best, stop):
            if not standing(self.task, best := plan)[0]:
                break
        return best

    def search(self, steps: int, stop: Stop) -> None:
        """Seek cheap plans at the task's prices, sheets being had without end."""
        recreator = Recreator(self.task, self._rng, self.pool)
        best = min(self.plans.values(), key=lambda uses: standing(self.task, uses))
        if not self._works_over(best):
            return
        for plan in recreator.plans(steps * STEPS_OF_RECREATION // 4, best, stop):
            self.show(plan)
        # The layouts that it finds serve whatever sheets are bought.
        Diver(self.task, self._cuts, self._rng, self.pool).price(3 * steps // 4, stop)

    def _works_over(self, uses: Uses) -> bool:
        """Whether the methods that work plans over know the rules of this task, and have time."""
        return self.task.is_plain and not crowded(uses)

    def seek(self, sheets: Sequence[int], steps: int, stop: Stop) -> Fraction:
        """Seek a plan for which such sheets are enough; return the share that is left unmade.

        If so many steps have been spent on them in vain they aren't spent again.
        """
        if self.plan_for(sheets) is not None:
            return Fraction(0)
        asked = tuple(sheets)
        spent, missed = self._tried.get(asked, (0, Fraction(1)))
        if spent >= steps:
            return missed
        limited = self.limited(sheets)
        best: Uses = min(self._starts(limited, stop), key=lambda uses: standing(limited, uses))
        for plan in self._worked_over(limited, best, steps, stop):
            best = plan
            if not standing(limited, best)[0]:
                break
        self.show(best)
        area = sum(shape.area * shape.wanted for shape in self.task.shapes)
        missed = Fraction(standing(limited, best)[0], max(1, area))
        self._tried[asked] = steps, missed
        return missed

    def _worked_over(self, limited: Task, best: Uses, steps: int, stop: Stop) -> Iterator[Uses]:
        """Yield better and better plans from limited sheets, while steps last."""
        if not standing(limited, best)[0] or not self._works_over(best):
            return
        recreator = Recreator(limited, self._rng, self.pool)
        for plan in recreator.plans(steps // 2 * STEPS_OF_RECREATION, best, stop):
            best = plan
            yield best
        diver = Diver(limited, self._cuts, self._rng, self.pool)
        left = steps - steps // 2
        while left > 0 and not stop():
            dived, recreated = diver.steps, recreator.steps
            fewest = self._rng.randint(*_LEFT_TO_COMPLETE)
            start = diver.start(fewest, min(left, _DIVE), stop, None) or ()
            each = min(left * STEPS_OF_RECREATION, _STEPS_A_COMPLETION)
            for plan in recreator.completed(start, best, each, stop):
                best = plan
                yield best
            recreated = recreator.steps - recreated
            left -= max(1000, diver.steps - dived + recreated // STEPS_OF_RECREATION)

    def _starts(self, limited: Task, stop: Stop) -> Iterator[Uses]:
        """Yield plans from limited sheets: a new one, and the nearest known one without others."""
        yield from sequential_plans(limited, self._cuts, self._rng, 1, self.pool, stop)
        areas = [shape.area for shape in self.task.shapes]
        trimmed = []
        for uses in list(self.plans.values())[-_MOST_PLANS:]:
            stock = [limited.most_of(kind) for kind in range(len(limited.kinds))]
            kept = []
            # Fullest sheets first.
            for pattern, copies in sorted(
                uses, key=lambda use: -sum(areas[spot.shape] for spot in use[0].spots)
            ):
                some = min(copies, stock[pattern.kind])
                if some:
                    stock[pattern.kind] -= some
                    kept.append((pattern, some))
            trimmed.append(tuple(kept))
        if trimmed:
            yield min(trimmed, key=lambda uses: standing(limited, uses))

    def limited(self, sheets: Sequence[int]) -> Task:
        """Return the task with no more than such sheets."""
        kinds = tuple(
            kind._replace(on_hand=number)
            for kind, number in zip(self.task.kinds, self._stock(sheets), strict=True)
        )
        return replace(self.task, kinds=kinds)

    def _stock(self, sheets: Sequence[int] | None) -> list[int]:
        return [
            self.task.most_of(kind) if size is None or sheets is None else sheets[kind]
            for kind, size in enumerate(self.size_of)
        ]

    # --- what is refuted --------------------------------------------------------------------

    def settle(self, most_steps: int, stop: Stop) -> None:
        """Find every content of every sheet, if so many steps suffice."""
        task = self.task
        if not task.is_plain or ways_to_part(task.demand) > 2 * most_steps:
            return
        try:
            contents = Contents(task, self._cuts, most_steps, 60.0, stop)
        except TooMany:
            return
        kinds = range(len(task.kinds))
        self.columns = (
            [
                Column(kind, content, Pattern(kind, contents.spots(kind, content)))
                for kind in kinds
                for content in contents.held(kind, surely=True)
            ],
            [
                Column(kind, content, None)
                for kind in kinds
                for content in contents.held(kind, surely=False)
            ],
        )

    @property
    def proving_steps(self) -> int:
        """Steps spent on refuting so far."""
        parts = (self._worth, self._shortage)
        return self._asking + sum(part.steps for part in parts if part is not None)

    def refute(self, sheets: Sequence[int], steps: int, stop: Stop) -> bool:
        """Seek an inequality that such sheets break, in so many steps; say if one was found."""
        self._asking += _STEPS_A_QUESTION
        if steps <= 0 or self.plan_for(sheets) is not None:
            return False
        stock, demand = self._stock(sheets), self.task.demand
        if any(one.held(stock) < one.needed(demand) for one in self.inequalities):
            return False  # it is known; the solver counts what is almost held as held
        found = self._scales.most_violated(stock, demand)
        if found is None:
            found = self._lacking(stock, steps, stop)
        if found is None:
            return False
        self.inequalities.append(found)
        return True

    def _lacking(self, stock: Sequence[int], steps: int, stop: Stop) -> Inequality | None:
        if self._worth is None:
            self._worth = quick_worth(self.task, self._cuts)
            if self._worth is None:
                return None
            self._shortage = Shortage(self.task, self._worth, self._prices)
        if self._shortage is None:
            return None
        for pattern, counts in self.pool.since(self._told):
            self._shortage.add(pattern.kind, {shape: float(n) for shape, n in counts.items()})
        self._told = len(self.pool)
        return self._shortage.broken(stock, steps, stop)

    def doubt(self, sheets: Sequence[int], steps: int, stop: Stop) -> bool:
        """Say whether such sheets are not likely to be enough, by `likely`."""
        return self.likely.doubt(self._stock(sheets), steps, stop)

    def surplus(self, sheets: Sequence[int]) -> Fraction:
        """Return by what share such sheets surpass what is likely to be needed."""
        stock = self._stock(sheets)
        demand = self.task.demand
        return min(
            (
                Fraction(one.held(stock), one.needed(demand)) - 1
                for one in (*self.inequalities, *self.likely.inequalities)
                if one.needed(demand)
            ),
            default=Fraction(0),
        )


def _reaches(some: Sequence[int], others: Sequence[int]) -> bool:
    return all(one >= other for one, other in zip(some, others, strict=True))
