"""A calculated design as text for the terminal."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from rich.console import Group, RenderableType
from rich.text import Text

from inventory.documents.format.terminal_tables import table
from inventory.documents.text.consumables import amount_of_consumable
from nester.core.lengths import Unit, format_area, format_size
from nester.designs.base.datasheet import Datasheet
from nester.designs.base.totals import total_consumables

__all__ = ["design_text"]

_NUMBERS = frozenset({"Quantity", "Area"})


def design_text(sheet: Datasheet, unit: Unit) -> Group:
    """Return a design's pieces, fit, paper, weight, and advice."""
    return Group(*_parts(sheet, unit))


def _parts(sheet: Datasheet, unit: Unit) -> Iterator[RenderableType]:
    pieces = table(sheet.design.title, "Quantity", "Piece", "Part", "Cut size", right=_NUMBERS)
    for piece in sheet.pieces:
        size = format_size(piece.width, piece.height, unit)
        pieces.add_row(str(piece.quantity), Text(piece.name), piece.role, size)
    yield pieces
    if sheet.clearances:
        fit = table("How it fits", "", "Result")
        for line in sheet.clearances:
            fit.add_row(Text(line.message), line.verdict)
        yield fit
    yield from (Text(f"It does not fold: {fault}", style="bold") for fault in sheet.fold_faults)
    areas = table("Paper", "Part", "Quantity", "Area", right=_NUMBERS)
    for area in sheet.areas:
        areas.add_row(area.name, str(area.pieces), format_area(area.blank_area, unit))
    yield areas
    yield Text(f"Weight of its paper: {_weight(sheet.weight.paper)}", style="bold")
    for total in total_consumables(sheet.consumables):
        amount = amount_of_consumable(total.measure, total.amount, unit)
        yield Text(f"{total.name}: {amount}")
    yield Text("")
    for sentence in sheet.assumptions:
        yield Text(sentence)
    yield from _advice(sheet)


def _weight(grams: Fraction) -> str:
    """Write a weight: of a tag or a card, half a gram matters."""
    return f"{float(grams):.{1 if grams < 10 else 0}f} g"


def _advice(sheet: Datasheet) -> Iterator[RenderableType]:
    """Yield each piece of advice once, with the pieces it is for."""
    notes: dict[str, list[str]] = {}
    for piece in sheet.pieces:
        if piece.note:
            notes.setdefault(piece.note, []).append(piece.name)
    for name, sentences in sheet.advice:
        for sentence in sentences:
            notes.setdefault(sentence, []).append(name)
    if notes:
        yield Text("\nAdvice", style="bold")
    for sentence, names in notes.items():
        yield Text(f"{', '.join(names)}: {sentence}")
    if sheet.safety_notes:
        yield Text("\nSafety", style="bold")
    for note in sheet.safety_notes:
        yield Text(note)
