"""A plan's set of documents: what each of them says, in the words of the shop.

The summary with its safety notes, the take-out list, a cut sheet for each layout, score and fold
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

from inventory.core.money import floor_to_coin, round_to_coin
from inventory.core.plan import NOBODY, Plan, PlannedLayout, PlannedOrder, plan_to_json
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
from inventory.documents.plan.lists import numbers
from inventory.documents.plan.measures import checked_measures
from inventory.documents.plan.translation import piece_name, translated
from nester.core.lengths import format_area, printable
from nester.core.piece import Grain, Piece
from nester.core.translation import translatable
from nester.cutting import Pace, cutting_steps, measure_note
from nester.drawing.pictures.layout import layout_picture
from nester.drawing.pictures.piece import GRAIN_WORDS
from nester.drawing.pictures.score_sheet import draw_scores, has_scores, score_rows

__all__ = ["DOCUMENT_KINDS", "DocumentOptions", "footer_of", "plan_documents", "plan_fingerprint"]

DOCUMENT_KINDS: tuple[DocumentKind, ...] = get_args(DocumentKind)

_SAFETY_NOTES = (
    translatable(
        "Knife: fit a sharp blade and cut along a steel rule on a cutting mat, in several light"
        " passes. Keep the hand that holds the rule behind its edge and out of the blade's way."
        " Cover or put away the blade at every pause; collect snapped-off blades in a closed tin."
    ),
    translatable(
        "Trimmer: keep your fingers clear of the blade, lock the arm when you step away, and"
        " never cut a stack thicker than the manufacturer allows."
    ),
    translatable(
        "Adhesives and hot tools: open a window, keep hot glue and embossing tools off your skin,"
        " and put hot tools on their stand, away from paper. Wear eye protection when you set"
        " eyelets."
    ),
    translatable(
        "Keep children away from the table. Eyelets, magnets, beads and ribbons on a finished box"
        " are not toys: small parts can be swallowed, and ribbons can wind around a neck."
    ),
    translatable(
        "The instructions for your tools and adhesives, and the rules of your workplace, come"
        " before anything printed here."
    ),
)


@dataclass(frozen=True)
class DocumentOptions:
    """How a set of documents is made, and what the shop's records add to the plan.

    Attributes
    ----------
    labels
        By layout, copy from 1 and place of an offcut in the layout: the labels of those that have
        another one than the plan gives them.
    extras
        By order: what else it needs, such as ribbon, in words.
    pace
        How long the shop takes to cut.
    missing
        By order: pieces that were spoiled and not cut again, with their number.
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
    """Return eight characters that identify the plan, printed at the foot of each page."""
    digest = hashlib.sha256(plan_to_json(plan).encode()).hexdigest().upper()
    return f"{digest[:4]}-{digest[4:8]}"


def footer_of(plan: Plan, translator: ShopTranslator) -> str:
    """Return what stands at the foot of each page."""
    words = translator.say("{shop} · batch {batch} · {date} · plan {mark}")
    return words.format(
        shop=printable(plan.shop),
        batch=plan.batch or "–",
        date=translator.date(plan.made_on),
        mark=plan_fingerprint(plan),
    )


def plan_documents(plan: Plan, options: DocumentOptions) -> list[Document]:
    """Return the documents of a plan, in the order in which they are used."""
    writer = _DocumentWriter(translated(plan, options.translator), options)
    makers = {
        "summary": writer.summary,
        "take-out": writer.take_out,
        "cut": writer.cut_sheets,
        "score": writer.score_sheets,
        "kit": writer.kits,
        "labels": writer.labels,
    }
    return [made for kind in DOCUMENT_KINDS if kind in options.kinds for made in makers[kind]()]


class _SheetsToFetch(NamedTuple):
    """Sheets of one label, and the layouts that are cut from them."""

    number: int
    layouts: tuple[int, ...]


class _DocumentWriter:
    """Writes the documents of one plan in the language of a translator."""

    def __init__(self, plan: Plan, options: DocumentOptions) -> None:
        self.plan, self.options, self.translator = plan, options, options.translator
        self.say = options.translator.say
        self.count = options.translator.count
        self.swatches = {layout.sheet.paper: layout.sheet.swatch for layout in plan.layouts}
        self.copies = {layout.number: layout.needed for layout in plan.layouts}
        if options.left is not None:
            self.copies = {number: tuple(copies) for number, copies in options.left.items()}
        self.to_cut = [layout for layout in plan.layouts if self.copies.get(layout.number)]

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
            blocks.append(Table((Column(say("What"), 2), Column(say("Amount"), 5)), self._facts()))
        else:
            blocks.append(Paragraph(say("No order can be made from the stash."), bold=True))
        blocks += [Paragraph(printable(note)) for note in plan.notes]
        blocks.append(Heading(say("Orders")))
        blocks.append(self._orders())
        if plan.lacking:
            blocks += [Heading(say("Missing for the waiting orders")), self._shortages()]
        if plan.restock:
            blocks += [Heading(say("To buy")), self._to_buy()]
        blocks.append(Heading(say("For your safety")))
        blocks += [Paragraph(say(text), boxed=True) for text in _SAFETY_NOTES]
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
        if not plan.is_proven:
            text = say("This plan uses {cost} of paper.")
        elif plan.net_cost == plan.bound or cost == bound:
            text = say("This plan uses {cost} of paper, and no plan can use less.")
        else:
            text = say("No plan can use less than {bound} of paper; this one uses {cost}.")
        words = text.format(cost=cost, bound=bound)
        if round_to_coin(plan.kept, plan.currency):
            kept = say("That is {spent} for the sheets, less {kept} for the offcuts you keep.")
            words += " " + kept.format(spent=self._money(plan.cost), kept=self._money(plan.kept))
        return words

    def _facts(self) -> tuple[tuple[Cell, ...], ...]:
        plan, say, count = self.plan, self.say, self.count
        sheets = sum(len(part.needed) for part in plan.layouts if part.sheet.kind == "sheet")
        taken = sum(len(part.needed) for part in plan.layouts if part.sheet.kind == "offcut")
        pieces = sum(len(part.needed) * len(part.spots) for part in plan.layouts)
        kept = sum(len(part.needed) * len(part.offcuts) for part in plan.layouts)
        area = Fraction(plan.paper_area)
        spent, saved = Fraction(plan.piece_area), Fraction(plan.kept_area)
        paper = format_area(plan.paper_area, plan.unit).replace(".", self.translator.decimal_mark)
        cuts = sum(len(part.cuts) * len(part.needed) for part in plan.layouts)
        time = sum((self._minutes(part) for part in plan.layouts), Fraction(0))
        papers: dict[str, Fraction] = defaultdict(Fraction)
        for layout in plan.layouts:
            papers[layout.sheet.paper] += Fraction(layout.sheet.price) * len(layout.needed)
        facts = [
            (say("Taken from the stash"), ", ".join([
                count("{n} sheet", "{n} sheets", sheets),
                count("{n} offcut", "{n} offcuts", taken),
                paper,
            ])),
            (say("Made from it"), ", ".join([
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
            (say("Cost by paper"), "; ".join(
                f"{printable(name)} {self.translator.money(cost, plan.currency)}"
                for name, cost in sorted(papers.items())
            )),
            (say("Could be saved"), self._possible_saving()),
            (say("Cutting time, about"), ", ".join([
                self._hours(time),
                count("{n} cut", "{n} cuts", cuts),
                self._pace_source(),
            ])),
        ]  # fmt: skip
        return tuple(facts)

    def _possible_saving(self) -> str:
        plan = self.plan
        # Rounded up, so that it stays an upper bound.
        gap = -floor_to_coin(Fraction(plan.bound) - Fraction(plan.net_cost), plan.currency)
        if not gap:
            return self.say("nothing")
        return self.say("up to {amount}").format(amount=self._money(gap))

    def _minutes(self, layout: PlannedLayout) -> Fraction:
        needed = layout.of_copies(layout.needed)
        return self.options.pace.minutes(self.plan.as_layout(needed)[0], self.plan.trimmer)

    def _pace_source(self) -> str:
        reports = self.options.pace.reports
        if not reports:
            return self.say("at a typical pace")
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
            Column(say("Status"), 33, fixed=True),
        )
        rows = tuple(
            (
                str(order.number),
                printable(order.customer),
                f"{order.copies} × {printable(order.design)}",
                self.translator.date(order.due),
                say("will be cut") if order.made else say("waiting"),
            )
            for order in self.plan.orders
        )
        return Table(columns, rows)

    def _shortages(self) -> Table:
        say = self.say
        columns = (
            Column(say("Order"), 14, fixed=True, align_right=True),
            Column(say("Amount"), 17, fixed=True, align_right=True),
            Column(say("Piece"), 3),
            Column(say("Paper"), 3),
            Column(say("Size"), 3),
        )
        rows = tuple(
            (
                str(shortage.order),
                str(shortage.quantity),
                printable(shortage.piece),
                printable(shortage.paper),
                self.size(shortage.width, shortage.height),
            )
            for shortage in self.plan.lacking
        )
        return Table(columns, rows)

    def _to_buy(self) -> Table:
        say = self.say
        columns = (
            Column("", 8, fixed=True),
            Column(say("Amount"), 17, fixed=True, align_right=True),
            Column(say("Paper"), 3),
            Column(say("Size"), 3),
            Column(say("Each"), 2, align_right=True),
            Column(say("For orders"), 2),
        )
        rows = tuple(
            (
                Checkbox(),
                str(line.quantity) if line.quantity else "?",
                printable(line.paper),
                ("" if line.quantity else say("at least") + " ")
                + self.size(line.width, line.height),
                "" if line.price is None else self._money(line.price),
                numbers(line.orders),
            )
            for line in self.plan.restock
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
            Column(say("Amount"), 17, fixed=True, align_right=True, bold=True),
            Column(say("Label"), 19, fixed=True, bold=True),
            Column("", 13, fixed=True),
            Column(say("Paper"), 4),
            Column(say("Size"), 3),
            Column(say("For layouts"), 2),
        )
        blocks: list[Block] = []
        for place in sorted(places, key=_natural_sort_key):
            blocks.append(Heading(place or say("No place recorded")))
            in_order = sorted(
                places[place], key=lambda label: (sheets[label].paper, _natural_sort_key(label))
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
        about = say(
            "Place by place, in the order of their names. Tick off each sheet as you take it out."
        )
        yield Document("take-out", say("Take out of the stash"), about, tuple(blocks))

    # --- cut sheets ----------------------------------------------------------------------------

    def cut_sheets(self) -> Iterator[Document]:
        for layout in self.to_cut:
            yield self._cut_sheet(layout)

    def _cut_sheet(self, layout: PlannedLayout) -> Document:
        plan, say, sheet = self.plan, self.say, layout.sheet
        drawn, _ = plan.as_layout(layout)
        names = self._offcut_names(layout)
        checked_measures(drawn, plan.unit)
        steps = cutting_steps(
            drawn, plan.unit, translator=self.translator, trimmer=self.plan.trimmer, offcuts=names
        )
        kind = "{label}, {paper}, {size}"
        what = kind.format(
            label=sheet.label,
            paper=printable(sheet.paper),
            size=self.size(sheet.width, sheet.height),
        )
        if sheet.place:
            what = say("{what}, from {place}").format(what=what, place=printable(sheet.place))
        owners = {order for spot in layout.spots for order in spot.orders}
        orders = sorted(owners - {NOBODY})
        about = [
            what,
            *(
                [self.count("for order", "for orders", len(orders)) + " " + numbers(orders)]
                if orders
                else []
            ),
            *([say("with spare pieces")] if NOBODY in owners else []),
            say("about {time}").format(time=self._hours(self._minutes(layout))),
        ]
        number = len(self.copies[layout.number])
        copies = self.count("cut {n} sheet like this", "cut {n} sheets like this", number)
        draw = partial(self._picture, layout, names)
        blocks: list[Block] = [Picture(draw, what)]
        if steps:
            if any("≈" in text for step in steps for text in (step.cut, *step.results)):
                blocks.append(Paragraph(measure_note(self.translator)))
            blocks.append(StepList(tuple(steps)))
        else:
            blocks.append(Paragraph(say("No cuts: the sheet is the piece.")))
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
            translator=self.translator,
            trimmer=self.plan.trimmer,
            offcuts=names,
            room=room,
            pattern_up=layout.sheet.pattern_up,
        )

    def _offcut_names(self, layout: PlannedLayout) -> list[str]:
        """Return the labels of the offcuts of a layout, in their order."""
        copies = range(1, layout.copies + 1)
        return [
            ", ".join(dict.fromkeys(self._offcut_label(layout, copy, number) for copy in copies))
            for number in range(len(layout.offcuts))
        ]

    def _offcut_label(self, layout: PlannedLayout, copy: int, number: int) -> str:
        own = self.plan.offcut_label(layout.offcut_kinds[number])
        return self.options.labels.get((layout.number, copy, number), own)

    # --- score and fold sheets -----------------------------------------------------------------

    def score_sheets(self) -> Iterator[Document]:
        say = self.say
        kinds: dict[Piece, Counter[str]] = {}
        for layout in self.plan.layouts:
            for spot in layout.spots:
                part = self.plan.part_of(spot)
                if has_scores(part.piece):
                    kinds.setdefault(part.piece, Counter())[part.paper] += len(layout.needed)
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
        per_paper = "; ".join(
            f"{number} × {printable(name)}" for name, number in sorted(papers.items())
        )
        words = [per_paper]
        if piece.grain is not Grain.ANY:
            words.append(say(GRAIN_WORDS[piece.grain]))
        if piece.upright:
            words.append(say("the pattern must stand upright"))
        if piece.glue:
            words.append(self.count("{n} glue area", "{n} glue areas", len(piece.glue)))
        if piece.note:
            words.append(printable(piece.note))
        yield Paragraph(" ".join(map(_sentence, words)))

        def draw(room: tuple[float, float]) -> ET.Element:
            return draw_scores(
                piece, self.plan.unit, room=room, fill="#ffffff", translator=self.translator
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
                    Column(say("Direction"), 2.4),
                    Column(say("Where"), 4, bold=True),
                    Column(say("From – to"), 5),
                ),
                rows,
            )
        else:
            yield Paragraph(say("No folds: just cut along the outline."))

    # --- kits ----------------------------------------------------------------------------------

    def kits(self) -> Iterator[Document]:
        gathered: dict[int, Counter[tuple[int, int]]] = defaultdict(Counter)
        for layout in self.plan.current().layouts:
            for spot in layout.spots:
                for number in spot.orders:
                    gathered[number][spot.part, layout.number] += 1
        for order in self.plan.orders:
            if order.made:
                yield self._kit(order, gathered[order.number])
        if gathered[NOBODY]:
            yield self._kit(None, gathered[NOBODY])

    def _kit(self, order: PlannedOrder | None, gathered: Counter[tuple[int, int]]) -> Document:
        """Return what belongs to an order; of None what is cut beside, as spare pieces."""
        plan, say = self.plan, self.say
        number = NOBODY if order is None else order.number
        by_part: dict[int, dict[int, int]] = defaultdict(dict)
        for (part, layout), quantity in gathered.items():
            by_part[part][layout] = quantity
        columns = (
            Column("", 7, fixed=True),
            Column(say("Amount"), 17, fixed=True, align_right=True, bold=True),
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
        rows += [
            (
                Checkbox(),
                f"{spare.quantity} ×",
                printable(spare.piece),
                Swatch(self.swatches.get(spare.paper)),
                printable(spare.paper),
                "",
                say("spare {label}").format(label=spare.label),
            )
            for spare in plan.spares
            if spare.order == number
        ]
        blocks: list[Block] = [Table(columns, tuple(rows))]
        extras = self.options.extras.get(number, ())
        if extras:
            blocks.append(Heading(say("Also needed")))
            tick = (Column("", 7, fixed=True), Column(say("What"), 1))
            blocks.append(Table(tick, tuple((Checkbox(), printable(extra)) for extra in extras)))
        missing = self.options.missing.get(number, {})
        missing_lines = [
            say("{quantity} × {piece}, spoiled and not cut again").format(
                quantity=quantity, piece=printable(piece_name(name, self.translator))
            )
            for name, quantity in sorted(missing.items())
        ]
        missing_lines += [
            say("{quantity} × {piece}: no paper for it").format(
                quantity=shortage.quantity, piece=printable(shortage.piece)
            )
            for shortage in plan.lacking
            if shortage.order == number
        ]
        if missing_lines:
            blocks.append(Heading(say("Still missing")))
            blocks += [Paragraph(words, bold=True) for words in missing_lines]
        if order is None:
            about = say("They are cut beside what orders need; put them aside.")
            return Document("kit", say("Spare pieces"), about, tuple(blocks))
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
        """Yield one label for each pile to which something comes, with all that comes to it."""
        quantities = Counter(
            self._offcut_label(layout, copy, number)
            for layout in self.plan.layouts
            for copy in layout.needed
            for number in range(len(layout.offcuts))
        )
        done = set()
        for layout in self.to_cut:
            for copy in self.copies[layout.number]:
                for number, rect in enumerate(layout.offcuts):
                    label = self._offcut_label(layout, copy, number)
                    if label in done:
                        continue
                    done.add(label)
                    lines = (
                        self.count("{n} offcut", "{n} offcuts", quantities[label]),
                        printable(layout.sheet.paper),
                        self.size(rect.width, rect.height),
                        self.say("Place:") + " ____________",
                    )
                    yield Label(label, lines, layout.sheet.swatch)

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
    """Return a sort key that puts Drawer 2 before Drawer 10, and no place at all last."""
    if not text:
        return [(2, 0, "")]
    return [
        (0, int(part), "") if part.isdigit() and part.isascii() else (1, 0, part.casefold())
        for part in re.split(r"([0-9]{1,9})", text)
        if part
    ]
