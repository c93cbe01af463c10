"""Offers in the words of the optimizer: from the price book, or as given on the command line."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import timedelta
from fractions import Fraction
from typing import TYPE_CHECKING

from inventory.core.money import parse_money
from inventory.core.text import shorten, whole_number
from nester.core.errors import Refusal
from nester.core.lengths import Unit, area_m2, format_size
from nester.core.purchase import Offer, SupplierTerms
from nester.core.sheet_sizes import parse_size

if TYPE_CHECKING:
    from datetime import date

    from sqlalchemy.orm import Session

    from inventory.purchasing.prices import ListedPack

__all__ = ["listed_offers", "offers_in_time", "read_offers", "supplier_terms_for"]

_OFFER = re.compile(
    r"(?:(?P<paper>[^:=]+):)?(?P<size>[^=]+?)"
    r"(?:=(?P<price>[^/]+)(?:/(?P<pack>.+))?|\s+by\s+(?P<unpriced_pack>[^=]+))?"
)


def read_offers(
    texts: Sequence[str], papers: Sequence[str], unit: Unit
) -> tuple[tuple[Offer, ...], bool]:
    """Read which sheets there are: ``50x70cm=1.20``, ``A4=3.50/20``, ``night card:50x70cm=1.20``.

    Without prices, ``50x70cm`` or ``A4 by 20`` for a pack of 20: then a sheet costs its area in
    square metres.

    Parameters
    ----------
    texts
        A size and the price of a sheet, or of a pack with the sheets in it behind a stroke;
        before it, a paper, if it is not for all.
    papers
        The papers that are asked for.
    unit
        The unit of bare numbers.

    Returns
    -------
    tuple of Offer
        The offers.
    bool
        Whether they have prices.

    Raises
    ------
    Refusal
        One sentence: what can't be read, which paper is not asked for, or that only some sheets
        have prices.
    """
    priced: set[bool] = set()
    offers: dict[str, Offer] = {}
    for text in texts:
        read = _OFFER.fullmatch(text.strip())
        if read is None:
            raise Refusal(
                f"the sheet '{shorten(text)}': write a sheet and its price, such as 50x70cm=1.20,"
                " or only 50x70cm"
            )
        size = parse_size(read["size"], unit)
        if min(size) <= 0:
            raise Refusal(f"the sheet '{shorten(text)}': a sheet's sides must be more than zero")
        pack = _pack(read["pack"] or read["unpriced_pack"], text)
        price = area_m2(size.width * size.height) * pack
        if read["price"] is not None:
            price = Fraction(parse_money(read["price"], f"the sheet '{shorten(text)}': the price"))
        priced.add(read["price"] is not None)
        named = (read["paper"] or "").strip()
        if named and named not in papers:
            raise Refusal(
                f"the sheet '{shorten(text)}': nothing is cut from '{shorten(named)}'; it is"
                f" cut from {', '.join(papers)}"
            )
        for paper in [named] if named else papers:
            packs = f", {pack} a pack" if pack > 1 else ""
            name = f"{paper} {format_size(*size, unit)}{packs}"
            if name in offers:
                raise Refusal(f"{name} is offered twice")
            offers[name] = Offer(name, "", paper, *size, pack, price)
    if len(priced) > 1:
        raise Refusal("some sheets have a price and some have none; give all of them one, or none")
    return tuple(offers.values()), True in priced


def _pack(text: str | None, sheet_text: str) -> int:
    if text is None:
        return 1
    if not re.fullmatch(r"\s*[0-9]{1,7}\s*", text):
        raise Refusal(
            f"the sheet '{shorten(sheet_text)}':"
            f" '{shorten(text)}' is not a number of sheets in a pack"
        )
    return whole_number(
        int(text), f"the sheet '{shorten(sheet_text)}': the sheets in a pack", least=1
    )


def listed_offers(listed: Iterable[ListedPack], unit: Unit) -> dict[str, tuple[Offer, ListedPack]]:
    """Return offers of the price book by the names under which the optimizer knows them."""
    named: dict[str, tuple[Offer, ListedPack]] = {}
    for pack in listed:
        from_packs = f", from {pack.least} packs" if pack.least > 1 else ""
        size = format_size(pack.width, pack.height, unit)
        name = f"{pack.supplier}: {pack.paper} {size}, {pack.pack} a pack{from_packs}"
        while name in named:  # as may be where names of suppliers and papers have colons
            name += " "
        offer = Offer(
            name,
            pack.supplier,
            pack.paper,
            pack.width,
            pack.height,
            pack.pack,
            Fraction(pack.price),
            pack.least,
            pack.margins,
            pack.grain,
        )
        named[name] = offer, pack
    return named


def offers_in_time(
    listed: Iterable[ListedPack],
    needed: Mapping[str, date],
    *,
    today: date,
    strict: bool = False,
) -> list[ListedPack]:
    """Return the offers that come in time; of a paper of which none does, those that come first.

    Parameters
    ----------
    needed
        By paper, the day on which it must be there; of a paper that no order waits for, any offer
        will do.
    strict
        Leave a paper out of which no offer comes in time.
    """
    by_paper: dict[str, list[ListedPack]] = {}
    for pack in listed:
        by_paper.setdefault(pack.paper, []).append(pack)
    chosen: list[ListedPack] = []
    for paper, packs in by_paper.items():
        until = needed.get(paper)
        in_time = [
            pack for pack in packs if until is None or today + timedelta(pack.lead_days) <= until
        ]
        if not in_time and not strict:
            soonest = min(pack.lead_days for pack in packs)
            in_time = [pack for pack in packs if pack.lead_days == soonest]
        chosen += in_time
    return chosen


def supplier_terms_for(
    session: Session, suppliers: Iterable[str], today: date
) -> tuple[SupplierTerms, ...]:
    """Return on what terms suppliers deliver, in the shop's currency."""
    from inventory.purchasing.suppliers import supplier_terms

    return tuple(
        SupplierTerms(
            supplier.supplier,
            Fraction(supplier.shipping),
            None if supplier.free_from is None else Fraction(supplier.free_from),
            Fraction(supplier.least_order),
        )
        for supplier in supplier_terms(session, list(dict.fromkeys(suppliers)), today=today)
    )
