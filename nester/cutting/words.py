"""The order of cuts in plain words."""

from __future__ import annotations

import textwrap
from itertools import takewhile
from typing import TYPE_CHECKING

from nester.layouts import Rect
from nester.measure import format_length, format_size

if TYPE_CHECKING:
    from nester.layouts import Cut, Layout
    from nester.measure import Length, Unit

__all__ = ["CAUTION", "KNIFE_CAUTION", "cautions", "offcut_name", "step_text", "steps"]

CAUTION = (
    "Keep fingers clear of the blade and children away from the table; a trimmer's own"
    " instructions and the rules of your place come first."
)
KNIFE_CAUTION = (
    "With the knife: a sharp blade, a steel rule that does not slip, a cutting mat; cut in several"
    " light passes, with the hand that holds the rule behind its edge and never in the blade's"
    " way; cover or put away the blade at every pause."
)

_LINE = 76
_INDENT = "   "
_FIXED_SPACE = "\N{NO-BREAK SPACE}"


def offcut_name(number: int) -> str:
    """Return what a layout's offcut is called; they are numbered from 1 in its order."""
    return f"offcut {number}"


def cautions(layout: Layout) -> tuple[str, ...]:
    """Return what a maker should heed before cutting."""
    if not layout.cuts:
        return ()
    return (CAUTION, KNIFE_CAUTION) if any(cut.knife for cut in layout.cuts) else (CAUTION,)


def step_text(layout: Layout, number: int, unit: Unit) -> str:
    """Say one cut of a layout in words; see `steps`."""
    return _Teller(layout, unit).step(number)


def steps(layout: Layout, unit: Unit) -> tuple[str, ...]:
    """Say the cuts of a layout in words, numbered from 1.

    Each tells where the cut runs, measured from the left or top edge of the part that is cut, and
    what it frees.  Lines are at most 76 characters long where words allow; those after the first
    are indented.

    Parameters
    ----------
    layout
        Its cuts must be in order, each part's own cuts together.
    unit
        In which sizes are written; what it can't show exactly is marked with ``≈``.
    """
    return _Teller(layout, unit).steps()


class _Teller:
    def __init__(self, layout: Layout, unit: Unit) -> None:
        self.cuts = layout.cuts
        self.unit = unit
        self.pieces = {piece.rect: _one_line(piece.name) for piece in layout.placed}
        self.things = [(piece.rect, _one_line(piece.name)) for piece in layout.placed]
        self.things += [(rect, offcut_name(i)) for i, rect in enumerate(layout.offcuts, 1)]
        self.names = dict(self.things)
        self.first_cut: dict[Rect, int] = {}
        for number, cut in enumerate(layout.cuts, 1):
            self.first_cut.setdefault(cut.part, number)

    def steps(self) -> tuple[str, ...]:
        return tuple(self.step(number) for number in range(1, len(self.cuts) + 1))

    def step(self, number: int) -> str:
        cut = self.cuts[number - 1]
        frees = self._frees_by_knife(number, cut) if cut.knife else self._frees(number, cut)
        return "\n".join(
            row
            for told in (f"{number}. {self._where(cut)}.", *(_INDENT + free for free in frees))
            for row in _wrapped(told)
        )

    def _where(self, cut: Cut) -> str:
        part = cut.part
        kind = "sheet" if part == self.cuts[0].part else "part"
        way, edge = ("up and down", "left") if cut.vertical else ("across", "top")
        at = self._length(cut.at - (part.x if cut.vertical else part.y))
        whole = self.pieces.get(part) if cut.knife else None
        line = f"{way}, {at} from the {edge} edge of {whole or f'the {self._size(part)} {kind}'}"
        if not cut.knife:
            return line[0].upper() + line[1:]
        low, other_edge = (part.y, "top") if cut.vertical else (part.x, "left")
        start, end = self._length(cut.start - low), self._length(cut.end - low)
        return f"Knife, {line}; start {start} and stop {end} from its {other_edge} edge"

    def _frees(self, number: int, cut: Cut) -> list[str]:
        sides = ("Left", "Right") if cut.vertical else ("Top", "Bottom")
        return [
            f"{side}: {self._fate(number, rect)}."
            for side, rect in zip(sides, _halves(cut), strict=True)
        ]

    def _fate(self, number: int, rect: Rect) -> str:
        size = self._size(rect)
        first = self.first_cut.get(rect)
        if first is not None:
            last = first - 1 + self._cuts_within(rect, first)
            cuts = f"cut {first}" if first == last else f"cuts {first}–{last}"
            at_once = first == number + 1
            if rect in self.pieces:
                verb = "go on with it" if at_once else "set it aside"
                return f"{self.pieces[rect]}, {size}; {verb}, for {_fixed(cuts)}"
            return f"{'go on with' if at_once else 'set aside'} the {size} part, for {_fixed(cuts)}"
        return f"{self.names.get(rect, 'scrap')}, {size}"

    def _cuts_within(self, rect: Rect, first: int) -> int:
        within = takewhile(lambda cut: rect.holds(cut.part), self.cuts[first - 1 :])
        return sum(1 for _ in within)

    def _frees_by_knife(self, number: int, cut: Cut) -> list[str]:
        """Tell what a knife cut frees: a corner of a blank, or with the last of them all."""
        if cut.part in self.pieces:
            return [
                f"{_corner(cut.part, rect)} cut out: {self._fate(number, rect)}."
                for rect in self._cut_out_of(cut.part)
                if self._last_around(rect, cut.part) == number
            ]
        if number < len(self.cuts) and self.cuts[number].part == cut.part:
            return []
        free = (f"{name}, {self._size(rect)}" for rect, name in self.things if cut.part.holds(rect))
        return [f"Now free: {'; '.join(free)}; the rest is scrap."]

    def _cut_out_of(self, blank: Rect) -> list[Rect]:
        """Return what is cut out of a blank: the largest of what is cut or named within it."""
        within = {rect for rect, _ in self.things} | {cut.part for cut in self.cuts}
        within = {rect for rect in within if rect != blank and blank.holds(rect)}
        return sorted(
            rect
            for rect in within
            if not any(other != rect and other.holds(rect) for other in within)
        )

    def _last_around(self, rect: Rect, blank: Rect) -> int:
        """Return the last knife cut along an edge of what is cut out of a blank."""
        return max(
            number
            for number, cut in enumerate(self.cuts, 1)
            if cut.part == blank and _runs_along(cut, rect)
        )

    def _length(self, length: Length) -> str:
        return _fixed(format_length(length, self.unit))

    def _size(self, rect: Rect) -> str:
        return _fixed(format_size(rect.width, rect.height, self.unit))


def _halves(cut: Cut) -> tuple[Rect, Rect]:
    part = cut.part
    if cut.vertical:
        return part._replace(width=cut.at - part.x), part._replace(
            x=cut.at, width=part.right - cut.at
        )
    return part._replace(height=cut.at - part.y), part._replace(
        y=cut.at, height=part.bottom - cut.at
    )


def _runs_along(cut: Cut, rect: Rect) -> bool:
    places, span = (rect.x, rect.right), (rect.y, rect.bottom)
    if not cut.vertical:
        places, span = span, places
    return cut.at in places and cut.start < span[1] and span[0] < cut.end


def _corner(blank: Rect, rect: Rect) -> str:
    across = rect.x == blank.x or rect.right == blank.right
    down = rect.y == blank.y or rect.bottom == blank.bottom
    return "Corner" if across and down else "Piece"


def _fixed(text: str) -> str:
    """Return a text that is not broken across lines."""
    return text.replace(" ", _FIXED_SPACE)


def _one_line(name: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in name).split())


def _wrapped(text: str) -> list[str]:
    rows = textwrap.wrap(
        text,
        _LINE,
        subsequent_indent=_INDENT,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [row.replace(_FIXED_SPACE, " ") for row in rows]
