"""A cutting plan that is no batch, in words and tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Group
from rich.text import Text

from inventory.documents.format.terminal_tables import table
from inventory.documents.text.counts import tally
from nester.core.lengths import format_size

if TYPE_CHECKING:
    from fractions import Fraction

    from rich.console import RenderableType

    from nester.core.lengths import Unit
    from nester.core.problem import CuttingPlan, Problem

__all__ = ["amount_words", "answer_text"]


def answer_text(problem: Problem, answer: CuttingPlan, unit: Unit) -> Group:
    """Return a plan as tables of layouts and sheets, what was not placed, and its cost."""
    stock = {item.name: item for item in problem.stock}
    numbers = frozenset({"Layout", "Copies", "Amount"})
    layouts = table("Layouts", "Layout", "Copies", "Sheet", "Size", "Pieces", right=numbers)
    for number, layout in enumerate(answer.layouts, start=1):
        sheet = stock[layout.stock]
        layouts.add_row(
            str(number),
            str(layout.copies),
            Text(" ".join(filter(None, [layout.stock, sheet.paper]))),
            format_size(sheet.width, sheet.height, unit),
            Text(tally(piece.name for piece in layout.placed)),
        )
    sheets = table("Sheets", "Amount", "Sheet", "Size", right=numbers)
    for sheet in problem.stock:
        copies = sum(used.copies for used in answer.layouts if used.stock == sheet.name)
        if copies:
            size = format_size(sheet.width, sheet.height, unit)
            sheets.add_row(
                str(copies), Text(" ".join(filter(None, [sheet.name, sheet.paper]))), size
            )
    unplaced = table("Not placed", "Amount", "Piece", "Why", right=numbers)
    for piece in answer.unplaced:
        unplaced.add_row(str(piece.quantity), Text(piece.name), Text(piece.why))
    parts: list[RenderableType] = [layouts, sheets] if answer.layouts else []
    if answer.unplaced:
        parts.append(unplaced)
    parts.append(Text(_quality(answer)))
    if answer.interrupted:
        parts.append(Text("The search was stopped early; this is the best it had found."))
    return Group(*parts)


def _quality(answer: CuttingPlan) -> str:
    if not answer.layouts:
        return "No piece could be placed."
    cost = amount_words(answer.cost)
    same = " that makes the same pieces" if answer.unplaced else ""
    if answer.cost == answer.lower_bound:
        return f"Cost {cost}; no plan{same} can cost less."
    saving, gap = answer.cost - answer.lower_bound, 100 * answer.optimality_gap
    share = f"{float(gap):.0f} %" if gap >= 1 else "less than 1 %"
    return (
        f"Cost {cost}; no plan{same} can cost less than {amount_words(answer.lower_bound)},"
        f" so at most {amount_words(saving)} could be saved ({share})."
    )


def amount_words(value: Fraction) -> str:
    """Write a cost, with two decimals if it needs them."""
    return f"{float(value):,.2f}".removesuffix(".00")
