"""Small purchases, whose cheapest way is found by trying everything.

The search here knows nothing of the optimizer: it goes through all numbers of packs by what they
cost, and asks for each whether all pieces can be cut from the sheets, by trying all ways to spread
them over the sheets.
"""

from dataclasses import replace
from fractions import Fraction
from functools import cache
from importlib import import_module
from itertools import combinations
from random import Random

import pytest

from nester.core.piece import Turn
from nester.core.problem import Cuts, Demand, Effort, Problem, StockItem
from nester.core.purchase import Offer, SupplierTerms
from nester.packing import purchase
from nester.verify import require_valid_purchase, verify_purchase
from tests.properties.test_packing_all_answers import free, straight
from tests.properties.test_packing_all_answers import ways as ways_to_lie

PURCHASE = import_module("nester.packing.purchase.purchase")
"""The module, whose name in its package is the function's."""


def paid(offers, terms, packs):
    """What packs cost with shipping; None if a supplier sells nothing of so little."""
    total = Fraction(0)
    for supplier in {offer.supplier for offer, n in zip(offers, packs, strict=True) if n}:
        goods = sum(
            (
                n * o.pack_price
                for o, n in zip(offers, packs, strict=True)
                if o.supplier == supplier
            ),
            Fraction(0),
        )
        its = terms.get(supplier)
        if its is not None:
            if goods < its.min_order_value:
                return None
            if its.free_shipping_from is None or goods < its.free_shipping_from:
                goods += its.shipping
        total += goods
    return total


def all_can_be_cut(problem, sheets):
    """Whether the pieces of one paper all come from so many sheets of some sizes."""
    holds = straight if problem.cuts is Cuts.STRAIGHT else free
    pieces = tuple(
        sorted(
            (want.width, want.height, want.turn is Turn.ANY)
            for want in problem.demands
            for _ in range(want.quantity)
        )
    )

    @cache
    def can(left, numbers):
        if not left:
            return True
        if sum(w * h for w, h, _ in left) > sum(
            n * w * h for n, (w, h) in zip(numbers, sizes, strict=True)
        ):
            return False
        for index, number in enumerate(numbers):
            if not number:
                continue
            fewer = (*numbers[:index], number - 1, *numbers[index + 1 :])
            for size in range(len(left) - 1, -1, -1):
                for others in combinations(range(1, len(left)), size):
                    content = (left[0], *(left[i] for i in others))
                    rest = tuple(left[i] for i in range(1, len(left)) if i not in others)
                    if holds(*sizes[index], content) and can(rest, fewer):
                        return True
        return False

    sizes = tuple(sheets)
    return can(pieces, tuple(min(sheets[size], len(pieces)) for size in sizes))


def affordable(offers, money):
    """All numbers of packs whose goods alone cost less than so much."""
    if not offers:
        yield ()
        return
    offer, *others = offers
    number = 0
    while number * offer.pack_price < money:
        if number == 0 or number >= offer.min_packs:
            for rest in affordable(others, money - number * offer.pack_price):
                yield number, *rest
        number += 1


def cheapest(problem, offers, terms, below):
    """The least, below some money, that is paid so that everything can be cut; else None."""
    known = {one.supplier: one for one in terms}
    # What no piece can be cut from is not bought, not even to reach a sum.
    offers = [
        offer
        for offer in offers
        if any(
            want.paper == offer.paper
            and any(
                wide <= offer.width and high <= offer.height
                for wide, high in ways_to_lie((want.width, want.height, want.turn is Turn.ANY))
            )
            for want in problem.demands
        )
    ]
    ways = []
    for packs in affordable(offers, below):
        price = paid(offers, known, packs)
        if price is not None and price < below:
            ways.append((price, packs))
    papers = {want.paper for want in problem.demands}
    asked = {}

    def enough(paper, packs):
        sheets = {}
        for one in problem.stock:
            if one.paper == paper:
                sheets[one.width, one.height] = sheets.get((one.width, one.height), 0)
                sheets[one.width, one.height] += one.quantity
        for offer, number in zip(offers, packs, strict=True):
            if offer.paper == paper:
                size = offer.width, offer.height
                sheets[size] = sheets.get(size, 0) + number * offer.pack_size
        key = paper, tuple(sorted(sheets.items()))
        if key not in asked:
            of_it = replace(problem, demands=tuple(w for w in problem.demands if w.paper == paper))
            asked[key] = all_can_be_cut(of_it, sheets)
        return asked[key]

    for price, packs in sorted(ways):
        if all(enough(paper, packs) for paper in papers):
            return price
    return None


def small_case(seed, cuts):
    chance = Random(f"small purchase {seed}")
    papers = ["blue", "red"][: chance.randint(1, 2)]
    wants, left = [], 5
    for number in range(chance.randint(1, 4)):
        quantity = chance.randint(1, min(2, left))
        left -= quantity
        sides = chance.randint(1, 4), chance.randint(1, 4)
        paper = chance.choice(papers)
        wants.append(Demand(f"w{number}", *sides, quantity, paper, chance.choice(list(Turn))))
        if not left:
            break
    stock = tuple(
        StockItem(f"s{n}", chance.randint(2, 5), chance.randint(2, 5), 1, Fraction(1), paper)
        for n, paper in enumerate(papers)
        if chance.random() < 0.6
    )
    suppliers = ["north", "south", "west"][: chance.randint(1, 3)]
    offers = []
    for paper in papers:
        # One that holds each piece whichever way it lies, so that there is always a way.
        offers.append(
            Offer(
                f"o{len(offers)}", chance.choice(suppliers), paper, 4, 4,
                chance.choice((1, 2, 3, 5)), Fraction(chance.randint(8, 30), 4),
                chance.choice((1, 1, 2)),
            )
        )  # fmt: skip
        for _ in range(chance.randint(1, 2)):
            offers.append(
                Offer(
                    f"o{len(offers)}", chance.choice(suppliers), paper,
                    chance.randint(3, 6), chance.randint(3, 6), chance.choice((1, 1, 2, 4)),
                    Fraction(chance.randint(4, 60), 4), chance.choice((1, 1, 2)),
                )
            )  # fmt: skip
    terms = [
        SupplierTerms(
            supplier,
            Fraction(chance.randint(0, 24), 4),
            chance.choice((None, Fraction(chance.randint(8, 30)))),
            Fraction(chance.choice((0, 0, 0, 10))),
        )
        for supplier in suppliers
        if chance.random() < 0.9
    ]
    problem = Problem(tuple(wants), stock, cuts, smallest_offcut=1)
    return problem, tuple(offers), tuple(terms)


@pytest.mark.parametrize("cuts", list(Cuts))
@pytest.mark.parametrize("seed", range(30))
def test_the_purchase_is_the_cheapest_of_all_and_proven(seed, cuts):
    problem, offers, terms = small_case(seed, cuts)
    bought = purchase(problem, offers, terms, Effort.QUICK)
    require_valid_purchase(problem, offers, terms, bought)
    assert not bought.cutting_plan.unplaced
    a_coin_more = bought.cost + Fraction(1, 4)
    assert cheapest(problem, offers, terms, below=a_coin_more) == bought.cost
    assert bought.lower_bound == bought.cost


SHORT = PURCHASE._EffortBudget(
    enumeration=0,
    rounds=2
    * (
        PURCHASE._Round(
            pattern_search=2_000,
            estimating=2_000,
            supplier_sets=2,
            plan_search=4_000,
            per_proposal=500,
            bounding=20_000,
            bounded_sets=3,
        ),
    ),
    min_parallel_pieces=1_000,
    mip_nodes=200,
    cutting_time=0.02,
)
"""Work on papers as if they were too large to be settled."""


@pytest.mark.parametrize("cuts", list(Cuts))
@pytest.mark.parametrize("seed", range(30))
def test_what_is_only_bounded_is_bounded_soundly(seed, cuts, monkeypatch):
    monkeypatch.setattr(PURCHASE, "_BUDGETS", {Effort.NORMAL: SHORT})
    problem, offers, terms = small_case(seed, cuts)
    bought = purchase(problem, offers, terms)
    require_valid_purchase(problem, offers, terms, bought)
    assert not bought.cutting_plan.unplaced
    assert not bought.cost or bought.statistics["bounded"]
    least = cheapest(problem, offers, terms, below=bought.cost + Fraction(1, 4))
    assert least is not None
    assert bought.lower_bound <= least <= bought.cost
    # So small, it is found all the same; what is proven may be less.
    assert bought.cost <= least * Fraction(5, 4)


def test_the_judge_counts_again():
    problem, offers, terms = small_case(0, Cuts.STRAIGHT)
    bought = purchase(problem, offers, terms, Effort.QUICK)
    assert verify_purchase(problem, offers, terms, bought) == []
    assert bought.lines
    offer, packs = bought.lines[0]
    more = replace(
        bought, lines=((bought.lines[0]._replace(quantity=packs + 1)), *bought.lines[1:])
    )
    assert any(
        "cut from other sheets" in fault for fault in verify_purchase(problem, offers, terms, more)
    )
    free = replace(bought, shipping=dict.fromkeys(bought.shipping, Fraction(99)))
    assert any("shipping" in fault for fault in verify_purchase(problem, offers, terms, free))
    above = replace(bought, lower_bound=bought.cost + 1)
    assert any("bound" in fault for fault in verify_purchase(problem, offers, terms, above))
    other = tuple(o for o in offers if o != offer)
    assert any("nobody offers" in fault for fault in verify_purchase(problem, other, terms, bought))
