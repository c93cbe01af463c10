"""A plan's set of documents: what each of them says, in the words of the shop.

The summary with its cautions, the take-out list, a cut sheet for each layout, score and fold
sheets, a kit list for each order, labels.
"""

from __future__ import annotations

import hashlib
import re
import xml.etree.ElementTree as ET
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from functools import partial
from typing import NamedTuple, get_args

from inventory.core.money import round_to_coin
from inventory.core.plan import Plan, PlannedLayout, PlannedOrder, plan_to_json
from inventory.documents.format.blocks import (
    Block,
    Cell,
    Checkbox,
    Column,
    Document,
    DocumentKind,
    Heading,
    Label,
    LabelGrid,
    Labels,
    Paragraph,
    Picture,
    StepList,
    Swatch,
    Table,
)
from inventory.documents.format.languages import ShopTranslator, translator_for
from inventory.documents.plan.lists import numbers, offcut_mark
from inventory.documents.plan.translation import piece_name, translated
from nester.core.lengths import format_area, printable
from nester.core.piece import Grain, Piece
from nester.core.translation import translatable
from nester.cutting import (
    Pace,
    cutting_steps,
)
from nester.drawing.pictures.layout import layout_picture
from nester.drawing.pictures.piece import GRAIN_WORDS
from nester.drawing.pictures.score_sheet import draw_scores, has_scores, score_rows

__all__ = ["DOCUMENT_KINDS", "DocumentOptions", "footer_of", "plan_documents", "plan_fingerprint"]

DOCUMENT_KINDS: tuple[DocumentKind, ...] = get_args(DocumentKind)

_CAUTIONS = (
    translatable(
        "Knife: fit a sharp blade and cut along a steel rule on a cutting mat, in several light"
        " passes. Keep the hand that holds the rule behind its edge and out of the blade's way."
        " Cover or put away the blade at every pause; put snapped-off blades into a closed tin."
    ),
    translatable(
        "Trimmer: keep fingers clear of the blade, lock its arm when you leave it, and never cut"
        " a stack that is thicker than its maker allows."
    ),
    translatable(
        "Adhesives and hot tools: air the room, keep hot glue and embossing tools off skin, and"
        " put hot tools on their stand, away from paper. Wear eye protection when setting eyelets."
    ),
    translatable(
        "Keep children away from the table. Eyelets, magnets, beads and ribbons on a finished box"
        " are no toys: small parts can be swallowed, ribbons can wind around a neck."
    ),
    translatable(
        "The instructions of the makers of your tools and adhesives, and the rules of your place,"
        " come before anything printed here."
    ),
)


@dataclass(frozen=True)
class DocumentOptions:
    """How a set of documents is made, and what the book knows beside the plan.

    Attributes
    ----------
    labels
        By layout, copy from 1 and place of an offcut in the layout: the labels of those that are
        in the stash already.
    extras
        By order: what it takes beside paper, such as ribbon, in words.
    pace
        How long the shop takes to cut.
    missing
        By order: pieces that were spoiled and not made anew, with their number.
    left
        By layout, the copies that are still to be cut: only these are taken out, cut and
        labelled.  None: all are.
    """

    kinds: tuple[DocumentKind, ...] = DOCUMENT_KINDS
    translator: ShopTranslator = field(default_factory=translator_for)
    grid: LabelGrid = field(default_factory=LabelGrid)
    pace: Pace = field(default_factory=Pace)
    labels: Mapping[tuple[int, int, int], str] = field(default_factory=dict)
    extras: Mapping[int, Sequence[str]] = field(default_factory=dict)
    missing: Mapping[int, Mapping[str, int]] = field(default_factory=dict)
    left: Mapping[int, Sequence[int]] | None = None


def plan_fingerprint(plan: Plan) -> str:
    """Return eight signs that tell this plan from any other: printed at the foot of each page."""
    digest = hashlib.sha256(plan_to_json(plan).encode()).hexdigest().upper()
    return f"{digest[:4]}-{digest[4:8]}"


def footer_of(plan: Plan, voice: ShopTranslator) -> str:
    """Return what stands at the foot of each page."""
    words = voice.say("{shop} · batch {batch} · {date} · plan {mark}")
    return words.format(
        shop=printable(plan.shop),
        batch=plan.batch or "–",
        date=voice.date(plan.made_on),
        mark=plan_fingerprint(plan),
    )


def plan_documents(plan: Plan, options: DocumentOptions) -> list[Document]:
    """Return the documents of a plan, in the order in which they are used."""
    teller = _DocumentWriter(translated(plan, options.translator), options)
    makers = {
        "summary": teller.summary,
        "take-out": teller.take_out,
        "cut": teller.cut_sheets,
        "score": teller.score_sheets,
        "kit": teller.kits,
        "labels": teller.labels,
    }
    return [made for kind in DOCUMENT_KINDS if kind in options.kinds for made in makers[kind]()]


class _SheetsToFetch(NamedTuple):
    """Sheets of one label, and the layouts that are cut from them."""

    number: int
    layouts: tuple[int, ...]


class _DocumentWriter:
    """Says a plan in a voice."""

    def __init__(self, plan: Plan, options: DocumentOptions) -> None:
        self.plan, self.options, self.translator = plan, options, options.translator
        self.say = options.translator.say
        self.count = options.translator.count
        self.swatches = {layout.sheet.paper: layout.sheet.swatch for layout in plan.layouts}
        self.copies = {one.number: tuple(range(1, one.copies + 1)) for one in plan.layouts}
        if options.left is not None:
            self.copies = {number: tuple(copies) for number, copies in options.left.items()}
        self.to_cut = [one for one in plan.layouts if self.copies.get(one.number)]

    def length(self, length: int) -> str:
        return self.translator.length(length, self.plan.unit)

    def size(self, width: int, height: int) -> str:
        return self.translator.size(width, height, self.plan.unit)

    # --- the summary ---------------------------------------------------------------------------

    def summary(self) -> Iterator[Document]:
        plan, say = self.plan, self.say
        made = [order for order in plan.orders if order.made]
        blocks: list[Block] = []
        if plan.layouts:
            blocks.append(Paragraph(self._value(), bold=True))
            blocks.append(
                Table((Column(say("What"), 2), Column(say("How much"), 5)), self._facts())
            )
        else:
            blocks.append(Paragraph(say("No order can be made from the stash."), bold=True))
        blocks += [Paragraph(printable(note)) for note in plan.notes]
        blocks.append(Heading(say("Orders")))
        blocks.append(self._orders())
        if plan.lacking:
            blocks += [Heading(say("What the waiting orders lack")), self._shortages()]
        if plan.restock:
            blocks += [Heading(say("To buy")), self._to_buy()]
        blocks.append(Heading(say("Before you begin")))
        blocks += [Paragraph(say(text), boxed=True) for text in _CAUTIONS]
        title = say("Batch {batch}").format(batch=plan.batch) if plan.batch else say("No batch")
        about = say("{made} of {all} orders can be made; planned on {date}.").format(
            made=len(made), all=len(plan.orders), date=self.translator.date(plan.made_on)
        )
        yield Document("summary", f"{printable(plan.shop)} · {title}", about, tuple(blocks))

    def _money(self, amount: Decimal) -> str:
        return self.translator.money(Fraction(amount), self.plan.currency)

    def _value(self) -> str:
        plan, say = self.plan, self.say
        cost, bound = self._money(plan.net_cost), self._money(plan.bound)
        if plan.net_cost == plan.bound or cost == bound:
            text = say("This plan uses {cost} of paper, and no plan can use less.")
        else:
            text = say("No plan can use less than {bound} of paper; this one uses {cost}.")
        words = text.format(cost=cost, bound=bound)
        if round_to_coin(plan.kept, plan.currency):
            kept = say("That is {spent} for the sheets, less {kept} for the offcuts that are kept.")
            words += " " + kept.format(spent=self._money(plan.cost), kept=self._money(plan.kept))
        return words

    def _facts(self) -> tuple[tuple[Cell, ...], ...]:
        plan, say, count = self.plan, self.say, self.count
        sheets = sum(one.copies for one in plan.layouts if one.sheet.kind == "sheet")
        taken = sum(one.copies for one in plan.layouts if one.sheet.kind == "offcut")
        pieces = sum(one.copies * len(one.spots) for one in plan.layouts)
        kept = sum(one.copies * len(one.offcuts) for one in plan.layouts)
        area = Fraction(plan.paper_area)
        spent, saved = Fraction(plan.piece_area), Fraction(plan.kept_area)
        paper = format_area(plan.paper_area, plan.unit).replace(".", self.translator.decimal_mark)
        cuts = sum(len(one.cuts) * one.copies for one in plan.layouts)
        time = sum((self._minutes(one) for one in plan.layouts), Fraction(0))
        papers: dict[str, Fraction] = defaultdict(Fraction)
        for one in plan.layouts:
            papers[one.sheet.paper] += Fraction(one.sheet.price) * one.copies
        facts = [
            (say("Taken from the stash"), ", ".join([
                count("{n} sheet", "{n} sheets", sheets),
                count("{n} offcut", "{n} offcuts", taken),
                paper,
            ])),
            (say("Made of it"), ", ".join([
                count("{n} piece", "{n} pieces", pieces),
                count("{n} offcut to keep", "{n} offcuts to keep", kept),
            ])),
            (say("Where the paper goes"), say(
                "{used} into pieces, {kept} back as offcuts, {scrap} scrap"
            ).format(
                used=self.translator.percent(spent / area),
                kept=self.translator.percent(saved / area),
                scrap=self.translator.percent((area - spent - saved) / area),
            )),
            (say("Paper by kind"), "; ".join(
                f"{printable(name)} {self.translator.money(cost, plan.currency)}"
                for name, cost in sorted(papers.items())
            )),
            (say("Could be saved at most"), self.translator.percent(plan.optimality_gap, 1)),
            (say("Time to cut, about"), ", ".join([
                self._hours(time),
                count("{n} cut", "{n} cuts", cuts),
                self._pace_source(),
            ])),
        ]  # fmt: skip
        return tuple(facts)

    def _minutes(self, layout: PlannedLayout) -> Fraction:
        return self.options.pace.minutes(self.plan.as_layout(layout)[0], self.plan.trimmer)

    def _pace_source(self) -> str:
        reports = self.options.pace.reports
        if not reports:
            return self.say("at a usual pace")
        return self.count(
            "at your own pace, from {n} report", "at your own pace, from {n} reports", reports
        )

    def _hours(self, minutes: Fraction) -> str:
        hours, rest = divmod(int(minutes) + 1, 60)
        if not hours:
            return self.say("{minutes} min").format(minutes=rest)
        return self.say("{hours} h {minutes} min").format(hours=hours, minutes=rest)

    def _orders(self) -> Table:
        say = self.say
        columns = (
            Column(say("Order"), 14, fixed=True, align_right=True),
            Column(say("For"), 3),
            Column(say("What"), 3),
            Column(say("Due"), 28, fixed=True),
            Column(say("Now"), 33, fixed=True),
        )
        rows = tuple(
            (
                str(order.number),
                printable(order.customer),
                f"{order.copies} × {printable(order.design)}",
                self.translator.date(order.due),
                say("will be cut") if order.made else say("waits"),
            )
            for order in self.plan.orders
        )
        return Table(columns, rows)

    def _shortages(self) -> Table:
        say = self.say
        columns = (
            Column(say("Order"), 14, fixed=True, align_right=True),
            Column(say("Number"), 17, fixed=True, align_right=True),
            Column(say("Piece"), 3),
            Column(say("Paper"), 3),
            Column(say("Size"), 3),
        )
        rows = tuple(
            (
                str(one.order),
                str(one.quantity),
                printable(one.piece),
                printable(one.paper),
                self.size(one.width, one.height),
            )
            for one in self.plan.lacking
        )
        return Table(columns, rows)

    def _to_buy(self) -> Table:
        say = self.say
        columns = (
            Column("", 8, fixed=True),
            Column(say("Number"), 17, fixed=True, align_right=True),
            Column(say("Paper"), 3),
            Column(say("Size"), 3),
            Column(say("Each"), 2, align_right=True),
            Column(say("For orders"), 2),
        )
        rows = tuple(
            (
                Checkbox(),
                str(one.quantity) if one.quantity else "?",
                printable(one.paper),
                ("" if one.quantity else say("at least") + " ") + self.size(one.width, one.height),
                "" if one.price is None else self._money(one.price),
                numbers(one.orders),
            )
            for one in self.plan.restock
        )
        return Table(columns, rows)

    # --- the take-out list ---------------------------------------------------------------------

    def take_out(self) -> Iterator[Document]:
        say = self.say
        fetched: dict[str, _SheetsToFetch] = {}
        sheets = {}
        for layout in self.to_cut:
            label = layout.sheet.label
            sheets[label] = layout.sheet
            before = fetched.get(label, _SheetsToFetch(0, ()))
            fetched[label] = _SheetsToFetch(
                before.number + len(self.copies[layout.number]),
                (*before.layouts, layout.number),
            )
        places: dict[str, list[str]] = defaultdict(list)
        for label, sheet in sheets.items():
            places[printable(sheet.place or "")].append(label)
        columns = (
            Column("", 7, fixed=True),
            Column(say("Number"), 17, fixed=True, align_right=True, bold=True),
            Column(say("Label"), 19, fixed=True, bold=True),
            Column("", 13, fixed=True),
            Column(say("Paper"), 4),
            Column(say("Size"), 3),
            Column(say("For layouts"), 2),
        )
        blocks: list[Block] = []
        for place in sorted(places, key=_natural_sort_key):
            blocks.append(Heading(place or say("Place not written down")))
            in_order = sorted(
                places[place], key=lambda one: (sheets[one].paper, _natural_sort_key(one))
            )
            blocks.append(
                Table(
                    columns,
                    tuple(
                        (
                            Checkbox(),
                            f"{fetched[label].number} ×",
                            label,
                            Swatch(sheets[label].swatch),
                            printable(sheets[label].paper),
                            self.size(sheets[label].width, sheets[label].height),
                            ", ".join(map(str, fetched[label].layouts)),
                        )
                        for label in in_order
                    ),
                )
            )
        if not blocks:
            blocks.append(Paragraph(say("Nothing is taken from the stash.")))
        about = say("Place by place, in the order of their names. Tick what lies on the table.")
        yield Document("take-out", say("Take out of the stash"), about, tuple(blocks))

    # --- cut sheets ----------------------------------------------------------------------------

    def cut_sheets(self) -> Iterator[Document]:
        for layout in self.to_cut:
            yield self._cut_sheet(layout)

    def _cut_sheet(self, layout: PlannedLayout) -> Document:
        plan, say, sheet = self.plan, self.say, layout.sheet
        drawn, _ = plan.as_layout(layout)
        names = self._offcut_names(layout)
        steps = cutting_steps(
            drawn, plan.unit, voice=self.translator, trimmer=self.plan.trimmer, offcuts=names
        )
        kind = "{label}, {paper}, {size}"
        what = kind.format(
            label=sheet.label,
            paper=printable(sheet.paper),
            size=self.size(sheet.width, sheet.height),
        )
        if sheet.place:
            what = say("{what}, from {place}").format(what=what, place=printable(sheet.place))
        orders = sorted({order for spot in layout.spots for order in spot.orders})
        about = [
            what,
            self.count("for order", "for orders", len(orders)) + " " + numbers(orders),
            say("about {time}").format(time=self._hours(self._minutes(layout))),
        ]
        number = len(self.copies[layout.number])
        copies = self.count("cut {n} sheet like this", "cut {n} sheets like this", number)
        draw = partial(self._picture, layout, names)
        blocks: list[Block] = [Picture(draw, what)]
        if steps:
            blocks.append(StepList(tuple(steps)))
        else:
            blocks.append(Paragraph(say("No cut: the sheet is the piece.")))
        title = say("Layout {number}: {copies}").format(number=layout.number, copies=copies)
        return Document("cut", title, " · ".join(about), tuple(blocks))

    def _picture(
        self, layout: PlannedLayout, names: Sequence[str], room: tuple[float, float]
    ) -> ET.Element:
        drawn, stock = self.plan.as_layout(layout)
        return layout_picture(
            drawn,
            stock,
            self.plan.unit,
            paper_colour=layout.sheet.swatch,
            title="",
            pieces=self.plan.pieces_of(layout),
            voice=self.translator,
            trimmer=self.plan.trimmer,
            offcuts=names,
            room=room,
            pattern_up=layout.sheet.pattern_up,
        )

    def _offcut_names(self, layout: PlannedLayout) -> list[str]:
        """Return an offcut's labels, if it has them; before it is cut, a mark of the plan's own."""
        names = []
        for number in range(len(layout.offcuts)):
            spots = ((layout.number, copy, number) for copy in range(1, layout.copies + 1))
            known = [self.options.labels[spot] for spot in spots if spot in self.options.labels]
            own = self.say("offcut {number}").format(number=offcut_mark(self.plan, layout, number))
            names.append(", ".join(known) or own)
        return names

    # --- score and fold sheets -----------------------------------------------------------------

    def score_sheets(self) -> Iterator[Document]:
        say = self.say
        kinds: dict[Piece, Counter[str]] = {}
        for layout in self.plan.layouts:
            for spot in layout.spots:
                part = self.plan.part_of(spot)
                if has_scores(part.piece):
                    kinds.setdefault(part.piece, Counter())[part.paper] += layout.copies
        if not kinds:
            return
        blocks: list[Block] = []
        for piece, papers in kinds.items():
            blocks += self._score(piece, papers)
        about = say(
            "The face is towards you. Score before you fold; fold valley folds towards you,"
            " mountain folds away from you."
        )
        yield Document("score", say("Score and fold"), about, tuple(blocks))

    def _score(self, piece: Piece, papers: Counter[str]) -> Iterator[Block]:
        say = self.say
        pieces = self.count("{n} piece", "{n} pieces", papers.total())
        yield Heading(
            f"{printable(piece.name)} · {self.size(piece.width, piece.height)} · {pieces}"
        )
        of = "; ".join(f"{number} × {printable(name)}" for name, number in sorted(papers.items()))
        words = [of]
        if piece.grain is not Grain.ANY:
            words.append(say(GRAIN_WORDS[piece.grain]))
        if piece.upright:
            words.append(say("a pattern stands upright on it"))
        if piece.glue:
            words.append(self.count("{n} area takes glue", "{n} areas take glue", len(piece.glue)))
        if piece.note:
            words.append(printable(piece.note))
        yield Paragraph(" ".join(map(_sentence, words)))

        def draw(room: tuple[float, float]) -> ET.Element:
            return draw_scores(
                piece, self.plan.unit, room=room, fill="#ffffff", voice=self.translator
            )

        yield Picture(draw, printable(piece.name), most=0.36, least=0.34)
        rows = tuple(
            (str(row.number), row.action, row.direction, row.position, row.extent)
            for row in score_rows(piece, self.plan.unit, self.translator)
        )
        if rows:
            yield Table(
                (
                    Column(say("No."), 10, fixed=True, align_right=True, bold=True),
                    Column(say("What"), 4),
                    Column(say("Way"), 2.4),
                    Column(say("Where"), 4, bold=True),
                    Column(say("How far"), 5),
                ),
                rows,
            )
        else:
            yield Paragraph(say("No folds: only cut along the outline."))

    # --- kits ----------------------------------------------------------------------------------

    def kits(self) -> Iterator[Document]:
        gathered: dict[int, Counter[tuple[int, int]]] = defaultdict(Counter)
        for layout in self.plan.layouts:
            for spot in layout.spots:
                for number in spot.orders:
                    gathered[number][spot.part, layout.number] += 1
        for order in self.plan.orders:
            if order.made:
                yield self._kit(order, gathered[order.number])

    def _kit(self, order: PlannedOrder, gathered: Counter[tuple[int, int]]) -> Document:
        plan, say, number = self.plan, self.say, order.number
        by_part: dict[int, dict[int, int]] = defaultdict(dict)
        for (part, layout), quantity in gathered.items():
            by_part[part][layout] = quantity
        columns = (
            Column("", 7, fixed=True),
            Column(say("Number"), 17, fixed=True, align_right=True, bold=True),
            Column(say("Piece"), 4),
            Column("", 13, fixed=True),
            Column(say("Paper"), 3.4),
            Column(say("Size"), 3),
            Column(say("From layouts"), 2.6),
        )
        rows = []
        for part in sorted(by_part):
            where = by_part[part]
            piece, paper = plan.parts[part].piece, plan.parts[part].paper
            came = ", ".join(
                f"{layout} ({times}×)" if times > 1 else str(layout)
                for layout, times in sorted(where.items())
            )
            rows.append(
                (
                    Checkbox(),
                    f"{sum(where.values())} ×",
                    printable(piece.name),
                    Swatch(self.swatches.get(paper)),
                    printable(paper),
                    self.size(piece.width, piece.height),
                    came,
                )
            )
        blocks: list[Block] = [Table(columns, tuple(rows))]
        extras = self.options.extras.get(number, ())
        if extras:
            blocks.append(Heading(say("Beside paper")))
            tick = (Column("", 7, fixed=True), Column(say("What"), 1))
            blocks.append(Table(tick, tuple((Checkbox(), printable(extra)) for extra in extras)))
        missing = self.options.missing.get(number, {})
        missed = [
            say("{quantity} × {piece}, spoiled and not made anew").format(
                quantity=quantity, piece=printable(piece_name(name, self.translator))
            )
            for name, quantity in sorted(missing.items())
        ]
        missed += [
            say("{quantity} × {piece}: there is no paper for it").format(
                quantity=one.quantity, piece=printable(one.piece)
            )
            for one in plan.lacking
            if one.order == number
        ]
        if missed:
            blocks.append(Heading(say("Still missing")))
            blocks += [Paragraph(words, bold=True) for words in missed]
        title = say("Kit for order {number}: {customer}").format(
            number=number, customer=printable(order.customer)
        )
        about = say("{copies} × {design}, due {date}").format(
            copies=order.copies,
            design=printable(order.design),
            date=self.translator.date(order.due),
        )
        return Document("kit", title, about, tuple(blocks))

    # --- labels --------------------------------------------------------------------------------

    def labels(self) -> Iterator[Document]:
        labels = [*self._offcut_labels(), *self._kit_labels()]
        if labels:
            sheets = Labels(tuple(labels), self.options.grid)
            yield Document("labels", self.say("Labels"), "", (sheets,))

    def _offcut_labels(self) -> Iterator[Label]:
        for layout in self.to_cut:
            for copy in self.copies[layout.number]:
                for number, rect in enumerate(layout.offcuts):
                    lines = [printable(layout.sheet.paper), self.size(rect.width, rect.height)]
                    lines.append(self.say("Place:") + " ____________")
                    label = self.options.labels.get((layout.number, copy, number))
                    if label is None:
                        lines.insert(0, self.say("Label:") + " K-______")
                        label = offcut_mark(self.plan, layout, number)
                        label += f".{copy}" if layout.copies > 1 else ""
                    yield Label(label, tuple(lines), layout.sheet.swatch)

    def _kit_labels(self) -> Iterator[Label]:
        for order in self.plan.orders:
            if order.made:
                lines = (
                    printable(order.customer),
                    f"{order.copies} × {printable(order.design)}",
                    self.say("due {date}").format(date=self.translator.date(order.due)),
                )
                yield Label(self.say("Order {number}").format(number=order.number), lines)


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:].rstrip(".") + "."


def _natural_sort_key(text: str) -> list[tuple[int, int, str]]:
    """Return a key by which Drawer 2 stands before Drawer 10, and no place at all comes last."""
    if not text:
        return [(2, 0, "")]
    return [
        (0, int(part), "") if part.isdigit() and part.isascii() else (1, 0, part.casefold())
        for part in re.split(r"([0-9]{1,9})", text)
        if part
    ]
