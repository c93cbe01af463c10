"""A plan's lists as rows: what to take out, where to cut, what comes of it, what to buy.

Lengths are written with their unit, so that no spreadsheet takes 1/16 in for a day in January.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from typing import Any, NamedTuple

from inventory.core.money import format_money
from inventory.core.plan import NOBODY, Plan
from inventory.documents.plan.measures import checked_measures
from nester.core.lengths import format_length, format_size
from nester.cutting import cutting_instructions
from nester.drawing.pictures.score_sheet import score_rows

__all__ = [
    "CutRow",
    "KitRow",
    "OffcutRow",
    "PieceRow",
    "PlanList",
    "ScoringRow",
    "ShoppingRow",
    "ShortageRow",
    "TakeOutRow",
    "cut_rows",
    "kit_rows",
    "offcut_rows",
    "piece_rows",
    "plan_lists",
    "scoring_rows",
    "shopping_rows",
    "shortage_rows",
    "take_out_rows",
]


class TakeOutRow(NamedTuple):
    """Sheets to fetch from their place."""

    place: str
    label: str
    kind: str
    paper: str
    size: str
    number: int
    layouts: str


def take_out_rows(plan: Plan) -> list[TakeOutRow]:
    """Return what to take out, place by place."""
    rows: dict[str, TakeOutRow] = {}
    for layout in plan.current().layouts:
        sheet = layout.sheet
        size = format_size(sheet.width, sheet.height, plan.unit)
        fresh = TakeOutRow(sheet.place or "", sheet.label, sheet.kind, sheet.paper, size, 0, "")
        row = rows.get(sheet.label, fresh)
        numbers = [row.layouts, str(layout.number)] if row.layouts else [str(layout.number)]
        rows[sheet.label] = row._replace(
            number=row.number + layout.copies, layouts=", ".join(numbers)
        )
    return sorted(rows.values(), key=lambda row: (row.place.casefold(), row.paper.casefold()))


class CutRow(NamedTuple):
    """One cut, in the order they are made."""

    layout: int
    copies: int
    sheet: str
    paper: str
    step: int
    direction: str
    from_edge: str
    measure: str
    starts: str
    stops: str
    tool: str
    part: str
    words: str


def cut_rows(plan: Plan) -> Iterator[CutRow]:
    """Yield every cut of every layout; measures are from the edges of the part that is cut."""
    for layout in plan.current().layouts:
        measures = checked_measures(plan.as_layout(layout)[0], plan.unit)
        words = cutting_instructions(plan.as_layout(layout)[0], plan.unit, trimmer=plan.trimmer)
        for number, cut in enumerate(layout.cuts, start=1):
            told, part = measures.of(cut), measures.rect(cut.part)
            far = part.height if cut.vertical else part.width
            yield CutRow(
                layout.number,
                layout.copies,
                layout.sheet.label,
                layout.sheet.paper,
                number,
                "up and down" if cut.vertical else "across",
                "left" if cut.vertical else "top",
                format_length(told.at, measures.unit),
                format_length(told.start, measures.unit),
                format_length(far if told.end is None else told.end, measures.unit),
                "edge to edge" if plan.trimmer.can_make(cut) else "knife",
                format_size(part.width, part.height, measures.unit),
                " ".join(words[number - 1].split()),
            )


class PieceRow(NamedTuple):
    """Equal pieces at one spot of a layout."""

    layout: int
    copies: int
    sheet: str
    paper: str
    piece: str
    size: str
    from_left: str
    from_top: str
    turned: str
    orders: str


def piece_rows(plan: Plan) -> Iterator[PieceRow]:
    """Yield every spot of every layout; sizes are as asked for, not as placed."""
    for layout in plan.current().layouts:
        for spot in layout.spots:
            part = plan.part_of(spot)
            yield PieceRow(
                layout.number,
                layout.copies,
                layout.sheet.label,
                layout.sheet.paper,
                part.piece.name,
                format_size(part.piece.width, part.piece.height, plan.unit),
                format_length(spot.x, plan.unit),
                format_length(spot.y, plan.unit),
                "turned" if spot.turned else "",
                numbers(spot.orders),
            )


class ShortageRow(NamedTuple):
    """Pieces of an order that can't be made."""

    order: int
    customer: str
    due: str
    paper: str
    piece: str
    size: str
    number: int
    why: str


def shortage_rows(plan: Plan) -> Iterator[ShortageRow]:
    """Yield what each waiting order lacks."""
    orders = {order.number: order for order in plan.orders}
    for lack in plan.lacking:
        yield ShortageRow(
            lack.order,
            orders[lack.order].customer,
            orders[lack.order].due.isoformat(),
            lack.paper,
            lack.piece,
            format_size(lack.width, lack.height, plan.unit),
            lack.quantity,
            lack.why,
        )


class KitRow(NamedTuple):
    """Equal pieces of one order, to be gathered from a layout."""

    order: int
    customer: str
    due: str
    piece: str
    paper: str
    size: str
    number: int
    layout: int


def kit_rows(plan: Plan) -> Iterator[KitRow]:
    """Yield what is gathered for each order."""
    orders = {order.number: order for order in plan.orders}
    gathered: Counter[tuple[int, int, int]] = Counter()
    for layout in plan.current().layouts:
        for spot in layout.spots:
            gathered.update((order, spot.part, layout.number) for order in spot.orders)
    for (number, part, layout_number), quantity in sorted(gathered.items()):
        order, piece = orders.get(number), plan.parts[part].piece
        yield KitRow(
            number,
            "spare pieces" if order is None else order.customer,
            "" if order is None else order.due.isoformat(),
            piece.name,
            plan.parts[part].paper,
            format_size(piece.width, piece.height, plan.unit),
            quantity,
            layout_number,
        )


class ScoringRow(NamedTuple):
    """One fold, slit or hole of a kind of piece."""

    piece: str
    size: str
    number: int
    what: str
    way: str
    where: str
    extent: str


def scoring_rows(plan: Plan) -> Iterator[ScoringRow]:
    """Yield what is to be done to each kind of piece after it is cut."""
    cut = {spot.part for layout in plan.layouts for spot in layout.spots}
    for piece in dict.fromkeys(plan.parts[part].piece for part in sorted(cut)):
        size = format_size(piece.width, piece.height, plan.unit)
        for row in score_rows(piece, plan.unit):
            yield ScoringRow(piece.name, size, *row)


class OffcutRow(NamedTuple):
    """Equal offcuts that go back into the stash."""

    label: str
    number: int
    paper: str
    size: str
    layouts: str


def offcut_rows(plan: Plan) -> Iterator[OffcutRow]:
    """Yield what goes back into the stash, pile by pile."""
    rows: dict[int, OffcutRow] = {}
    for layout in plan.current().layouts:
        for kind, (rect, each) in layout.offcuts_by_kind().items():
            size = format_size(rect.width, rect.height, plan.unit)
            fresh = OffcutRow(plan.offcut_label(kind), 0, layout.sheet.paper, size, "")
            row = rows.get(kind, fresh)
            layouts = f"{row.layouts}, {layout.number}" if row.layouts else str(layout.number)
            rows[kind] = row._replace(number=row.number + each * layout.copies, layouts=layouts)
    yield from (rows[kind] for kind in sorted(rows))


class ShoppingRow(NamedTuple):
    """Sheets to buy."""

    paper: str
    size: str
    number: str
    each: str
    together: str
    orders: str


def shopping_rows(plan: Plan) -> Iterator[ShoppingRow]:
    """Yield what to restock so that the waiting orders can be made."""
    for line in plan.restock:
        size = format_size(line.width, line.height, plan.unit)
        if not line.quantity:
            at_least = f"at least {size}"
            yield ShoppingRow(line.paper, at_least, "?", "", "", numbers(line.orders))
            continue
        each = together = ""
        if line.price is not None:
            # A sheet's part of a pack, perhaps from another currency, is worked out.
            price = Fraction(line.price)
            each = format_money(price, plan.currency)
            together = format_money(price * line.quantity, plan.currency)
        yield ShoppingRow(
            line.paper, size, str(line.quantity), each, together, numbers(line.orders)
        )


class PlanList(NamedTuple):
    """One of a plan's lists.

    Attributes
    ----------
    name
        What its file is called, without the ending.
    title
        What its sheet in a workbook is called.
    """

    name: str
    title: str
    columns: list[str]
    rows: list[tuple[Any, ...]]


def plan_lists(plan: Plan) -> list[PlanList]:
    """Return all lists of a plan."""
    known: tuple[tuple[str, str, type[NamedTuple], Iterable[tuple[Any, ...]]], ...] = (
        ("take-out", "take out", TakeOutRow, take_out_rows(plan)),
        ("cut-list", "cuts", CutRow, cut_rows(plan)),
        ("pieces", "pieces", PieceRow, piece_rows(plan)),
        ("offcuts", "offcuts", OffcutRow, offcut_rows(plan)),
        ("scores", "scores", ScoringRow, scoring_rows(plan)),
        ("kits", "kits", KitRow, kit_rows(plan)),
        ("lacking", "lacking", ShortageRow, shortage_rows(plan)),
        ("shopping", "to buy", ShoppingRow, shopping_rows(plan)),
    )
    return [
        PlanList(name, title, [field.replace("_", " ") for field in row._fields], list(rows))
        for name, title, row, rows in known
    ]


def numbers(values: Sequence[int]) -> str:
    """Write order numbers, each once and in order: ``3, 5, 6``; `NOBODY` as ``spare``, last."""
    orders = [str(value) for value in sorted(set(values) - {NOBODY})]
    return ", ".join([*orders, "spare"] if NOBODY in values else orders)
