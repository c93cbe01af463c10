"""The order of cuts in plain words."""

from __future__ import annotations

import textwrap
from itertools import takewhile
from typing import TYPE_CHECKING, NamedTuple

from nester.core.lengths import Unit
from nester.core.problem import UNLIMITED_TRIMMER, Rect
from nester.core.translation import ENGLISH, translatable
from nester.cutting.measures import MEASURE_TOLERANCE, PrintedMeasures, split_by

if TYPE_CHECKING:
    from collections.abc import Sequence

    from nester.core.lengths import Length
    from nester.core.problem import Cut, Layout, Trimmer
    from nester.core.translation import Translator

__all__ = [
    "KNIFE_SAFETY_NOTE",
    "SAFETY_NOTE",
    "CuttingStep",
    "cutting_instructions",
    "cutting_steps",
    "measure_note",
    "offcut_name",
    "safety_notes",
]

SAFETY_NOTE = translatable(
    "Keep fingers clear of the blade and children away from the table. Your trimmer's"
    " instructions and the rules of your workplace come first."
)
KNIFE_SAFETY_NOTE = translatable(
    "With the knife: use a sharp blade, a steel rule that does not slip and a cutting mat."
    " Cut in several light passes. Keep the hand that holds the rule behind its edge, never in"
    " the blade's way. Cover or put away the blade at every pause."
)

_LINE_WIDTH = 76
_INDENT = "   "
_NO_BREAK_SPACE = "\N{NO-BREAK SPACE}"


def offcut_name(number: int, translator: Translator = ENGLISH) -> str:
    """Return what a layout's offcut is called; they are numbered from 1 in its order."""
    return translator.say("offcut {number}").format(number=number)


def safety_notes(layout: Layout, *, trimmer: Trimmer = UNLIMITED_TRIMMER) -> tuple[str, ...]:
    """Return the safety notes for cutting a layout.

    Parameters
    ----------
    trimmer
        What it can't cut is cut with a knife.
    """
    if not layout.cuts:
        return ()
    by_knife = not all(map(trimmer.can_make, layout.cuts))
    return (SAFETY_NOTE, KNIFE_SAFETY_NOTE) if by_knife else (SAFETY_NOTE,)


def measure_note(translator: Translator = ENGLISH) -> str:
    """Say how exact the printed measures are."""
    text = translator.say(
        "A measure marked ≈ is rounded. Cut as it is printed, every piece comes within {tolerance}"
        " of its size."
    )
    return text.format(tolerance=translator.length(MEASURE_TOLERANCE, Unit.MM))


class CuttingStep(NamedTuple):
    """One cut in words: where it runs, and what becomes of what it frees."""

    cut: str
    results: tuple[str, ...]


def cutting_steps(
    layout: Layout,
    unit: Unit,
    *,
    translator: Translator = ENGLISH,
    trimmer: Trimmer = UNLIMITED_TRIMMER,
    offcuts: Sequence[str] = (),
) -> list[CuttingStep]:
    """Say the cuts of a layout in words, in whole sentences.

    Parameters
    ----------
    layout
        Its cuts must be in order, each part's own cuts together.
    unit
        In which sizes are written; what it can't show exactly is marked with ``≈``.
    trimmer
        What it can't cut from edge to edge is cut with a knife, and the words say so.
    offcuts
        What the layout's offcuts are called, in its order; `offcut_name` if not given.
    """
    writer = _InstructionWriter(layout, unit, translator, trimmer, offcuts)
    return [writer.step(number) for number in range(1, len(layout.cuts) + 1)]


def cutting_instructions(
    layout: Layout,
    unit: Unit,
    *,
    translator: Translator = ENGLISH,
    trimmer: Trimmer = UNLIMITED_TRIMMER,
    offcuts: Sequence[str] = (),
) -> tuple[str, ...]:
    """Say the cuts of a layout in words, numbered from 1.

    Each says where the cut runs, measured from the left or top edge of the part that is cut, and
    what it frees.  Lines are at most 76 characters long where words allow; those after the first
    are indented.  The parameters are those of `cutting_steps`.
    """
    steps = cutting_steps(layout, unit, translator=translator, trimmer=trimmer, offcuts=offcuts)
    return tuple(map(_step_as_text, steps))


def _step_as_text(step: CuttingStep) -> str:
    return "\n".join(
        row
        for text in (step.cut, *(_INDENT + free for free in step.results))
        for row in _wrap(text)
    )


_CUT_TEXTS = {
    True: (
        translatable("{number}. Up and down, {at} from the left edge {whole}."),
        translatable(
            "{number}. Knife, up and down, {at} from the left edge {whole};"
            " start {start} and stop {end} from its top edge."
        ),
        translatable(
            "{number}. Knife, up and down, {at} from the left edge {whole};"
            " start {start} from its top edge and cut to its bottom edge."
        ),
    ),
    False: (
        translatable("{number}. Across, {at} from the top edge {whole}."),
        translatable(
            "{number}. Knife, across, {at} from the top edge {whole};"
            " start {start} and stop {end} from its left edge."
        ),
        translatable(
            "{number}. Knife, across, {at} from the top edge {whole};"
            " start {start} from its left edge and cut to its right edge."
        ),
    ),
}
"""By whether a cut runs up and down: its words from edge to edge, with the knife, and with the
knife to the far edge, whose place is not told as a number, as that may be rounded."""
_SLIVER_TEXT = translatable("{number}. No cut {whole}: only a sliver would come off; leave it on.")
_SIDE_TEXTS = {
    True: (translatable("Left: {fate}."), translatable("Right: {fate}.")),
    False: (translatable("Top: {fate}."), translatable("Bottom: {fate}.")),
}
_CORNER_TEXT, _PIECE_TEXT = (
    translatable("Corner cut out: {fate}."),
    translatable("Piece cut out: {fate}."),
)


class _InstructionWriter:
    def __init__(
        self,
        layout: Layout,
        unit: Unit,
        translator: Translator = ENGLISH,
        trimmer: Trimmer = UNLIMITED_TRIMMER,
        offcuts: Sequence[str] = (),
    ) -> None:
        self.cuts = layout.cuts
        self.measures = PrintedMeasures(layout, unit)
        self.translator = translator
        self.trimmer = trimmer
        self.pieces = {piece.rect: _one_line(piece.name) for piece in layout.placed}
        self.named_rects = [(piece.rect, _one_line(piece.name)) for piece in layout.placed]
        names = offcuts or [offcut_name(i, translator) for i in range(1, len(layout.offcuts) + 1)]
        self.named_rects += zip(layout.offcuts, names, strict=True)
        self.names = dict(self.named_rects)
        self.first_cut: dict[Rect, int] = {}
        for number, cut in enumerate(layout.cuts, 1):
            self.first_cut.setdefault(cut.part, number)

    def step(self, number: int) -> CuttingStep:
        cut = self.cuts[number - 1]
        frees = self._knife_results(number, cut) if cut.knife else self._results(number, cut)
        return CuttingStep(self._cut_text(number, cut), tuple(frees))

    def _cut_text(self, number: int, cut: Cut) -> str:
        say = self.translator.say
        measures = self.measures.of(cut)
        if measures.is_left_out:
            return say(_SLIVER_TEXT).format(number=number, whole=self._part_text(cut))
        far = cut.part.bottom if cut.vertical else cut.part.right
        kind = (2 if measures.end is None else 1) if cut.knife else 0
        low, along = (cut.part.x, cut.part.y) if cut.vertical else (cut.part.y, cut.part.x)
        text = say(_CUT_TEXTS[cut.vertical][kind]).format(
            number=number,
            at=self._length(measures.at, cut.at - low),
            whole=self._part_text(cut),
            start=self._length(measures.start, cut.start - along),
            end=self._length(far if measures.end is None else measures.end, cut.end - along),
        )
        if cut.knife or self.trimmer.can_make(cut):
            return text
        longest = self.trimmer.longest_cut
        if longest is not None and cut.end - cut.start > longest:
            why = say("With knife and steel rule: it is too long for the trimmer.")
        else:
            why = say("With knife and steel rule: the trimmer cannot hold this strip.")
        return f"{text} {why}"

    def _part_text(self, cut: Cut) -> str:
        """Say of what a cut's edge is."""
        say = self.translator.say
        if cut.knife and cut.part in self.pieces:
            return say("of {name}").format(name=self.pieces[cut.part])
        size = self._size(cut.part)
        if cut.part == self.cuts[0].part:
            return say("of the {size} sheet").format(size=size)
        return say("of the {size} part").format(size=size)

    def _results(self, number: int, cut: Cut) -> list[str]:
        if self.measures.is_left_out(cut):
            whole = max(split_by(cut), key=lambda rect: rect.area)
            say = self.translator.say
            return [say("Whole: {fate}.").format(fate=self._destination(number, whole))]
        return [
            self.translator.say(side).format(fate=self._destination(number, rect))
            for side, rect in zip(_SIDE_TEXTS[cut.vertical], split_by(cut), strict=True)
        ]

    def _destination(self, number: int, rect: Rect) -> str:
        say, size = self.translator.say, self._size(rect)
        first = self.first_cut.get(rect)
        if first is None:
            if rect in self.names:
                return f"{self.names[rect]}, {size}"
            return say("scrap, {size}").format(size=size)
        last = first - 1 + self._count_cuts_within(rect, first)
        cuts = say("cut {first}") if first == last else say("cuts {first}–{last}")
        at_once = first == number + 1
        if rect in self.pieces:
            go_on = say("{name}, {size}; go on with it, for {cuts}")
            set_aside = say("{name}, {size}; set it aside, for {cuts}")
        else:
            go_on = say("go on with the {size} part, for {cuts}")
            set_aside = say("set aside the {size} part, for {cuts}")
        return (go_on if at_once else set_aside).format(
            name=self.pieces.get(rect),
            size=size,
            cuts=_unbroken(cuts.format(first=first, last=last)),
        )

    def _count_cuts_within(self, rect: Rect, first: int) -> int:
        within = takewhile(lambda cut: rect.contains(cut.part), self.cuts[first - 1 :])
        return sum(1 for _ in within)

    def _knife_results(self, number: int, cut: Cut) -> list[str]:
        """Tell what a knife cut frees: a corner of a blank, or with the last of them all."""
        say = self.translator.say
        if cut.part in self.pieces:
            return [
                say(_cutout_text(cut.part, rect)).format(fate=self._destination(number, rect))
                for rect in self._cutouts(cut.part)
                if self._last_cut_around(rect, cut.part) == number
            ]
        if number < len(self.cuts) and self.cuts[number].part == cut.part:
            return []
        free = (
            f"{name}, {self._size(rect)}"
            for rect, name in self.named_rects
            if cut.part.contains(rect)
        )
        return [say("Now free: {things}; the rest is scrap.").format(things="; ".join(free))]

    def _cutouts(self, blank: Rect) -> list[Rect]:
        """Return what is cut out of a blank: the largest of what is cut or named within it."""
        within = {rect for rect, _ in self.named_rects} | {cut.part for cut in self.cuts}
        within = {rect for rect in within if rect != blank and blank.contains(rect)}
        return sorted(
            rect
            for rect in within
            if not any(other != rect and other.contains(rect) for other in within)
        )

    def _last_cut_around(self, rect: Rect, blank: Rect) -> int:
        """Return the last knife cut along an edge of what is cut out of a blank."""
        return max(
            number
            for number, cut in enumerate(self.cuts, 1)
            if cut.part == blank and _runs_along(cut, rect)
        )

    def _length(self, told: Length, true: Length, *, with_unit: bool = True) -> str:
        text = self.translator.length(told, self.measures.unit, with_unit=with_unit)
        rounded = told != true and not text.startswith("≈")
        return _unbroken(f"≈{text}" if rounded else text)

    def _size(self, rect: Rect) -> str:
        told = self.measures.rect(rect)
        width = self._length(told.width, rect.width, with_unit=False)
        return _unbroken(f"{width} × {self._length(told.height, rect.height)}")


def _runs_along(cut: Cut, rect: Rect) -> bool:
    places, span = (rect.x, rect.right), (rect.y, rect.bottom)
    if not cut.vertical:
        places, span = span, places
    return cut.at in places and cut.start < span[1] and span[0] < cut.end


def _cutout_text(blank: Rect, rect: Rect) -> str:
    across = rect.x == blank.x or rect.right == blank.right
    down = rect.y == blank.y or rect.bottom == blank.bottom
    return _CORNER_TEXT if across and down else _PIECE_TEXT


def _unbroken(text: str) -> str:
    """Return a text that is not broken across lines."""
    return text.replace(" ", _NO_BREAK_SPACE)


def _one_line(name: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in name).split())


def _wrap(text: str) -> list[str]:
    rows = textwrap.wrap(
        text,
        _LINE_WIDTH,
        subsequent_indent=_INDENT,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [row.replace(_NO_BREAK_SPACE, " ") for row in rows]
