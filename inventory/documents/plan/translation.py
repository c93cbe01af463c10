"""What plans keep in English, in another language: names of pieces, advice, notes.

A plan holds words of the designs and of planning as they were made.  Those that come with the
program are in the catalogues; a maker's own stay as they are.
"""

from __future__ import annotations

import re
from dataclasses import replace

from inventory.core.plan import PartType, PieceShortage, Plan
from nester.core.translation import Translator, translatable

__all__ = ["NOTES", "piece_name", "plan_note", "translated"]

NOTES = (
    translatable("No choice of orders completes more of them."),
    translatable("The search was stopped early; this is the best plan it had found."),
    translatable("Order {order} was due on {date}."),
    translatable("Order {order} is planned in {other} in place of {paper}."),
    translatable(
        "The grain of {paper} is not followed: some pieces must stand upright on it, and its"
        " fibres lie one way in some sheets and another way in others."
    ),
    translatable(
        "Some of the pieces that are lacking must follow the grain; 'quirebox batch plan"
        " --ignore-grain' lets them lie as they may."
    ),
    translatable(
        "On its way: {number} × {paper}, {size}, expected on {date} (purchase {purchase})."
    ),
    translatable("No spare pieces are cut: the paper does not suffice for them and all orders."),
    translatable("No price is known for {papers}; counted at 1 {currency} a square metre."),
)
"""The notes that planning makes."""


def translated(plan: Plan, translator: Translator) -> Plan:
    """Return a plan with the names of its pieces, their advice and its notes in a language."""

    def translate_part(part: PartType) -> PartType:
        name = piece_name(part.piece.name, translator)
        note = translator.say(part.piece.note) if part.piece.note else ""
        return replace(part, piece=replace(part.piece, name=name, note=note))

    def translate_shortage(shortage: PieceShortage) -> PieceShortage:
        return replace(shortage, piece=piece_name(shortage.piece, translator))

    return replace(
        plan,
        parts=tuple(map(translate_part, plan.parts)),
        lacking=tuple(map(translate_shortage, plan.lacking)),
        notes=tuple(plan_note(note, translator) for note in plan.notes),
    )


def piece_name(name: str, translator: Translator) -> str:
    """Say what a piece is called; the catalogues have names with ``{n}`` for each number."""
    numbers = iter(re.findall(r"[0-9]+", name))
    text = translator.say(re.sub(r"[0-9]+", "{n}", name)) if name else ""
    return re.sub(r"\{n\}", lambda hole: next(numbers, hole[0]), text)


def plan_note(note: str, translator: Translator) -> str:
    """Say a note of a plan; one that is none of `NOTES` stays as it is."""
    for template in NOTES:
        parts = re.split(r"\{(\w+)\}", template)
        pattern = "".join(
            f"(?P<{part}>.+?)" if number % 2 else re.escape(part)
            for number, part in enumerate(parts)
        )
        match = re.fullmatch(pattern, note, re.DOTALL)
        if match is not None:
            return translator.say(template).format(**match.groupdict())
    return note
