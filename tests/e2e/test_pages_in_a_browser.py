"""The HTML page of a plan in a real browser: on a phone, at a desk, printed.

The browser is Debian's Chromium; `.ci/run` installs it where it is missing.
"""

from __future__ import annotations

import io
import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pdfplumber
import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from inventory.core.plan import Plan
from inventory.documents.format.blocks import Checkbox, Document, Table
from inventory.documents.format.languages import translator_for
from inventory.documents.plan.document_set import DocumentOptions, plan_documents
from inventory.documents.plan.rendering import plan_html
from tests.reading import random_plan

PHONE = {"viewport": {"width": 412, "height": 915}, "device_scale_factor": 2, "is_mobile": True}
DESK = {"viewport": {"width": 1280, "height": 900}}
QUIET = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
NAMES = (
    "<script>document.title = 'gone'</script>",
    "\"Ines\" & 'Ewa' <b>bold</b> &amp;",
    'שלום "עולם" 12 × 30',
    "🎁 Ωmega ñandú Дарья देवनागरी 紙",
    "unbroken" * 40,
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    path = shutil.which("chromium")
    if path is None:
        said = "no Chromium: Debian's package 'chromium' is not installed"
        if os.environ.get("CI"):
            pytest.fail(said)
        pytest.skip(said)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(QUIET))
        yield browser
        browser.close()


class Reader:
    """Opens pages and remembers what they complain of and ask for."""

    def __init__(self, browser: Browser, folder: Path, look: dict[str, Any]) -> None:
        self.context = browser.new_context(**look)
        self.page: Page = self.context.new_page()
        self.folder = folder
        self.complaints: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda said: self.complaints.append(said.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))

    def open(self, html: str) -> Page:
        file = self.folder / "batch.html"
        file.write_text(html, encoding="utf-8")
        self.page.goto(file.as_uri())
        assert self.complaints == []
        assert self.asked == [file.as_uri()], "the page must need nothing else"
        return self.page


@pytest.fixture
def read(browser: Browser, tmp_path: Path) -> Iterator[Callable[..., Page]]:
    readers: list[Reader] = []

    def open_page(html: str, look: dict[str, Any]) -> Page:
        readers.append(Reader(browser, tmp_path, look))
        return readers[-1].open(html)

    yield open_page
    for reader in readers:
        reader.context.close()


def plan_with_odd_names() -> Plan:
    plan = random_plan(3)
    orders = tuple(
        replace(plan.orders[0], number=number, customer=name)
        for number, name in enumerate(NAMES, 1)
    )
    parts = tuple(
        replace(part, piece=replace(part.piece, name=NAMES[number % len(NAMES)]))
        for number, part in enumerate(plan.parts)
    )
    return replace(plan, shop=NAMES[0], orders=orders, parts=parts, notes=NAMES)


def ticks_in(documents: list[Document]) -> int:
    return sum(
        isinstance(cell, Checkbox)
        for document in documents
        for block in document.blocks
        if isinstance(block, Table)
        for row in block.rows
        for cell in row
    )


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("look", [PHONE, DESK], ids=["phone", "desk"])
def test_nothing_has_to_be_scrolled_sideways(read, seed: int, look: dict[str, Any]) -> None:
    options = DocumentOptions(translator=translator_for(("en", "de")[seed % 2]))
    page = read(plan_html(random_plan(seed), options), look)
    assert page.evaluate("document.documentElement.scrollWidth") <= look["viewport"]["width"]
    wider = page.evaluate(
        "[...document.querySelectorAll('body *')].filter(one => one.scrollWidth > one.clientWidth"
        " && getComputedStyle(one).overflowX !== 'visible').map(one => one.outerHTML.slice(0, 80))"
    )
    assert wider == []


@pytest.mark.parametrize("look", [PHONE, DESK], ids=["phone", "desk"])
def test_odd_names_are_shown_as_they_are(read, look: dict[str, Any]) -> None:
    plan = plan_with_odd_names()
    page = read(plan_html(plan, DocumentOptions()), look)
    assert page.title().startswith("Batch 4 · <script>")
    for tag in ("script", "b.bold", "iframe", "link", "img"):
        assert page.locator(tag).count() == 0, tag
    shown = page.locator("body").inner_text()
    for name in NAMES:
        assert name in shown
    assert page.evaluate("document.documentElement.scrollWidth") <= look["viewport"]["width"]


def test_every_tick_box_can_be_ticked_with_a_thumb(read) -> None:
    plan = random_plan(1)
    page = read(plan_html(plan, DocumentOptions()), PHONE)
    boxes = page.locator("input[type=checkbox]")
    assert boxes.count() == ticks_in(plan_documents(plan, DocumentOptions())) > 0
    first = boxes.first
    first.check()
    assert first.is_checked()
    around = first.bounding_box()
    assert around is not None
    assert min(around["width"], around["height"]) >= 20
    assert first.get_attribute("aria-label") == "done"


def test_the_contents_lead_to_every_document(read) -> None:
    plan = random_plan(2)
    page = read(plan_html(plan, DocumentOptions()), PHONE)
    documents = plan_documents(plan, DocumentOptions())
    page.locator("nav summary").click()
    links = page.locator("nav a")
    assert links.count() == len(documents)
    links.last.click()
    assert page.evaluate("window.scrollY") > 0
    pictures = page.locator("figure svg[role=img]")
    assert pictures.count() > 0
    assert all(pictures.nth(n).get_attribute("aria-label") for n in range(pictures.count()))


def test_printed_from_the_browser_each_document_begins_a_page(read) -> None:
    plan = random_plan(5)
    page = read(plan_html(plan, DocumentOptions()), DESK)
    with pdfplumber.open(io.BytesIO(page.pdf(format="A4"))) as book:
        pages = [" ".join((one.extract_text() or "").split()) for one in book.pages]
    titles = [document.title for document in plan_documents(plan, DocumentOptions())]
    for title in titles:
        assert sum(text.startswith(title) for text in pages) == 1, title
    assert not any("Contents" in text for text in pages)
    assert all(pages), "a page is blank"
