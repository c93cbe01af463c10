"""`quirebox estimate`: what to buy for a box, and what its paper costs, with no stash at all."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

import typer

from inventory.cli.shared.design_options import (
    NameArgument,
    SizesArgument,
    UnitOption,
    design_named,
    session_if_any,
    sheetstock,
    unit_of,
)
from inventory.cli.shared.options import (
    CutsOption,
    EffortOption,
    GapOption,
    JsonFlag,
    SecondsOption,
    StagesOption,
    StripOption,
    TrimmerOption,
    changed_trimmer,
    pairs,
)
from nester.core.problem import Cuts, Effort

if TYPE_CHECKING:
    from fractions import Fraction

    from sqlalchemy.orm import Session

    from nester.core.lengths import Unit
    from nester.core.problem import Demand
    from nester.core.purchase import Offer, SupplierTerms
    from nester.designs.demand import CuttingRules
    from nester.studies.estimate import Estimate

__all__ = ["estimate"]

_DEFAULT_QUANTITIES = (1, 10, 50)
"""Numbers of boxes that are always told."""
_PIECES_LEFT_OVER = 3
_SHARED_PAPER = "paper"


def estimate(
    context: typer.Context,
    name: NameArgument,
    sizes: SizesArgument = None,
    quantity: Annotated[
        int | None,
        typer.Option(
            "--quantity", metavar="N", min=1, max=1000, help="For so many, beside 1, 10 and 50."
        ),
    ] = None,
    paper: Annotated[
        list[str] | None,
        typer.Option(
            "--paper",
            metavar="PART=PAPER",
            help="A paper for a part or for 'all'; again for each. Of the shop's papers the price"
            " lists are used; with --on any name or weight will do.",
        ),
    ] = None,
    on: Annotated[
        list[str] | None,
        typer.Option(
            "--on",
            metavar="SHEET=PRICE",
            help="A sheet's size and price: 50x70cm=1.20; of a pack of 20: A4=3.50/20; of one"
            " paper only: 'night card:50x70cm=1.20'. Again for each.",
        ),
    ] = None,
    unit: UnitOption = None,
    cuts: CutsOption = Cuts.STRAIGHT,
    effort: EffortOption = Effort.QUICK,
    seconds: SecondsOption = None,
    gap: GapOption = None,
    trimmer: TrimmerOption = None,
    smallest_strip: StripOption = None,
    stages: StagesOption = None,
    drawings: Annotated[
        Path | None,
        typer.Option(
            "--drawings",
            metavar="FOLDER",
            help="Draw each layout for N boxes (else for one) into this folder; pictures that an"
            " earlier command drew there are removed.",
        ),
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """Tell what must be bought for a design if nothing is on hand, and what each box costs.

    Only paper is counted, with shipping; whole packs are bought, so one box alone is dear.  Where
    there is a shop, its gap between pieces, its trimmer and its grain rule hold, unless told here.

    \b
    Examples:
      quirebox estimate layered-box panel=18cm tiers=4 --on 50x70cm=1.20
      quirebox estimate gift-tag --quantity 200 --on A4=3.50/20 --json
    """
    from dataclasses import replace

    from inventory.cli.shared.options import stopping
    from inventory.cli.shared.terminal import console, print_json, searching
    from inventory.stock.condition import read_distance
    from nester.packing import (
        usable_cores,
    )
    from nester.studies.estimate import estimate as work_out

    with session_if_any(context) as session:
        used = unit_of(session, unit)
        asked = _read_request(session, name, sizes, paper, on, cuts, used)
        currency = _currency(session)
    rules = replace(
        asked.rules,
        gap=asked.rules.gap if gap is None else read_distance(gap, used, "the gap between pieces"),
        trimmer=changed_trimmer(asked.rules.trimmer, used, trimmer, smallest_strip, stages),
    )
    wanted = sorted({*_DEFAULT_QUANTITIES, *(() if quantity is None else (quantity,))})
    with stopping(seconds) as stop, searching("Estimating", _plain) as tell:
        found = work_out(
            asked.wants,
            wanted,
            asked.offers,
            asked.terms,
            rules,
            effort=effort,
            processes=usable_cores(),
            stop=stop,
            on_progress=tell,
        )
    shown = next(one for one in found if one.quantity == (quantity or 1))
    if drawings is not None:
        _draw(shown, used, drawings)
    if as_json:
        print_json(_as_json(name, currency, found))
    else:
        console().print(_report(found, currency, used))
        if on:
            typer.echo("Prices as told; shipping is not counted.")
    if shown.purchase_plan.cutting_plan.unplaced:
        raise typer.Exit(_PIECES_LEFT_OVER)


class _EstimateRequest(NamedTuple):
    """What is to be made, by which rules, and what can be bought for it."""

    wants: tuple[Demand, ...]
    rules: CuttingRules
    offers: tuple[Offer, ...]
    terms: tuple[SupplierTerms, ...]


def _read_request(
    session: Session | None,
    name: str,
    sizes: list[str] | None,
    paper: list[str] | None,
    on: list[str] | None,
    cuts: Cuts,
    unit: Unit,
) -> _EstimateRequest:
    from datetime import date

    from inventory.core.text import fold
    from inventory.production.cutting_rules import shop_rules
    from inventory.purchasing.optimizer_offers import listed_offers, read_offers, supplier_terms_for
    from inventory.stock.papers import list_papers
    from nester.core.errors import Refusal
    from nester.designs import (
        check_roles,
    )
    from nester.designs.base.datasheet import make_datasheet
    from nester.designs.demand import CuttingRules, demands_by_paper

    design = design_named(session, name)
    papers = pairs(paper or [], "--paper")
    check_roles(design, papers)
    if on:
        known = {role: text for role, text in papers.items() if _is_known(session, text)}
    else:
        known = papers
    made = make_datasheet(design, pairs(sizes or [], "setting"), sheetstock(session, known), unit)
    rules = CuttingRules(cuts)
    if session is not None:
        rules = shop_rules(session, cuts)
        names = {one.name_key: one.name for one in list_papers(session)}
        papers = {role: names.get(fold(text), text) for role, text in papers.items()}
    of_paper = demands_by_paper(made.pieces, 1, {"all": _SHARED_PAPER, **papers}, rules)
    wants = tuple(want for its in of_paper.values() for want in its)
    used = list(of_paper)
    if on:
        return _EstimateRequest(wants, rules, read_offers(on, used, unit), ())
    if session is None:
        raise Refusal(
            "there is no shop with price lists; tell what a sheet costs: --on 50x70cm=1.20"
        )
    if _SHARED_PAPER in used:
        raise Refusal(
            'say of which papers it is made, such as --paper all="NAME"; or what a sheet costs:'
            " --on 50x70cm=1.20"
        )
    from inventory.purchasing.prices import current_offers

    today = date.today()
    listed = listed_offers(current_offers(session, used, today=today), unit)
    lacking = [one for one in used if one not in {offer.paper for offer, _ in listed.values()}]
    if lacking:
        raise Refusal(
            f"no price list of today has {lacking[0]}; tell what a sheet costs:"
            f" --on '{lacking[0]}:50x70cm=1.20'"
        )
    told = tuple(offer for offer, _ in listed.values())
    return _EstimateRequest(
        wants, rules, told, supplier_terms_for(session, (one.supplier for one in told), today)
    )


def _is_known(session: Session | None, text: str) -> bool:
    """Tell whether a paper's weight is known: it is one, or a paper of the shop's."""
    from inventory.core.text import fold
    from inventory.stock.papers import list_papers

    if text.isascii() and text.isdigit():
        return True
    return session is not None and fold(text) in {one.name_key for one in list_papers(session)}


def _currency(session: Session | None) -> str:
    from inventory.shop.settings import get_shop

    return "" if session is None else str(get_shop(session).currency)


def _money(value: Fraction, currency: str) -> str:
    from inventory.core.money import format_money

    return format_money(value, currency) if currency else _plain(value)


def _plain(value: Fraction) -> str:
    return f"{float(value):,.2f}"


def _report(found: list[Estimate], currency: str, unit: Unit) -> object:
    from rich.console import Group
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table
    from nester.core.lengths import format_size

    right = frozenset({"Boxes", "Sheets", "Packs", "Used", "Paid", "Shipping", "Each"})
    costs = table("What it costs", "Boxes", "Paid", "Shipping", "Each", "Proven", right=right)
    for one in found:
        bought = one.purchase_plan
        shipping = bought.cost - bought.goods_cost
        costs.add_row(
            str(one.quantity),
            _money(bought.cost, currency),
            _money(shipping, currency) if shipping else "",
            _money(one.cost_per_box, currency),
            _proof(one, currency),
        )
    buying = table("What to buy", "Boxes", "Packs", "Sheets", "Used", "Sheet", right=right)
    for one in found:
        used = _used(one)
        for offer, packs in one.purchase_plan.lines:
            size = format_size(offer.width, offer.height, unit)
            words = f"{offer.paper} {size}"
            if offer.pack_size > 1:
                words += f", {offer.pack_size} a pack"
            if offer.supplier:
                words += f", {offer.supplier}"
            buying.add_row(
                str(one.quantity),
                str(packs),
                str(packs * offer.pack_size),
                str(used.get(offer.name, 0)),
                Text(words),
            )
    parts: list[object] = [costs, buying]
    last = found[0].purchase_plan.cutting_plan
    if last.unplaced:
        unplaced = table("Not placed", "Piece", "Why")
        for left in last.unplaced:
            unplaced.add_row(Text(left.name), Text(left.why))
        parts.append(unplaced)
        parts.append(Text("Costs are without the pieces that are not placed."))
    if any(one.purchase_plan.interrupted for one in found):
        parts.append(Text("The search was stopped early; this is the best it had found."))
    return Group(*parts)  # type: ignore[arg-type]


def _proof(one: Estimate, currency: str) -> str:
    bought = one.purchase_plan
    if bought.lower_bound == bought.cost:
        return "none is cheaper"
    return f"not below {_money(bought.lower_bound, currency)}"


def _used(one: Estimate) -> dict[str, int]:
    used: dict[str, int] = {}
    for layout in one.purchase_plan.cutting_plan.layouts:
        used[layout.stock] = used.get(layout.stock, 0) + layout.copies
    return used


def _as_json(name: str, currency: str, found: list[Estimate]) -> dict[str, Any]:
    from inventory.views.cutting import answer_as_json

    return {
        "design": name,
        "currency": currency or None,
        "estimates": [
            {
                "quantity": one.quantity,
                "each": float(one.cost_per_box),
                **_purchase_as_json(one),
                "cutting": answer_as_json(
                    one.purchase_plan.problem, one.purchase_plan.cutting_plan
                ),
            }
            for one in found
        ],
    }


def _purchase_as_json(one: Estimate) -> dict[str, Any]:
    from nester.core.lengths import to_mm_number

    used = _used(one)
    return {
        "cost": float(one.purchase_plan.cost),
        "bound": float(one.purchase_plan.lower_bound),
        "gap": float(one.purchase_plan.optimality_gap),
        "shipping": float(one.purchase_plan.cost - one.purchase_plan.goods_cost),
        "buy": [
            {
                "supplier": offer.supplier or None,
                "paper": offer.paper,
                "width": to_mm_number(offer.width),
                "height": to_mm_number(offer.height),
                "pack": offer.pack_size,
                "packs": packs,
                "price": float(offer.pack_price),
                "sheets": packs * offer.pack_size,
                "used": used.get(offer.name, 0),
            }
            for offer, packs in one.purchase_plan.lines
        ],
    }


def _draw(one: Estimate, unit: Unit, folder: Path) -> None:
    from inventory.cli.fit import draw_answer

    draw_answer(one.purchase_plan.problem, one.purchase_plan.cutting_plan, unit, folder)
