"""A plan as text for the terminal or a file, at most 80 columns wide."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from inventory.core.durations import format_minutes
from inventory.core.money import floor_to_coin, format_money, round_to_coin
from inventory.core.plan import NOBODY, Plan, PlannedLayout
from inventory.documents.format.terminal_tables import table
from inventory.documents.plan.lists import shopping_rows, shortage_rows, take_out_rows
from inventory.documents.plan.measures import checked_measures
from inventory.documents.text.condition import condition_words
from inventory.documents.text.counts import tally
from inventory.documents.text.rules import rules_words
from nester.core.lengths import format_area, format_size
from nester.cutting import DEFAULT_PACE, Pace, cutting_instructions, measure_note, safety_notes
from nester.drawing.pictures.layout_text import layout_text

__all__ = ["cut_list", "plain_text", "plan_summary"]

_COLUMNS = 80


def plain_text(*parts: RenderableType) -> str:
    """Return renderables as plain text of 80 columns."""
    console = Console(width=_COLUMNS, color_system=None, highlight=False, record=False)
    with console.capture() as capture:
        for part in parts:
            console.print(part)
    return "\n".join(line.rstrip() for line in capture.get().splitlines()) + "\n"


def plan_summary(plan: Plan, pace: Pace = DEFAULT_PACE) -> Group:
    """Return the plan on one page: what it costs, what to take out, what waits, what to buy."""
    plan = plan.current()
    parts: list[RenderableType] = [Text(_heading(plan), style="bold"), Text(_value(plan, pace))]
    if plan.spares:
        parts.append(_spares(plan))
    if plan.layouts:
        parts += [_take_out(plan), _layouts(plan)]
    if any(not order.made for order in plan.orders):
        parts += [_waiting(plan), _shortages(plan), _shopping(plan)]
    parts += [Text(note) for note in plan.notes]
    return Group(*parts)


def _heading(plan: Plan) -> str:
    made = sum(order.made for order in plan.orders)
    name = f"Batch {plan.batch}" if plan.batch else "No batch"
    kinds = f"{plan.cuts} cuts"
    if plan.closed:
        return f"{name}: what was cut of it; the rest was planned again, {kinds}"
    return f"{name}: {made} of {len(plan.orders)} orders can be made, {kinds}"


def _value(plan: Plan, pace: Pace) -> str:
    if not plan.layouts:
        made = any(order.made for order in plan.orders)
        return (
            "Spare pieces are all that it takes.\n"
            if made
            else ("No order can be made from the stash.\n")
        )
    sheets = sum(part.copies for part in plan.layouts if part.sheet.kind == "sheet")
    offcuts = sum(part.copies for part in plan.layouts if part.sheet.kind == "offcut")
    pieces = sum(layout.copies * len(layout.spots) for layout in plan.layouts)
    minutes = sum(pace.minutes(plan.as_layout(layout)[0], plan.trimmer) for layout in plan.layouts)
    whose = f" at the shop's own pace, from {_number(pace.reports, 'report', 'reports')}"
    used = 100 * plan.piece_area / plan.paper_area
    kept = 100 * plan.kept_area / plan.paper_area
    return (
        f"{_number(pieces, 'piece', 'pieces')} from {_number(sheets, 'sheet', 'sheets')}"
        f" and {_number(offcuts, 'offcut', 'offcuts')}"
        f" ({format_area(plan.paper_area, plan.unit)}): {used:.0f} % become pieces,"
        f" {kept:.0f} % go back as offcuts.\n"
        f"{_proof(plan)}\n{_rules(plan)}"
        f"About {format_minutes(int(minutes) + 1)} of cutting{whose if pace.reports else ''}.\n"
    )


def _rules(plan: Plan) -> str:
    """Say by which of the shop's rules the plan is made, if there are any; a line."""
    rules = rules_words(plan.apart, plan.trimmer, plan.unit)
    return f"{'; '.join(rules)}.\n" if rules else ""


def _proof(plan: Plan) -> str:
    text = f"Paper for {format_money(plan.cost, plan.currency)}"
    if round_to_coin(plan.kept, plan.currency):
        amounts = (plan.kept, plan.net_cost)
        kept, net = (round_to_coin(amount, plan.currency) for amount in amounts)
        text += (
            f", less {format_money(kept, plan.currency)} for the offcuts you keep:"
            f" {format_money(net, plan.currency)}"
        )
    if not plan.is_proven:
        return f"{text}."
    if plan.net_cost == plan.bound:
        return f"{text}; no plan comes to less."
    # Rounded down, it stays a lower bound; and rounded up, the saving an upper one.
    bound = format_money(floor_to_coin(plan.bound, plan.currency), plan.currency)
    saving = -floor_to_coin(Fraction(plan.bound) - Fraction(plan.net_cost), plan.currency)
    return (
        f"{text}; no plan comes to less than {bound},"
        f" so at most {format_money(saving, plan.currency)} could be saved."
    )


def _number(count: int, singular: str, plural: str) -> str:
    return f"{count} {singular if count == 1 else plural}"


def _take_out(plan: Plan) -> Table:
    shown = table("Take out", "Place", "Label", "Paper", "Size", "Amount", right=_NUMBERS)
    for row in take_out_rows(plan):
        shown.add_row(Text(row.place or "-"), row.label, Text(row.paper), row.size, str(row.number))
    return shown


def _spares(plan: Plan) -> Table:
    shown = table("Take spare pieces", "Label", "Piece", "Paper", "Amount", "Place", "Order",
                  right=_NUMBERS)  # fmt: skip
    for spare in plan.spares:
        shown.add_row(
            spare.label,
            Text(spare.piece),
            Text(spare.paper),
            str(spare.quantity),
            Text(spare.place or "-"),
            str(spare.order),
        )
    return shown


_NUMBERS = frozenset({"Amount", "Layout", "Copies", "Order", "Each", "Together", "Offcuts"})


def _layouts(plan: Plan) -> Table:
    shown = table("Layouts", "Layout", "Copies", "From", "Pieces", "Offcuts", right=_NUMBERS)
    for layout in plan.layouts:
        pieces = tally(plan.part_of(spot).piece.name for spot in layout.spots)
        shown.add_row(
            str(layout.number),
            str(layout.copies),
            Text(f"{layout.sheet.label} {layout.sheet.paper}"),
            Text(pieces),
            str(len(layout.offcuts) or ""),
        )
    return shown


def _waiting(plan: Plan) -> Text:
    waiting = [order for order in plan.orders if not order.made]
    lines = [
        f"  {order.number} for {order.customer}, {order.copies} × {order.design},"
        f" due {order.due.isoformat()}"
        for order in waiting
    ]
    return Text("\n".join(["\nThese orders wait for paper; nothing is cut for them:", *lines]))


def _shortages(plan: Plan) -> Table:
    shown = table("Missing paper", "Order", "Paper", "Piece", "Size", "Amount", right=_NUMBERS)
    for row in shortage_rows(plan):
        shown.add_row(str(row.order), Text(row.paper), Text(row.piece), row.size, str(row.number))
    return shown


def _shopping(plan: Plan) -> RenderableType:
    rows = list(shopping_rows(plan))
    if not rows:
        return Text("")
    shown = table(
        "Restock", "Paper", "Size", "Amount", "Each", "Together", "For orders", right=_NUMBERS
    )
    for row in rows:
        shown.add_row(Text(row.paper), row.size, row.number, row.each, row.together, row.orders)
    return shown


def cut_list(plan: Plan, only: int | None = None, *, pictures: bool = False) -> Iterator[Text]:
    """Yield the cut list, layout by layout, after the safety notes.

    Parameters
    ----------
    only
        The number of a single layout; None: all.
    pictures
        Draw each layout with box characters before its cuts.
    """
    plan = plan.current()
    chosen = [layout for layout in plan.layouts if only in (None, layout.number)]
    notes = dict.fromkeys(
        note
        for layout in chosen
        for note in safety_notes(plan.as_layout(layout)[0], trimmer=plan.trimmer)
    )
    for note in notes:
        yield Text(note)
    for layout in chosen:
        yield Text("")
        yield Text(_layout_heading(plan, layout), style="bold")
        yield Text(_gathered(plan, layout))
        if pictures:
            yield Text(layout_text(*plan.as_layout(layout), plan.unit, columns=_COLUMNS - 2))
        checked_measures(plan.as_layout(layout)[0], plan.unit)
        layout_steps = cutting_instructions(
            plan.as_layout(layout)[0], plan.unit, trimmer=plan.trimmer
        )
        if any("≈" in step for step in layout_steps):
            yield Text(measure_note())
        yield Text("\n".join(layout_steps) or "No cuts: the sheet is the piece.")


def _layout_heading(plan: Plan, layout: PlannedLayout) -> str:
    sheet = layout.sheet
    size = format_size(sheet.width, sheet.height, plan.unit)
    place = f", from {sheet.place}" if sheet.place else ""
    times = f", {layout.copies} times" if layout.copies > 1 else ""
    return f"Layout {layout.number}{times}: {sheet.label}, {sheet.paper}, {size}{place}"


def _gathered(plan: Plan, layout: PlannedLayout) -> str:
    owners = {order for spot in layout.spots for order in spot.orders}
    orders = sorted(owners - {NOBODY})
    words = []
    if orders:
        words.append(f"{'order' if len(orders) == 1 else 'orders'} {', '.join(map(str, orders))}")
    if NOBODY in owners:
        words.append("spare pieces")
    text = f"For {' and '.join(words)}"
    sheet = layout.sheet
    remarks = condition_words(sheet.margins, sheet.bruises, sheet.grain, plan.unit)
    return f"{text}\nThe {sheet.kind}: {remarks}" if remarks else text
