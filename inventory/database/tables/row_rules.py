"""What each column may hold, beyond what the database itself holds to.

Commands read and check what a maker writes by the same functions and limits; here they stand table
by table, so that nothing else is ever stored (`check_objects`), imported or passed by a check.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING, Any

from sqlalchemy import inspect

from inventory.core.limits import (
    HEAVIEST,
    LARGEST_PRINT,
    LONGEST_ASSEMBLY,
    LONGEST_REEL,
    MAX_CALIPER,
    MAX_GRAMMAGE,
    MAX_LEAD_DAYS,
    MAX_PRICE_SHARE,
    MIN_CALIPER,
    MOST_PARTS,
    MOST_STAGES,
)
from inventory.core.money import check_amount, check_currency, check_rate
from inventory.core.text import LARGEST_NUMBER, clean_name, clean_note, shorten, whole_number
from inventory.database.tables.enums import Grain, Pattern
from nester.core.errors import Refusal
from nester.core.lengths import MAX_LENGTH

if TYPE_CHECKING:
    from sqlalchemy.orm import ORMExecuteState, Session

__all__ = ["ROW_RULES", "check_objects", "check_rows", "row_faults"]

Rule = Callable[[Any], object]
"""Raises a `Refusal` whose sentence stands behind the name of the column."""


def _unchanged(clean: Callable[[str], str]) -> Rule:
    """Return the rule that a text is as it is when it was read and cleaned."""

    def rule(text: str) -> None:
        if clean(text) != text:
            raise Refusal(f"'{shorten(text)}' is not written as it is kept")

    return rule


def _number(least: int, most: int) -> Rule:
    return lambda value: whole_number(value, "it", least=least, most=most)


def _decimal(most: Decimal | int, *, decimals: int = 20) -> Rule:
    def rule(value: Decimal) -> None:
        exponent = value.normalize().as_tuple().exponent
        if not isinstance(exponent, int) or not 0 <= value <= most or -exponent > decimals:
            raise Refusal(f"it must be 0 to {most:,}, not {shorten(str(value))}")

    return rule


def _positive(value: Decimal) -> None:
    if value <= 0:
        raise Refusal(f"it must be more than 0, not {shorten(str(value))}")


def _both(*rules: Rule) -> Rule:
    def rule(value: Any) -> None:
        for each in rules:
            each(value)

    return rule


def _either_way(most: int) -> Rule:
    return _number(-most, most)


def _colour(text: str) -> None:
    if not re.fullmatch("#[0-9a-f]{6}", text):
        raise Refusal(f"'{shorten(text)}' is not a colour")


def _matches(pattern: str, what: str) -> Rule:
    def rule(text: str) -> None:
        if not re.fullmatch(pattern, text, re.ASCII):
            raise Refusal(f"'{shorten(text)}' is not {what}")

    return rule


def _place(text: str) -> None:
    _NAME(text)
    if "/" in text:
        raise Refusal(f"'{shorten(text)}' has a '/', which stands between places")


def _texts(value: object) -> None:
    """Hold a table of texts by name to what settings and papers may be."""
    if not isinstance(value, dict):
        raise Refusal("it is not a table of texts by name")
    for name, text in value.items():
        if not isinstance(text, str):
            raise Refusal(f"'{shorten(str(name))}' is not a text")
        clean_name(" ".join(name.split()), "the name")
        clean_note(" ".join(text.split()), "the text")


def _copies(value: object) -> None:
    if not isinstance(value, list) or not value:
        raise Refusal("it is not a list of copies")
    for copy in value:
        whole_number(copy, "a copy", least=1)
    if len(set(value)) != len(value):
        raise Refusal("it names a copy twice")


_NAME: Rule = _unchanged(partial(clean_name, what="it"))
_NOTE: Rule = _unchanged(partial(clean_note, what="it"))


def _optional_name(text: str) -> None:
    if text:
        _NAME(text)


_CURRENCY: Rule = _unchanged(check_currency)
_AMOUNT: Rule = partial(check_amount, what="it")
_COUNT = _number(1, LARGEST_NUMBER)
_LENGTH = _number(1, MAX_LENGTH)
_DISTANCE = _number(0, MAX_LENGTH)
_DAYS = _number(0, MAX_LEAD_DAYS)
_GRAMS = _decimal(HEAVIEST)
_MINUTES = _decimal(LONGEST_ASSEMBLY)


def _share(value: Decimal) -> None:
    if not value.is_finite() or not 0 <= value < MAX_PRICE_SHARE:
        raise Refusal(f"it must be 0 to less than {MAX_PRICE_SHARE}, not {shorten(str(value))}")


def _piece(text: str) -> None:
    from pydantic import TypeAdapter

    from nester.core.piece import Piece

    try:
        TypeAdapter(Piece).validate_json(text)
    except ValueError:
        raise Refusal("it is no piece that could be read") from None


def _plan_text(text: str) -> None:
    from inventory.core.plan import plan_faults, plan_from_json

    try:
        plan = plan_from_json(text)
    except ValueError:
        raise Refusal("it is no plan that could be read") from None
    for fault in plan_faults(plan):
        raise Refusal(fault)


_ORDER_VALUES: dict[str, type | tuple[type, ...]] = {
    "customer": str, "copies": int, "due": str, "sizes": dict, "papers": dict, "note": str,
    "price": (str, type(None)), "status": str,
}  # fmt: skip
"""What can be changed of an order, as `inventory.changes.order_changes.values_of` writes it."""


def _order_values(values: object) -> None:
    if not isinstance(values, dict) or "status" not in values:
        raise Refusal("it is not a table of values by name, a status among them")
    for name, value in values.items():
        kind = _ORDER_VALUES.get(name)
        if kind is None or not isinstance(value, kind) or isinstance(value, bool):
            raise Refusal(f"'{shorten(str(name))}' is no value of an order")
        if name in ("sizes", "papers"):
            _texts(value)
        elif isinstance(value, str):
            _NOTE(value)


def _paper_values(values: object) -> None:
    if not isinstance(values, dict) or not values:
        raise Refusal("it is not a table of values by name")
    for name, value in values.items():
        rule = ROW_RULES["paper"].get(name)
        if name in ("pattern", "grain"):
            rule = _one_of({str(one) for one in (Pattern if name == "pattern" else Grain)})
        if rule is None or (value is None and name not in ("swatch", "caliper")):
            raise Refusal(f"'{shorten(str(name))}' is no value of a paper")
        if value is not None:
            rule(value)


def _one_of(values: set[str]) -> Rule:
    def check(value: object) -> None:
        if value not in values:
            raise Refusal(f"'{shorten(str(value))}' is none of {', '.join(sorted(values))}")

    return check


_SIZE: dict[str, Rule] = {"width": _LENGTH, "height": _LENGTH}

ROW_RULES: dict[str, dict[str, Rule]] = {
    "shop": {
        "name": _NAME, "currency": _CURRENCY, "smallest_offcut": _LENGTH,
        "offcut_worth": _number(0, 100), "gap": _DISTANCE, "longest_cut": _LENGTH,
        "smallest_strip": _DISTANCE, "stages": _number(1, MOST_STAGES),
        "making_days": _number(0, 365),
    },
    "paper": {
        "name": _NAME, "colour": _NAME, "swatch": _colour, "finish": _optional_name,
        "grammage": _number(1, MAX_GRAMMAGE), "caliper": _number(MIN_CALIPER, MAX_CALIPER),
        "note": _NOTE,
    },
    "substitute": {"rank": _COUNT},
    "place": {"name": _place},
    "stock": {
        **_SIZE, "number": _number(1, 2**31 - 1), "price": _AMOUNT, "note": _NOTE,
        "lot": _optional_name, "margin_left": _DISTANCE, "margin_top": _DISTANCE,
        "margin_right": _DISTANCE, "margin_bottom": _DISTANCE,
    },
    "supply": {"name": _NAME, "unit": _optional_name, "note": _NOTE},
    "supply_item": {
        "label": _matches("[RP]-[1-9][0-9]*", "the label of a reel or a pack"), "price": _AMOUNT,
        "lot": _optional_name,
    },
    "supply_movement": {"change": _either_way(max(LONGEST_REEL, MOST_PARTS))},
    "movement": {"change": _either_way(LARGEST_NUMBER), "note": _NOTE},
    "deed": {"note": _NOTE, "layout": _COUNT, "copies": _copies},
    "delivery": {"supplier": _NAME, "number": _optional_name},
    "bruise": {**_SIZE, "x": _DISTANCE, "y": _DISTANCE},
    "stock_count": {"found": _number(0, LARGEST_NUMBER), "booked": _number(0, LARGEST_NUMBER)},
    "cutting_time": {},
    "spare_piece": {
        **_SIZE, "name": _NAME, "label": _matches("C-[1-9][0-9]*", "the label of a spare piece"),
        "piece": _piece,
    },
    "spare_piece_movement": {"change": _either_way(LARGEST_NUMBER)},
    "plan_change": {"before": _plan_text},
    "paper_change": {"before": _paper_values, "after": _paper_values, "by": _NOTE},
    "order_change": {"before": _order_values, "after": _order_values, "by": _NOTE},
    "lost": {"part": _number(0, LARGEST_NUMBER), "quantity": _COUNT},
    "orders": {
        "customer": _NAME, "design": _NAME, "sizes": _texts, "papers": _texts, "copies": _COUNT,
        "note": _NOTE, "price": _AMOUNT,
    },
    "own_design": {"name": _NAME},
    "supplier": {
        "name": _NAME, "currency": _CURRENCY, "shipping": _AMOUNT, "free_from": _AMOUNT,
        "least_order": _AMOUNT, "days": _DAYS, "note": _NOTE,
    },
    "exchange_rate": {"currency": _CURRENCY, "rate": check_rate},
    "price_list": {"source": _NOTE},
    "price": {
        **_SIZE, "pack": _COUNT, "amount": _both(_AMOUNT, _positive), "currency": _CURRENCY,
        "least": _COUNT, "days": _DAYS,
    },
    "restock_level": {**_SIZE, "reorder": _COUNT, "target": _COUNT},
    "purchase": {"number": _optional_name, "currency": _CURRENCY, "shipping": _AMOUNT},
    "purchase_line": {**_SIZE, "pack": _COUNT, "packs": _COUNT, "amount": _AMOUNT},
    "purchase_receipt": {"packs": _COUNT, "amount": _AMOUNT},
    "cost_rates": {
        "hour": _AMOUNT, "piece_minutes": _MINUTES, "packaging": _AMOUNT,
        "packaging_grams": _GRAMS, "wrapping": _AMOUNT, "wrapping_grams": _GRAMS, "fee": _share,
        "fee_fixed": _AMOUNT, "margin": _share, "print_area": _AMOUNT, "endings": _NOTE,
        "quote_days": _number(1, 3650),
    },
    "consumable_rate": {
        "name": _NAME, "price": _AMOUNT, "spread": _number(1, max(LONGEST_REEL, MOST_PARTS)),
        "grams": _GRAMS,
    },
    "print_price": {
        "width": _number(1, LARGEST_PRINT), "height": _number(1, LARGEST_PRINT), "price": _AMOUNT,
    },
    "assembly_time": {"name": _NAME, "minutes": _MINUTES},
    "postage_step": {"grams": _both(_GRAMS, _positive), "price": _AMOUNT},
}  # fmt: skip
"""By table and column.  A choice, a date and a moment are held to by their type; what two columns
say together, or two rows, is in `inventory.maintenance.check`."""


def row_faults(table: str, row: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield each column of a row that holds what it may not, and what is wrong."""
    rules = ROW_RULES.get(table)
    if not rules:
        return
    for column, value in row.items():
        rule = rules.get(column)
        if rule is None or value is None:
            continue
        try:
            rule(value)
        except Refusal as why:
            yield column, str(why)


def check_objects(session: Session, *_: object) -> None:
    """Refuse to store an object that holds what its table may not; for ``before_flush``."""
    for changed in (*session.new, *session.dirty):
        state = inspect(changed)
        values = state.dict
        if state.persistent:
            values = {name: values.get(name) for name in state.committed_state}
        _refuse(changed.__tablename__, values)


def check_rows(execute: ORMExecuteState) -> None:
    """Refuse to insert a row that holds what its table may not; for ``do_orm_execute``."""
    if execute.is_insert and execute.parameters is not None:
        rows = execute.parameters
        table = execute.statement.table.name  # type: ignore[attr-defined]
        for row in [rows] if isinstance(rows, Mapping) else rows:
            _refuse(table, row)


def _refuse(table: str, row: Mapping[str, Any]) -> None:
    for column, why in row_faults(table, row):
        raise Refusal(f"{table}, {column}: {why}")
