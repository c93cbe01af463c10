"""Designs as lists, and a design worked out as plain data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from inventory.orders.custom_designs import design_named, list_custom_designs, unit_of
from inventory.views.listing import Column, Listing
from nester.core.lengths import area_m2, to_mm_number
from nester.designs import DESIGNS, read_settings
from nester.designs.base.datasheet import Datasheet
from nester.designs.base.design import Consumable, Measure

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from nester.core.lengths import Unit
    from nester.designs import Design

__all__ = [
    "DesignRow",
    "SettingRow",
    "amount_as_json",
    "design_as_json",
    "design_list",
    "setting_list",
]


@dataclass(frozen=True)
class DesignRow:
    """A design, and whether it is the shop's own."""

    design: Design
    own: bool


_DESIGNS: Listing[DesignRow] = Listing(
    title="Designs",
    columns=(
        Column("Design", cell=lambda row: row.design.name + (" (own)" if row.own else "")),
        Column(key="name", value=lambda row: row.design.name),
        Column("What it is", "title", lambda row: row.design.title),
        Column(
            "Parts that need a paper",
            "roles",
            lambda row: [*row.design.roles, *row.design.sub_roles],
            lambda row: ", ".join(row.design.roles),
        ),
        Column(key="own", value=lambda row: row.own),
    ),
    empty="There are no designs.",
)


def design_list(session: Session | None) -> tuple[Listing[DesignRow], list[DesignRow]]:
    """Return the built-in designs, and those of the shop's own if there is a shop."""
    own = [] if session is None else [row.name for row in list_custom_designs(session)]
    designs = [*DESIGNS.values(), *(design_named(session, name) for name in own)]
    return _DESIGNS, [DesignRow(design, design.name in own) for design in designs]


@dataclass(frozen=True)
class SettingRow:
    """A setting of a design.

    Attributes
    ----------
    default
        Its value by default, as it is written; nothing if it has none.
    can_fit
        Whether it may also be ``fit``: the smallest that leaves the clearance wanted.
    """

    name: str
    kind: str
    default: str
    choices: tuple[str, ...]
    can_fit: bool
    help: str

    @property
    def words(self) -> str:
        """What it is, and what it may be."""
        choices = f" ({', '.join(self.choices)})" if self.choices else ""
        return f"{self.help}{choices}{'; or fit' if self.can_fit else ''}"


def setting_list(
    session: Session | None, name: str, unit: Unit | None = None
) -> tuple[Listing[SettingRow], list[SettingRow]]:
    """Return the settings of a design.

    Parameters
    ----------
    unit
        In which the defaults are shown; the shop's, unless given.

    Raises
    ------
    Refusal
        If there is no such design.
    """
    design = design_named(session, name)
    unit = unit_of(session, unit)
    defaults = read_settings(design, {}, unit, defaults_in=unit_of(session))
    rows = [
        SettingRow(
            name=setting.name,
            kind=str(setting.kind),
            default=(
                setting.show(defaults[setting.name], unit) if setting.name in defaults else ""
            ),
            choices=tuple(setting.choices),
            can_fit=setting.fitted_length is not None,
            help=setting.help,
        )
        for setting in design.settings
    ]
    listing: Listing[SettingRow] = Listing(
        title=design.title,
        columns=(
            Column("Setting", "name", lambda row: row.name),
            Column(key="kind", value=lambda row: row.kind),
            Column("Default", "usual", lambda row: row.default),
            Column("What it is", cell=lambda row: row.words),
            Column(key="choices", value=lambda row: list(row.choices)),
            Column(key="fit", value=lambda row: row.can_fit),
            Column(key="help", value=lambda row: row.help),
        ),
        empty="It has no settings.",
    )
    return listing, rows


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
        "consumables": [_consumable(consumable) for consumable in sheet.consumables],
        "assumptions": list(sheet.assumptions),
        "cautions": list(sheet.safety_notes),
    }


def _consumable(consumable: Consumable) -> dict[str, Any]:
    return {
        "name": consumable.name,
        "use": consumable.use,
        **amount_as_json(consumable.measure, consumable.amount),
        "quantity": consumable.quantity,
    }


def amount_as_json(measure: Measure, amount: int) -> dict[str, Any]:
    """Return how much of a consumable there is: millimetres, square metres or a number."""
    told: int | float = amount
    if measure is Measure.LENGTH:
        told = to_mm_number(amount)
    elif measure is Measure.AREA:
        told = float(area_m2(amount))
    return {"measure": str(measure), "amount": told}
