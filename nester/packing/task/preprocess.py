"""From a problem as a maker states it to plain rectangles on plain sheets, and back.

Everything that makes lying on a sheet less than plain is taken away here, so that no method need
know of it:

* A *gap* between pieces becomes a border of half of it around every piece and around what is
  usable of every sheet; then pieces keep their distance just when their borders don't overlap.
* *Margins* are left out of the sheet.
* *Grain*: of a paper whose grain runs in different ways, sheets are taken up and turned until all
  lie the same way; a piece that wishes for a grain is turned to suit it, and then may not turn.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from nester.core.errors import Refusal
from nester.core.geometry import solid_rows
from nester.core.lengths import Length
from nester.core.piece import Grain, Turn
from nester.core.problem import (
    Cuts,
    Demand,
    Margins,
    PlacedPiece,
    Problem,
    Rect,
    StockItem,
    placed_voids,
)

__all__ = ["Blank", "PreparedPaper", "Sheet", "placed_on"]


class Blank(NamedTuple):
    """A want as it is laid: with half a gap around it, in fine units.

    Attributes
    ----------
    rotatable
        Whether it may be turned from how it is laid.
    turned
        Whether it is laid a quarter turn from how it is asked for.
    """

    demand: Demand
    width: Length
    height: Length
    rotatable: bool
    turned: bool
    voids: tuple[Rect, ...] = ()

    @property
    def is_half_turn_symmetric(self) -> bool:
        """Whether half a turn changes nothing."""
        around = (
            Rect(self.width - v.right, self.height - v.bottom, v.width, v.height)
            for v in self.voids
        )
        return sorted(around) == sorted(self.voids)


class Sheet(NamedTuple):
    """What is usable of a sheet, with half a gap around it, in fine units.

    Attributes
    ----------
    turned
        Whether it is laid a quarter turn clockwise.
    defects
        Where nothing may lie.
    """

    stock: StockItem
    width: Length
    height: Length
    turned: bool
    defects: tuple[Rect, ...] = ()

    @property
    def trim_edges(self) -> Margins:
        """1 where the sheet has a margin beyond what is usable, as it is laid; else 0."""
        left, top, right, bottom = (int(edge > 0) for edge in self.stock.margins)
        return (
            Margins(bottom, left, top, right) if self.turned else Margins(left, top, right, bottom)
        )


class PreparedPaper:
    """One paper's wants and stock, laid out.

    Attributes
    ----------
    blanks, sheets
        In the order of the wants and the stock; sheets of which nothing is usable are left out.

    Raises
    ------
    Refusal
        If some pieces of a paper must follow its grain and others must not turn, while the grain
        lies one way in some of its sheets and another way in others.
    """

    def __init__(
        self, wants: Sequence[Demand], stock: Iterable[StockItem], problem: Problem
    ) -> None:
        # Rounded up to a whole number of fine units on either side.
        self._half_gap = -(-problem.gap // 2)
        self._cuts = problem.cuts
        usable = [item for item in stock if min(item.usable[2:]) > 0]
        self._grains = {item.grain for item in usable} - {Grain.ANY}
        wishes = any(want.grain is not Grain.ANY for want in wants)
        self._mixed_grain = wishes and len(self._grains) > 1
        if self._mixed_grain and any(want.turn is not Turn.ANY for want in wants):
            paper = f"paper '{usable[0].paper}'" if usable[0].paper else "the paper"
            raise Refusal(
                f"of {paper} some pieces must follow the grain and others must not turn, but the"
                " grain of its sheets does not lie one way; let one or the other go"
            )
        self.blanks = tuple(map(self._blank, wants))
        self.sheets = tuple(map(self._sheet, usable))

    def _blank(self, want: Demand) -> Blank:
        turned, turns = False, want.turn is Turn.ANY
        if want.grain is not Grain.ANY and self._grains:
            # Where sheets' grains differ, all are laid with their grain along their width.
            along = Grain.WIDTH if self._mixed_grain else next(iter(self._grains))
            turned, turns = want.grain is not along, False
        gap = 2 * self._half_gap
        blank = Blank(want, want.width + gap, want.height + gap, turns, False)
        blank = blank._replace(voids=tuple(self._shrunk_voids(want)))
        if self._mixed_grain and not blank.is_half_turn_symmetric:
            # It would have to be told apart from itself after half a turn: its voids stay empty.
            blank = blank._replace(voids=())
        return _turned_blank(blank) if turned else blank

    def _shrunk_voids(self, want: Demand) -> Iterable[Rect]:
        """Yield what a gap leaves of a want's voids, within its blank and the border around it."""
        gap = 2 * self._half_gap
        blank = Rect(0, 0, want.width + gap, want.height + gap)
        if gap and self._cuts is Cuts.FREE:
            solid = solid_rows(Rect(0, 0, want.width, want.height), want.voids)
            bordered = [Rect(x, y, wide + gap, high + gap) for x, y, wide, high in solid]
            yield from solid_rows(blank, bordered)
            return
        for x, y, wide, high in want.voids:
            left, top = x + gap if x else 0, y + gap if y else 0
            right = x + wide if x + wide < want.width else blank.right
            bottom = y + high if y + high < want.height else blank.bottom
            if left < right and top < bottom:
                yield Rect(left, top, right - left, bottom - top)

    def _sheet(self, stock: StockItem) -> Sheet:
        gap = 2 * self._half_gap
        x, y, width, height = stock.usable
        area = Rect(0, 0, width + gap, height + gap)
        spoiled = []
        for rect in stock.damaged:
            # To the edge, where it reaches the edge; and half a gap away from pieces.
            left = max(0, rect.x - x + self._half_gap) if rect.x > x else 0
            top = max(0, rect.y - y + self._half_gap) if rect.y > y else 0
            right = rect.right - x + self._half_gap if rect.right < x + width else area.right
            bottom = rect.bottom - y + self._half_gap if rect.bottom < y + height else area.bottom
            if left < right and top < bottom:
                spoiled.append(Rect(left, top, right - left, bottom - top))
        if self._mixed_grain and stock.grain is Grain.HEIGHT:
            turned = tuple(_turned_rect(rect, area.height) for rect in spoiled)
            return Sheet(stock, area.height, area.width, True, turned)
        return Sheet(stock, area.width, area.height, False, tuple(spoiled))


def placed_on(sheet: Sheet, blank: Blank, at: Rect, turned: bool) -> PlacedPiece:
    """Return where on the real sheet a piece lies.

    Parameters
    ----------
    at
        Where its blank and border lie on the sheet as it is laid out.
    turned
        Whether it is turned from how it is laid.
    """
    if sheet.turned:
        # Back, counter-clockwise.
        at = Rect(at.y, sheet.width - at.right, at.height, at.width)
    want = blank.demand
    gap = (blank.width + blank.height - want.width - want.height) // 2
    x, y = sheet.stock.usable[:2]
    quarters = blank.turned + turned + sheet.turned
    return PlacedPiece(
        want.name, x + at.x, y + at.y, at.width - gap, at.height - gap, quarters % 2 == 1
    )


def _turned_blank(blank: Blank) -> Blank:
    """Return a blank laid a quarter turn clockwise."""
    want = Demand("", blank.width, blank.height, 1, voids=blank.voids)
    voids = placed_voids(want, PlacedPiece("", 0, 0, blank.height, blank.width, True))
    return blank._replace(width=blank.height, height=blank.width, turned=True, voids=voids)


def _turned_rect(rect: Rect, height: Length) -> Rect:
    """Return a rectangle of an area so high after the area is turned a quarter clockwise."""
    return Rect(height - rect.bottom, rect.x, rect.height, rect.width)
