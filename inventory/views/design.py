"""A design worked out, as plain data."""

from __future__ import annotations

from typing import Any

from nester.core.lengths import (
    area_m2,
    to_mm_number,
)
from nester.designs.base.datasheet import Datasheet
from nester.designs.base.design import Consumable, Measure

__all__ = ["design_as_json"]


def design_as_json(sheet: Datasheet) -> dict[str, Any]:
    """Return a finished object as data; lengths are numbers of millimetres."""
    advice = dict(sheet.advice)
    return {
        "design": sheet.design.name,
        "pieces": [
            {
                "name": piece.name,
                "role": piece.role,
                "quantity": piece.quantity,
                "width": to_mm_number(piece.width),
                "height": to_mm_number(piece.height),
                "upright": piece.upright,
                "grain": str(piece.grain),
                "outline": [[to_mm_number(x), to_mm_number(y)] for x, y in piece.outline],
                "scores": [
                    {
                        "from": [to_mm_number(v) for v in score.line.start],
                        "to": [to_mm_number(v) for v in score.line.end],
                        "fold": str(score.fold),
                        "degrees": score.degrees,
                    }
                    for score in piece.scores
                ],
                "slits": [
                    {
                        "from": [to_mm_number(v) for v in line.start],
                        "to": [to_mm_number(v) for v in line.end],
                    }
                    for line in piece.slits
                ],
                "holes": [
                    {
                        "centre": [to_mm_number(v) for v in hole.centre],
                        "diameter": to_mm_number(hole.diameter),
                        "eyelet": hole.eyelet,
                    }
                    for hole in piece.holes
                ],
                "note": piece.note,
                "advice": list(advice.get(piece.name, ())),
            }
            for piece in sheet.pieces
        ],
        "fit": [
            {
                "name": line.joint.name,
                "play": to_mm_number(line.play) if line.play >= 0 else -to_mm_number(-line.play),
                "verdict": str(line.verdict),
                "sentence": line.message,
            }
            for line in sheet.clearances
        ],
        "fold_faults": list(sheet.fold_faults),
        "paper": [
            {
                "role": area.name,
                "quantity": area.pieces,
                "blanks": float(area_m2(area.blank_area)),
                "outlines": float(area_m2(area.outline_area)),
            }
            for area in sheet.areas
        ],
        "grams": float(sheet.weight.paper),
        "consumables": [_consumable(one) for one in sheet.consumables],
        "assumptions": list(sheet.assumptions),
        "cautions": list(sheet.safety_notes),
    }


def _consumable(one: Consumable) -> dict[str, Any]:
    amount: int | float = one.amount
    if one.measure is Measure.LENGTH:
        amount = to_mm_number(one.amount)
    elif one.measure is Measure.AREA:
        amount = float(area_m2(one.amount))
    return {
        "name": one.name,
        "use": one.use,
        "measure": str(one.measure),
        "amount": amount,
        "quantity": one.quantity,
    }
