"""Offers: what the customer is told, and what she isn't."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pdfplumber
import pypdf
import pytest

from inventory.changes.order_changes import OrderChanges, change_order
from inventory.changes.order_status import move_order
from inventory.core.resources import demo_folder
from inventory.costs import rates
from inventory.costs.order_costs import order_cost
from inventory.costs.quotes import Quote, quote_order
from inventory.database.tables.enums import ConsumableUnit
from inventory.documents.format.languages import translator_for
from inventory.documents.quote import quote_html, quote_pdf
from inventory.orders.custom_designs import add_custom_design
from inventory.orders.orders import add_order
from inventory.stock.papers import add_paper
from inventory.stock.receiving import add_sheets
from nester.core.errors import Refusal
from nester.core.lengths import cm
from tests.integration.conftest import TODAY, Hand

if TYPE_CHECKING:
    from pathlib import Path

    from inventory.database.shop_file import ShopFile

D = Decimal
EN, DE = translator_for("en"), translator_for("de")


@pytest.fixture
def nook(shop: ShopFile) -> ShopFile:
    """A shop with an order for two layered boxes, all of whose cost is known."""
    with shop.begin() as session:
        add_paper(session, "Coal card", colour="black", grammage=300, swatch="#101010")
        add_paper(session, "Fern print", colour="green", grammage=120, finish="printed")
        for name in ("Coal card", "Fern print"):
            add_sheets(session, name, (cm(56), cm(71)), 9, price=D("2.00"))
        rates.set_rates(
            session, hour=D(18), piece_minutes=D(1), margin=D(20), fee=D(5),
            endings=rates.read_endings([".95"], "EUR"),
        )  # fmt: skip
        rates.set_consumable(
            session, "ribbon", price=D("0.2"), per=ConsumableUnit.LENGTH, grams=D(3)
        )
        rates.set_consumable(session, "adhesive", price=D(2), per=ConsumableUnit.AREA, grams=D(50))
        rates.import_postage(session, demo_folder() / "postage.csv")
        add_order(
            session, "Łucja", "layered-box",
            {"blank": "45cm", "tiers": "3", "mats": "both", "lid-clearance": "6mm"},
            {"all": "Coal card", "mat": "Fern print", "mat.1.inside": "Coal card"},
            2, TODAY + timedelta(9), TODAY,
        )  # fmt: skip
    return shop


def made(shop: ShopFile, **others) -> Quote:
    return quote_order(shop, 1, **{"today": TODAY, **others})


def text_of(data: bytes) -> str:
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        return "\n".join(page.extract_text() for page in pdf.pages)


def test_what_an_offer_says(nook: ShopFile) -> None:
    quote = made(nook, note="Colours differ a little from screen to print.")
    assert quote.price == 2 * quote.unit_price
    assert quote.unit_price % 1 == D("0.95")
    assert quote.valid_until == TODAY + timedelta(14)
    said = text_of(quote_pdf(quote, EN))
    for words in (
        "The paper nook · Offer",
        "For Łucja, Mar 1, 2027.",
        f"2 × Layered box: {quote.price} EUR",
        "A box of nested tiers that falls open when its lid is lifted.",
        "Width of the base 15 cm",  # a third of the blank; in the unit in which it was said
        "Tiers 3",
        "Mats on both sides",
        "All other parts Coal card black, 300 g/m²",
        "Mats, 1, inside Coal card",
        "Mats Fern print green, printed, 120 g/m²",
        f"2 Layered box {quote.unit_price} EUR {quote.price} EUR",
        "Sent by Mar 10, 2027; the price includes packing and postage.",
        "This offer is valid until Mar 15, 2027.",
        "Colours differ a little from screen to print.",
        "The paper nook · offer for order 1 · Mar 1, 2027",
        "1 of 1",
    ):
        assert words in said, words


@pytest.mark.parametrize("voice", [EN, DE], ids=["en", "de"])
def test_an_offer_tells_nothing_of_the_costs(nook: ShopFile, voice) -> None:
    quote = made(nook)
    told = order_cost(nook, 1, today=TODAY).cost
    inner = [part.amount for part in told.lines]
    inner += [told.cost, told.sale.fees, told.sale.margin]
    for said in (text_of(quote_pdf(quote, voice)), quote_html(quote, voice)):
        for amount in inner:
            assert voice.money(amount, "EUR") not in said
        # Nor of what only the workshop needs to know.
        assert "clearance" not in said


@pytest.mark.parametrize(
    ("written", "shown"),
    [("6 1/2in", "6 1/2 in"), ('6"', "6 in"), ("15cm", "15 cm"), ("150", "150 mm")],
)
def test_sizes_are_told_as_the_customer_said_them(nook: ShopFile, written: str, shown: str) -> None:
    with nook.begin() as session:
        number = add_order(
            session, "Ada", "layered-box", {"panel": written}, {"all": "Coal card"}, 1,
            TODAY + timedelta(9), TODAY,
        )[0].id  # fmt: skip
    page = quote_html(quote_order(nook, number, today=TODAY, each=D(9)), EN)
    assert re.search(rf"<td[^>]*>Width of the base</td>\s*<td[^>]*>{shown}</td>", page)


def test_an_offer_in_german(nook: ShopFile) -> None:
    quote = made(nook, posted=False)
    said = text_of(quote_pdf(quote, DE))
    for words in (
        "The paper nook · Angebot",
        "Für Łucja, 01.03.2027.",
        f"2 × Schachtel mit Lagen: {str(quote.price).replace('.', ',')} EUR",
        "Breite des Bodens 15 cm",
        "Auflagen auf beiden Seiten",
        "Stückpreis",
        "Abholbereit bis 10.03.2027.",
        "Dieses Angebot gilt bis 15.03.2027.",
        "1 von 1",
    ):
        assert words in said, words


def test_title_and_language_are_in_the_file(nook: ShopFile) -> None:
    quote = made(nook)
    read = pypdf.PdfReader(io.BytesIO(quote_pdf(quote, DE)))
    assert read.metadata is not None
    assert read.metadata.title == "Angebot 1 · The paper nook"
    assert read.trailer["/Root"]["/Lang"] == "de"
    page = quote_html(quote, DE)
    assert '<html lang="de">' in page
    assert "<title>Angebot 1 · The paper nook</title>" in page
    assert "<nav" not in page  # there is nothing to choose from
    with pdfplumber.open(io.BytesIO(quote_pdf(quote, EN, page="Letter"))) as pdf:
        assert (float(pdf.pages[0].width), float(pdf.pages[0].height)) == (612, 792)


def test_the_same_offer_has_the_same_bytes(nook: ShopFile) -> None:
    assert quote_pdf(made(nook), EN) == quote_pdf(made(nook), EN)
    assert quote_html(made(nook), DE) == quote_html(made(nook), DE)
    assert quote_pdf(made(nook), EN) != quote_pdf(made(nook, note="Hello"), EN)


def test_what_is_collected_costs_no_postage(nook: ShopFile) -> None:
    assert made(nook, posted=False).price < made(nook).price


def test_a_price_of_her_own(nook: ShopFile) -> None:
    quote = made(nook, each=D("12.00"))
    assert (quote.unit_price, quote.price) == (D("12.00"), D("24.00"))


def test_the_price_that_was_agreed(nook: ShopFile) -> None:
    suggested = made(nook).unit_price
    with nook.begin() as session:
        change_order(session, 1, OrderChanges(price=D("77.7")), today=TODAY)
    assert made(nook).unit_price == D("77.7")
    assert order_cost(nook, 1, today=TODAY).cost.sale.unit_price == D("77.7")
    assert made(nook, each=D(80)).unit_price == D(80)
    with nook.begin() as session:
        change_order(session, 1, OrderChanges(no_price=True), today=TODAY)
    assert made(nook).unit_price == suggested


def test_names_that_would_be_markup(nook: ShopFile) -> None:
    quote = replace(made(nook), customer="<b>Ada</b> & co", note="<script>1</script>")
    page = quote_html(quote, EN)
    assert "&lt;b&gt;Ada&lt;/b&gt; &amp; co" in page
    assert "<script>" not in page
    assert "<b>Ada</b> & co" in text_of(quote_pdf(quote, EN))


def test_a_design_of_the_makers_own_is_told_in_its_own_words(nook: ShopFile) -> None:
    with nook.begin() as session:
        text = (demo_folder() / "own_design.toml").read_text("utf-8")
        name = add_custom_design(session, text, "own_design.toml").name
        number = add_order(
            session, "Ada", name, {}, {"all": "Coal card"}, 1, TODAY + timedelta(9), TODAY
        )[0].id
    quote = quote_order(nook, number, today=TODAY, each=D("9.00"))
    said = text_of(quote_pdf(quote, DE))
    assert f"1 × {name}: 9,00 EUR" in said
    assert "Alle Teile" in said


# --- what can't be offered


def test_no_price_is_worked_out_while_something_is_unknown(nook: ShopFile) -> None:
    with nook.begin() as session:
        rates.forget_consumable(session, "ribbon")
    with pytest.raises(Refusal, match=r"leaves something out: no price is known for ribbon; set"):
        made(nook)
    assert made(nook, each=D("80.00")).price == D("160.00")


def test_what_is_cancelled_is_not_offered(nook: ShopFile) -> None:
    with nook.begin() as session:
        move_order(session, 1, "cancelled")
    with pytest.raises(Refusal, match="order 1 is cancelled; there is nothing to offer any more"):
        made(nook)


def test_an_offer_does_not_end_before_it_begins(nook: ShopFile) -> None:
    assert made(nook, valid_until=TODAY).valid_until == TODAY
    with pytest.raises(Refusal, match="would have ended on 2027-02-28, before it begins"):
        made(nook, valid_until=date(2027, 2, 28))
    with pytest.raises(Refusal, match="there is no order 5"):
        quote_order(nook, 5, today=TODAY)


def test_offers_at_the_desk(hand: Hand, tmp_path: Path) -> None:
    hand.does("paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    hand.does("sheet", "add", "Coal card", "50x70cm", "--quantity", "9", "--price", "3.50")
    hand.does("order", "add", "Ines", "envelope", "--due", "in 9 days", "--paper", "all=Coal card")
    pdf, page = tmp_path / "offer.pdf", tmp_path / "offer.HTML"
    assert "leaves something out" in hand.refused("order", "quote", "1", str(pdf))
    assert not pdf.exists()
    said = hand.does("order", "quote", "1", str(pdf), "--price", "4.50", "--note", "Hello")
    assert said == f"Wrote the offer for order 1 to {pdf}: 4.50 EUR\n"
    assert "Hello" in text_of(pdf.read_bytes())
    hand.does("order", "quote", "1", str(page), "--price", "4.50", "--language", "de")
    assert "Angebot" in page.read_text("utf-8")
    for words, why in (
        (("offer.txt",), "an offer is a .pdf or an .html file"),
        ((str(pdf), "--yes", "--language", "fr"), "no documents in the language 'fr'"),
        ((str(pdf), "--yes", "--valid", "soon"), "'soon' is not a day"),
        ((str(pdf), "--yes", "--price", "4.505"), "can't be paid in whole coins of EUR"),
        ((str(pdf), "--yes", "--note", "a\nb", "--price", "1"), "control character"),
        ((str(tmp_path / "no" / "offer.pdf"), "--price", "1"), "can't be written"),
    ):
        assert why in hand.refused("order", "quote", "1", *words)
    assert "Hello" in text_of(pdf.read_bytes())
