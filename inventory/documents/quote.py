"""An offer to a customer: what she gets, in which sizes and papers, for how much, until when.

It says nothing of what the box costs the shop.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from inventory.costs.quotes import Quote
from inventory.documents.format.blocks import (
    Block,
    Cell,
    Column,
    Document,
    Heading,
    Paragraph,
    Swatch,
    Table,
)
from inventory.documents.format.languages import ShopTranslator
from inventory.documents.format.pages import paginate
from nester.core.lengths import Unit, printable
from nester.core.translation import translatable
from nester.designs import SettingKind as SettingKind

__all__ = ["quote_document", "quote_html", "quote_pdf"]


_NAMES = {
    "layered-box": translatable("Layered box"),
    "tray-box": translatable("Box with a lid"),
    "drawer-box": translatable("Drawer box"),
    "folded-box": translatable("Folded box"),
    "folded-card": translatable("Folded card"),
    "gatefold-card": translatable("Gatefold card"),
    "accordion-card": translatable("Accordion card"),
    "waterfall-card": translatable("Waterfall card"),
    "pocket-card": translatable("Pocket card"),
    "envelope": translatable("Envelope"),
    "gift-tag": translatable("Gift tag"),
}
"""The built-in designs as a customer knows them."""

_TITLES = (
    translatable("a box of nested tiers that falls open when its lid is lifted"),
    translatable("a plain tray with its lid, for small gifts"),
    translatable("a small drawer in its sleeve"),
    translatable("a box folded from a square without glue, and its lid"),
    translatable("a card folded once, with mats and its envelope"),
    translatable("a card whose two gates meet on its front, with its envelope"),
    translatable("panels folded back and forth between two covers"),
    translatable("a card whose flaps turn over one after another when pulled"),
    translatable("a card with a ribbon that is pulled out of a pocket"),
    translatable("an envelope by itself, in a format or in your own size"),
    translatable("a tag with slanted corners, a hole and a ribbon"),
)
"""Of the built-in designs, for the catalogues."""

_SETTINGS = {
    "panel": translatable("Width of the base"),
    "length": translatable("Length"),
    "width": translatable("Width"),
    "height": translatable("Height"),
    "depth": translatable("Depth"),
    "wall": translatable("Height of the walls"),
    "tiers": translatable("Tiers"),
    "corners": translatable("Corners"),
    "centre": translatable("In the middle"),
    "inner-lid": translatable("Inner lid"),
    "outer-lid": translatable("Outer lid"),
    "lid": translatable("Lid"),
    "mats": translatable("Mats"),
    "layers": translatable("Layers of mats"),
    "lid-mat": translatable("Mat on the lid"),
    "base-mat": translatable("Mat on the base"),
    "cards": translatable("Pull-out cards"),
    "card-size": translatable("Size of the cards"),
    "card-width": translatable("Width of the cards"),
    "card-height": translatable("Height of the cards"),
    "card-mats": translatable("Mats on the cards"),
    "photos": translatable("Photos"),
    "photo-size": translatable("Size of the photos"),
    "panels": translatable("Panels"),
    "covers": translatable("Covers"),
    "flaps": translatable("Flaps"),
    "opens": translatable("Opens"),
    "envelope": translatable("Envelope"),
    "format": translatable("Format"),
    "bow": translatable("Bow"),
    "ribbon": translatable("Ribbon"),
    "eyelet": translatable("Eyelet"),
}
"""Settings of the built-in designs that a customer sees on the finished piece; the others are the
workshop's.  Of a design of the maker's own all are shown, under their own names."""

_CHOICES = {
    "yes": translatable("yes"),
    "no": translatable("no"),
    "none": translatable("none"),
    "one": translatable("on one side"),
    "both": translatable("on both sides"),
    "outside": translatable("outside"),
    "inside": translatable("inside"),
    "front": translatable("front"),
    "back": translatable("back"),
    "side": translatable("sideways"),
    "up": translatable("upwards"),
    "open": translatable("open"),
    "pockets": translatable("pockets"),
    "cross": translatable("cross"),
    "tray": translatable("Tray"),
}

_PARTS = {
    "all": translatable("All other parts"),
    "tier": translatable("Tiers"),
    "tray": translatable("Tray"),
    "inner-lid": translatable("Inner lid"),
    "outer-lid": translatable("Outer lid"),
    "lid": translatable("Lid"),
    "mat": translatable("Mats"),
    "card": translatable("Card"),
    "card-mat": translatable("Mats on the cards"),
    "photo": translatable("Photos"),
    "box": translatable("Box"),
    "sleeve": translatable("Sleeve"),
    "envelope": translatable("Envelope"),
    "strip": translatable("Strip"),
    "cover": translatable("Covers"),
    "flap": translatable("Flaps"),
    "band": translatable("Band"),
    "pull": translatable("Pull"),
    "pocket": translatable("Pocket"),
    "tag": translatable("Tag"),
}


def quote_document(quote: Quote, translator: ShopTranslator) -> Document:
    """Return what an offer says."""
    say = translator.say
    name = _name(quote, translator)
    together = translator.money(quote.price, quote.currency)
    blocks: list[Block] = [
        Paragraph(f"{quote.copies} × {name}: {together}", bold=True),
        Paragraph(_sentence(say(quote.design.title))),
    ]
    if sizes := tuple(_sizes(quote, translator)):
        titles = (Column(say("What"), 2), Column(say("As ordered"), 3))
        blocks += [Heading(say("Sizes")), Table(titles, sizes)]
    blocks += [Heading(say("Papers")), _papers(quote, translator), Heading(say("Price"))]
    columns = (
        Column(say("Amount"), 17, fixed=True, align_right=True),
        Column(say("What"), 4),
        Column(say("Price each"), 2, align_right=True),
        Column(say("Together"), 2, align_right=True, bold=True),
    )
    row = (str(quote.copies), name, translator.money(quote.unit_price, quote.currency), together)
    blocks.append(Table(columns, (row,)))
    sent = say("Sent by {date}; the price includes packing and postage.")
    ready = say("Ready to be collected by {date}.")
    blocks.append(
        Paragraph((sent if quote.is_posted else ready).format(date=translator.date(quote.ready_on)))
    )
    until = say("This offer is valid until {date}.")
    blocks.append(Paragraph(until.format(date=translator.date(quote.valid_until)), bold=True))
    if quote.note:
        blocks.append(Paragraph(printable(quote.note)))
    about = say("For {customer}, {date}.").format(
        customer=printable(quote.customer), date=translator.date(quote.made_on)
    )
    offer = say("Offer")
    return Document("quote", f"{printable(quote.shop)} · {offer}", about, tuple(blocks))


def _name(quote: Quote, translator: ShopTranslator) -> str:
    name = quote.design.name
    return translator.say(_NAMES[name]) if name in _NAMES else printable(name)


def _sentence(words: str) -> str:
    return f"{printable(words[:1].upper() + words[1:])}." if words else ""


def _sizes(quote: Quote, translator: ShopTranslator) -> Iterator[tuple[Cell, ...]]:
    built_in = quote.design.name in _NAMES
    known = {setting.name: setting for setting in quote.design.settings}
    written = {
        setting.alternative_to or name: quote.given_sizes[name]
        for name, setting in known.items()
        if name in quote.given_sizes
    }
    for name, setting in known.items():
        if name not in written or (built_in and name not in _SETTINGS):
            continue
        label = translator.say(_SETTINGS[name]) if built_in else printable(name)
        value = quote.settings[name]
        if setting.kind is SettingKind.LENGTH and isinstance(value, int):
            shown = translator.length(value, _unit_of(written[name]) or quote.unit)
        else:
            shown = translator.say(_CHOICES.get(str(value), printable(str(value))))
        yield label, shown


def _unit_of(written: str) -> Unit | None:
    """Return the unit that the customer wrote, if there is one."""
    text = written.strip().casefold()
    if text.endswith(('"', "″", "”")):
        return Unit.IN
    return next((unit for unit in Unit if text.endswith(unit)), None)


def _papers(quote: Quote, translator: ShopTranslator) -> Table:
    say = translator.say
    columns = (
        Column(say("Part"), 3),
        Column("", 13, fixed=True),
        Column(say("Paper"), 3),
        Column(say("Colour and finish"), 4),
    )
    rows = []
    for paper in quote.papers:
        first, *rest = paper.role.split(".")
        part = say(_PARTS[first]) if first in _PARTS else printable(first)
        if paper.role == "all" and len(quote.papers) == 1:
            part = say("All parts")
        looks = [printable(look) for look in (paper.colour, paper.finish) if look]
        rows.append(
            (
                ", ".join([part, *(say(_CHOICES.get(word, printable(word))) for word in rest)]),
                Swatch(paper.swatch),
                printable(paper.name),
                ", ".join([*looks, f"{paper.grammage} g/m²"]),
            )
        )
    return Table(columns, tuple(rows))


def _footer(quote: Quote, translator: ShopTranslator) -> str:
    words = translator.say("{shop} · offer for order {order} · {date}")
    return words.format(
        shop=printable(quote.shop), order=quote.order, date=translator.date(quote.made_on)
    )


def _title(quote: Quote, translator: ShopTranslator) -> str:
    offer = translator.say("Offer")
    return f"{offer} {quote.order} · {printable(quote.shop)}"


def quote_pdf(
    quote: Quote, translator: ShopTranslator, *, page: str = "A4", fonts: Sequence[Path] = ()
) -> bytes:
    """Print an offer; the same offer always gives the same bytes.

    Raises
    ------
    Refusal
        If the page has another name than A4 or Letter, or a font can't be read.
    """
    from nester.drawing.canvas.fonts import FontSet
    from nester.drawing.canvas.pdf import pages_pdf

    faces = FontSet(fonts)
    document = quote_document(quote, translator)
    return pages_pdf(
        paginate([document], page, faces, translator, _footer(quote, translator)),
        faces,
        title=_title(quote, translator),
        language=translator.language,
        made_on=quote.made_on,
    )


def quote_html(quote: Quote, translator: ShopTranslator) -> str:
    """Write an offer as one page of HTML that needs nothing else."""
    from inventory.documents.format.html import documents_html

    return documents_html(
        [quote_document(quote, translator)],
        title=_title(quote, translator),
        language=translator.language,
        footer=_footer(quote, translator),
        translator=translator,
    )
