"""Buying together with cutting: what it keeps to beyond being cheapest."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from importlib import import_module

import pytest

from nester.core.errors import Refusal
from nester.core.lengths import cm
from nester.core.piece import Turn
from nester.core.problem import Cuts, Demand, Effort, Margins, Problem, Rect, StockItem, Trimmer
from nester.core.purchase import Offer, SupplierTerms
from nester.packing import Progress, never, purchase
from nester.packing.bounds.guillotine_pricing import GuillotinePricing
from nester.packing.purchase import sufficiency
from nester.packing.purchase.feasibility_cuts import FeasibilityCutSeparator
from nester.packing.purchase.market import Market
from nester.packing.task.task import tasks_by_paper
from nester.verify import require_valid_purchase
from tests.benchmarks.purchases import on_hand, price_lists
from tests.benchmarks.weeks import make_week

purchases = import_module("nester.packing.purchase.purchase")
"""The module, whose name in its package is the function's."""


def offer(name: str, width: int, height: int, price: str, pack: int = 1, **others) -> Offer:
    supplier = others.pop("supplier", "mill")
    return Offer(name, supplier, "", cm(width), cm(height), pack, Fraction(price), **others)


def squares(number: int, side: int = 30) -> Problem:
    return Problem((Demand("square", cm(side), cm(side), number),), ())


def test_a_dearer_large_sheet_wins_where_it_saves_two_small_ones() -> None:
    offers = (offer("small", 50, 70, "1.90"), offer("large", 70, 100, "3.10"))
    bought = purchase(squares(4), offers, effort=Effort.QUICK)
    require_valid_purchase(squares(4), offers, (), bought)
    assert [(one.offer.name, one.quantity) for one in bought.lines] == [("large", 1)]
    assert bought.cost == bought.lower_bound == Fraction("3.10")


@pytest.mark.parametrize("cuts", list(Cuts))
def test_a_stop_at_the_very_start_leaves_a_sound_purchase(cuts: Cuts) -> None:
    problem = on_hand(make_week(1, 5, cuts).problem)
    offers, terms = price_lists(1)
    bought = purchase(problem, offers, terms, stop=lambda: True)
    require_valid_purchase(problem, offers, terms, bought)
    assert bought.interrupted
    assert not bought.cutting_plan.unplaced


def test_equal_input_has_an_equal_purchase() -> None:
    problem = on_hand(make_week(2, 2, Cuts.STRAIGHT).problem)
    offers, terms = price_lists(2, suppliers=2)
    one, other = (purchase(problem, offers, terms, Effort.QUICK) for _ in range(2))
    assert one == other


def test_more_is_bought_to_be_sent_for_nothing() -> None:
    offers = (offer("sheet", 50, 70, "4"),)
    terms = (SupplierTerms("mill", Fraction(5), Fraction(12)),)
    bought = purchase(squares(4), offers, terms, Effort.QUICK)
    require_valid_purchase(squares(4), offers, terms, bought)
    assert (bought.cost, bought.lower_bound) == (Fraction(12), Fraction(12))
    assert bought.unused_sheets() == {"sheet": 1}


def test_sheets_beside_those_that_are_cut() -> None:
    offers = (offer("sheet", 50, 70, "4", 2),)
    bought = purchase(squares(2), offers, (), Effort.QUICK, extra_sheets={"sheet": 2})
    assert bought.cost == bought.lower_bound == Fraction(8)
    assert bought.unused_sheets() == {"sheet": 3}
    alone = purchase(squares(0), offers, (), Effort.QUICK, extra_sheets={"sheet": 3})
    assert (alone.cost, alone.unused_sheets()) == (Fraction(8), {"sheet": 4})


def test_what_fits_only_what_lies_there_comes_from_it() -> None:
    stock = (StockItem("long", cm(120), cm(20), 2, Fraction(3)),)
    wants = (
        Demand("strip", cm(110), cm(15), 3, turn=Turn.NONE),
        Demand("square", cm(30), cm(30), 1),
    )
    problem = Problem(wants, stock)
    offers = (offer("sheet", 50, 70, "4"),)
    bought = purchase(problem, offers, (), Effort.QUICK)
    require_valid_purchase(problem, offers, (), bought)
    assert [(one.name, one.quantity) for one in bought.cutting_plan.unplaced] == [("strip", 1)]
    assert bought.cost == bought.lower_bound == Fraction(4)


def week_of_three() -> Problem:
    return on_hand(make_week(3, 3, Cuts.STRAIGHT).problem)


SHORT = purchases._EffortBudget(
    enumeration=100,
    rounds=2
    * (
        purchases._Round(
            pattern_search=40_000,
            estimating=40_000,
            supplier_sets=2,
            plan_search=100_000,
            per_proposal=4_000,
            bounding=200_000,
            bounded_sets=3,
        ),
    ),
    min_parallel_pieces=100,
    mip_nodes=100,
    cutting_time=0.05,
)


def test_the_purchase_does_not_depend_on_how_many_processes_there_are(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(purchases, "_BUDGETS", {Effort.NORMAL: SHORT})
    problem = week_of_three()
    offers, terms = price_lists(3, suppliers=3)
    told: dict[int, list[Progress]] = {1: [], 2: []}
    one, other = (
        purchase(problem, offers, terms, processes=number, on_progress=told[number].append)
        for number in told
    )
    require_valid_purchase(problem, offers, terms, one)
    assert one == other
    assert told[1] == told[2]
    assert 0 < one.lower_bound <= one.cost
    for counted in ("hoped", "supposed", "proposed", "found", "refuted", "bounded"):
        assert one.statistics[counted] > 0


@pytest.mark.parametrize("told", [2, 3])
def test_what_several_processes_found_until_a_stop_is_kept(told: int) -> None:
    problem = week_of_three()
    offers, terms = price_lists(3, suppliers=3)
    begun: list[Progress] = []
    bought = purchase(
        problem,
        offers,
        terms,
        processes=2,
        stop=lambda: len(begun) >= told,
        on_progress=begun.append,
    )
    require_valid_purchase(problem, offers, terms, bought)
    assert bought.interrupted
    assert bought.cost <= begun[-1].cost
    assert bought.lower_bound > 0


def test_a_sheet_seems_dear_where_a_pack_holds_far_more_than_is_wanted() -> None:
    offers = (
        offer("hundred", 50, 70, "100", 100),
        offer("one", 50, 70, "3"),
        offer("pairs", 50, 70, "4.40", 2, min_packs=3),
    )
    market = Market(offers, ())
    sheet = cm(50) * cm(70)
    assert market.stock_at_estimated_price(0, sheet * 10).price == Fraction("2.2")
    assert market.stock_at_estimated_price(0, sheet * 9 + 1).price == Fraction("2.2")
    assert market.stock_at_estimated_price(0, sheet * 2).price == 3
    assert market.stock_at_estimated_price(0, sheet * 50).price == 2
    assert market.stock_at_estimated_price(0, 0).price == 3


def test_shipping_is_taken_to_be_free_as_often_as_the_goods_allow() -> None:
    terms = (
        SupplierTerms("never", Fraction(2)),
        SupplierTerms("soon", Fraction(5), Fraction(50)),
        SupplierTerms("late", Fraction(6), Fraction(100)),
    )
    market = Market((offer("sheet", 50, 70, "1", supplier="soon"),), terms)
    whole = market.to_price_units
    everyone = frozenset({"never", "soon", "late"})
    for goods, paid in ((20, 13), (60, 8), (149, 8), (150, 2)):
        assert market.estimate_shipping(everyone, whole(Fraction(goods))) == whole(Fraction(paid))


def test_what_is_lacking_is_told_by_an_inequality() -> None:
    """Two squares lie on a sheet, so three sheets lack one for seven."""
    problem = replace(squares(7), stock=(StockItem("sheet", cm(50), cm(70), None, Fraction(2)),))
    ((task,), _) = tasks_by_paper(problem)
    shortage = FeasibilityCutSeparator(task, GuillotinePricing(task), [2])
    found = shortage.separate([3], 100_000, never)
    assert found is not None
    assert found.total_capacity([3]) < found.total_weight([7])
    assert found.total_capacity([3]) >= found.total_weight([6])
    assert found.total_capacity([4]) >= found.total_weight([7])
    assert shortage.separate([4], 100_000, never) is None
    # Half a sheet would do beside three, but there are only whole ones.
    assert shortage.separate([3], 0, never) is None


@pytest.fixture
def no_recreation(monkeypatch: pytest.MonkeyPatch) -> None:
    class Never:
        def __init__(self, *_: object) -> None:
            pass

        def plans(self, *_: object) -> None:
            pytest.fail("a plan was worked over")

    monkeypatch.setattr(sufficiency, "RuinAndRecreate", Never)


@pytest.mark.usefixtures("no_recreation")  # it does not know the rule
def test_a_trimmer_of_one_stage_leaves_out_what_it_cannot_free() -> None:
    wants = (Demand("square", cm(30), cm(30), 8), Demand("strip", cm(20), cm(50), 5))
    problem = Problem(wants, (), trimmer=Trimmer(stages=1))
    offers = (offer("small", 50, 70, "1.90"), offer("large", 70, 100, "3.10"))
    bought = purchase(problem, offers, (), Effort.QUICK)
    require_valid_purchase(problem, offers, (), bought)
    # Three strips, as long as the small sheet is wide, lie on it side by side.
    assert [(one.offer.name, one.quantity) for one in bought.lines] == [("small", 2)]
    (unplaced,) = bought.cutting_plan.unplaced
    assert (unplaced.name, unplaced.quantity) == ("square", 8)
    assert "one stage of cuts frees it from no sheet" in unplaced.why


RATE = Fraction("1.173849")
"""So odd that prices times it are no whole numbers of what programmes reckon in."""


def test_goods_that_reach_a_sum_to_the_last_digit_are_sent_for_nothing() -> None:
    """A sheet of each of three papers, from abroad, or a fifth dearer from nearby."""
    price, papers = Fraction("13.34") * RATE, ("blue", "red", "green")
    offers = [
        Offer(f"{name} {paper}", name, paper, cm(50), cm(70), 1, asked)
        for paper in papers
        for name, asked in (("abroad", price), ("nearby", price * Fraction(6, 5)))
    ]
    problem = Problem(tuple(Demand(paper, cm(30), cm(30), 2, paper) for paper in papers), ())
    terms = (SupplierTerms("abroad", price, 3 * price),)
    bought = purchase(problem, offers, terms, Effort.QUICK)
    require_valid_purchase(problem, offers, terms, bought)
    assert bought.cost == 3 * price


def test_goods_that_miss_the_least_order_by_the_last_digit_are_not_bought() -> None:
    price = Fraction("13.34") * RATE
    offers = (
        Offer("sheet", "mill", "", cm(50), cm(70), 1, price),
        Offer("larger", "shop", "", cm(60), cm(70), 1, (3 * price + 4 * RATE) / 2),
    )
    terms = (SupplierTerms("mill", min_order_value=3 * price + Fraction(1, 10**10)),)
    bought = purchase(squares(6), offers, terms, Effort.QUICK)
    require_valid_purchase(squares(6), offers, terms, bought)
    assert not bought.cutting_plan.unplaced


def test_what_is_bought_of_a_settled_paper_is_enough_for_a_known_plan() -> None:
    """The first plan takes two small sheets; what is kept of a choice takes the large one."""
    offers = (offer("small", 50, 70, "1.90"), offer("large", 70, 100, "3.10"))
    market = Market(offers, ())
    stock = tuple(size.stock for size in market.sizes)
    whole = replace(squares(3), stock=stock)
    search = purchases._PurchaseSearch(
        squares(3), whole, market, purchases._BUDGETS[Effort.QUICK], {}, never, lambda _: None
    )
    (paper,) = search._papers
    assert list(paper.knowledge.sufficient_sheets) == [(2, 0)]
    bought = search.solve(1)
    require_valid_purchase(squares(3), offers, (), bought)
    assert [(one.offer.name, one.quantity) for one in bought.lines] == [("large", 1)]


@pytest.mark.usefixtures("no_recreation")
def test_layouts_of_very_many_pieces_are_not_worked_over() -> None:
    problem = Problem((Demand("dot", cm(1), cm(1), 50_100),), ())
    offers = (offer("wall", 230, 218, "9"),)
    bought = purchase(problem, offers, (), Effort.QUICK)
    assert not bought.cutting_plan.unplaced
    assert bought.cost == Fraction(9)


def test_sheets_that_cost_nothing_but_shipping_are_weighed_against_others(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The paper is worked on as if it were too large to be settled."""
    monkeypatch.setattr(purchases, "_BUDGETS", {Effort.NORMAL: replace(SHORT, enumeration=0)})
    wants = (Demand("a", 14, 19, 8, turn=Turn.NONE), Demand("b", 18, 5, 13))
    problem = Problem(wants, (StockItem("lying", 17, 15, 30, Fraction(4)),), smallest_offcut=1)
    offers = (
        Offer("free", "north", "", 18, 25, 25, Fraction(0)),
        Offer("dear", "south", "", 24, 23, 1, Fraction("0.85")),
    )
    bought = purchase(problem, offers, (SupplierTerms("north", Fraction(23, 2)),))
    require_valid_purchase(problem, offers, (SupplierTerms("north", Fraction(23, 2)),), bought)
    assert not bought.cutting_plan.unplaced
    assert bought.lower_bound <= bought.cost <= Fraction("6.8")


def test_what_no_cut_frees_from_a_spoiled_sheet_is_left_unmade() -> None:
    stock = (StockItem("spoiled", 9, 5, 1, Fraction(1), damaged=(Rect(0, 0, 1, 1),)),)
    wants = (Demand("w", 9, 3, 1, turn=Turn.NONE), Demand("v", 9, 4, 1, turn=Turn.NONE))
    problem = Problem(wants, stock, trimmer=Trimmer(stages=1), smallest_offcut=1)
    bought = purchase(problem, (), (), Effort.QUICK)
    assert bought.cost == 0
    assert len(bought.cutting_plan.unplaced) >= 1


def test_a_margin_that_has_to_be_cut_off_is_a_stage() -> None:
    trimmer = Trimmer(stages=1)
    problem = Problem((Demand("a", 9, 5, 3),), (), trimmer=trimmer, smallest_offcut=1)

    def with_margins(margins: Margins) -> tuple[Offer, ...]:
        return (Offer("o", "mill", "", 10, 20, 1, Fraction(3), margins=margins),)

    unmade = purchase(problem, with_margins(Margins(left=1)), (), Effort.QUICK)
    assert [(one.name, one.quantity) for one in unmade.cutting_plan.unplaced] == [("a", 3)]
    assert "one stage of cuts frees it from no sheet" in unmade.cutting_plan.unplaced[0].why
    problem = replace(problem, demands=(Demand("a", 10, 5, 3),))
    made = purchase(problem, with_margins(Margins(top=1)), (), Effort.QUICK)
    require_valid_purchase(problem, with_margins(Margins(top=1)), (), made)
    assert not made.cutting_plan.unplaced


@pytest.mark.parametrize("paper", [f"paper {number}" for number in range(8)])
def test_the_one_sheet_of_many_that_frees_a_piece_is_found(paper: str) -> None:
    offers = tuple(
        Offer(f"o{n}", "mill", paper, cm(40 + n), cm(80 + n), 1, Fraction(3)) for n in range(10)
    )
    problem = Problem((Demand("strip", cm(10), cm(44), 5, paper),), (), trimmer=Trimmer(stages=1))
    bought = purchase(problem, offers, (), Effort.QUICK)
    require_valid_purchase(problem, offers, (), bought)
    assert not bought.cutting_plan.unplaced


def test_sheets_for_nothing_do_not_reach_a_least_order() -> None:
    offers = (
        offer("gift", 50, 70, "0", supplier="north"),
        offer("sheet", 50, 70, "5", supplier="south"),
    )
    terms = (SupplierTerms("north", min_order_value=Fraction(10)),)
    bought = purchase(squares(4), offers, terms, Effort.QUICK)
    require_valid_purchase(squares(4), offers, terms, bought)
    assert (bought.cost, bought.lower_bound) == (Fraction(10), Fraction(10))
    with pytest.raises(Refusal, match="least order"):
        purchase(squares(4), offers[:1], terms, Effort.QUICK)


def test_a_million_pieces_are_bought_for_in_reasonable_time() -> None:
    """Of so many packs the solver holds to inequalities only almost."""
    problem = Problem((Demand("a", cm(30), cm(60), 1_000_000),), ())
    offers = (offer("small", 50, 70, "3"), offer("large", 70, 100, "5.70", 10))
    bought = purchase(problem, offers, (), Effort.QUICK)
    assert not bought.cutting_plan.unplaced
    assert bought.lower_bound > bought.cost * Fraction(9, 10)


def test_names_and_numbers_without_meaning_are_refused() -> None:
    one = offer("sheet", 50, 70, "4")
    with pytest.raises(Refusal, match="'sheet' is the name of an offer"):
        purchase(squares(1), (one, replace(one, supplier="other")))
    lying = replace(squares(1), stock=(StockItem("sheet", cm(50), cm(70), 1, Fraction(1)),))
    with pytest.raises(Refusal, match="'sheet' is the name of an offer"):
        purchase(lying, (one,))
    with pytest.raises(Refusal, match="offer 'other' are asked for, which there is not"):
        purchase(squares(1), (one,), extra_sheets={"other": 1})
    with pytest.raises(Refusal, match="-1 sheets"):
        purchase(squares(1), (one,), extra_sheets={"sheet": -1})


@pytest.mark.parametrize(
    ("bad", "why"),
    [
        (offer("a", 50, 70, "4", 0), "packs of 0 sheets"),
        (offer("a", 50, 70, "-4"), "the price of offer 'a'"),
        (offer("a", 50, 70, "4", min_packs=0), "asks for 0 packs"),
        (offer("a", 0, 70, "4"), "a side that is not longer than nothing"),
    ],
)
def test_offers_without_meaning_are_refused(bad: Offer, why: str) -> None:
    with pytest.raises(Refusal, match=why):
        purchase(squares(1), (bad,))


def test_terms_without_meaning_are_refused() -> None:
    offers = (offer("a", 50, 70, "4"),)
    with pytest.raises(Refusal, match="2 terms"):
        purchase(squares(1), offers, (SupplierTerms("mill"), SupplierTerms("mill")))
    with pytest.raises(Refusal, match="less than nothing"):
        purchase(squares(1), offers, (SupplierTerms("mill", Fraction(-1)),))


def test_no_pack_is_bought_of_which_no_sheet_is_used() -> None:
    """Where the last cutting needs fewer sheets than were bought, packs are left out again."""
    for seed in range(12):
        dice = random.Random(seed)
        demands = tuple(
            Demand(f"piece {number}", cm(dice.randint(6, 26)), cm(dice.randint(6, 26)),
                   dice.randint(5, 30), "card")
            for number in range(5)
        )  # fmt: skip
        offers = (
            Offer("single", "", "card", cm(50), cm(70), 1, Fraction(12, 10)),
            Offer("pack", "", "card", cm(50), cm(70), 4, Fraction(44, 10)),
        )
        bought = purchase(Problem(demands, ()), offers, (), Effort.QUICK, processes=1)
        used = sum(layout.copies for layout in bought.cutting_plan.layouts)
        idle = sum(line.sheets for line in bought.lines) - used
        assert 0 <= idle < min(line.offer.pack_size for line in bought.lines)
