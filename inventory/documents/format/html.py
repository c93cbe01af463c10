"""Documents as one HTML file that needs nothing else: to read on a phone, or to print."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from html import escape
from typing import TYPE_CHECKING

from inventory.documents.format.blocks import (
    Block,
    Cell,
    Checkbox,
    Column,
    Document,
    Heading,
    Label,
    Labels,
    Paragraph,
    Picture,
    StepList,
    Swatch,
    Table,
)
from inventory.documents.format.qr import qr_rows
from nester.core.translation import Translator
from nester.drawing.canvas.marks import svg_size, svg_text
from nester.drawing.canvas.svg import SVG

if TYPE_CHECKING:
    import xml.etree.ElementTree as ET

__all__ = ["documents_html"]

_ROOM = (184.0, 200.0)
"""Millimetres across and down for which pictures are drawn; they shrink with the screen."""

_STYLE = """
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { font: 16px/1.45 "Source Sans 3", "Source Sans Pro", system-ui, sans-serif; color: #111;
  background: #fff; margin: 0 auto; padding: 1rem; max-width: 60rem; }
h1 { font-size: 1.5rem; line-height: 1.2; margin: 0 0 .2rem; overflow-wrap: anywhere; }
h2 { font-size: 1.12rem; margin: 1.2rem 0 .4rem; overflow-wrap: anywhere; }
p { margin: .4rem 0; overflow-wrap: anywhere; }
p.boxed { border: 1.5px solid #111; padding: .5rem .7rem; }
nav { border: 1px solid #999; padding: .5rem 1rem; margin-bottom: 1.5rem; }
nav a { display: block; padding: .35rem 0; color: #111; }
nav small { display: block; color: #444; }
nav summary { cursor: pointer; }
section { border-top: 2px solid #111; padding-top: 1rem; margin-bottom: 2.5rem; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; }
th { text-align: left; font-size: .85rem; border-bottom: 1.5px solid #111; vertical-align: bottom; }
td { border-bottom: 1px solid #ccc; vertical-align: top; overflow-wrap: anywhere; }
th, td { padding: .3rem .45rem; }
.right { text-align: right; white-space: nowrap; }
.bold { font-weight: 600; }
input[type=checkbox] { width: 1.25rem; height: 1.25rem; margin: 0; }
.swatch { display: inline-block; width: 2rem; height: 1.1rem; border: 1px solid #111;
  -webkit-print-color-adjust: exact; print-color-adjust: exact; }
figure { margin: .6rem 0; }
figure svg { display: block; width: 100%; height: auto; max-height: 92vh; }
ol.steps { list-style: none; padding: 0; margin: .6rem 0; columns: 20rem; column-gap: 2rem; }
ol.steps li { break-inside: avoid; margin-bottom: .5rem; }
ol.steps b { display: block; }
ol.steps span { display: block; padding-left: 1rem; }
div.labels { display: grid; grid-template-columns: repeat(auto-fill, minmax(15rem, 1fr));
  gap: .5rem; }
.label { border: 1px dashed #999; padding: .5rem; display: flex; justify-content: space-between;
  gap: .5rem; break-inside: avoid; }
.label b { font-size: 1.2rem; }
.label div { overflow-wrap: anywhere; min-width: 0; }
.label svg { width: 6rem; height: 6rem; flex: none; }
footer { color: #555; font-size: .85rem; border-top: 1px solid #999; padding-top: .4rem; }
@media screen and (max-width: 40rem) {
  /* A row is a little card: what stood above a column stands before its words. */
  thead { display: none; }
  table, tbody { display: block; }
  colgroup { display: none; }
  tr { display: flex; flex-wrap: wrap; gap: .1rem .9rem; align-items: center; padding: .45rem 0;
    border-bottom: 1px solid #ccc; }
  td { display: block; border: 0; padding: 0; min-width: 0; }
  td:empty { display: none; }
  td[data-title]::before { content: attr(data-title) " "; color: #555; font-size: .85rem;
    font-weight: normal; }
  .right { text-align: left; }
}
@media print {
  nav { display: none; }
  body { max-width: none; padding: 0; font-size: 10.5pt; }
  section { break-before: page; border: 0; margin: 0; padding: 0; }
  section:first-of-type { break-before: auto; }
  figure svg { max-height: 60vh; }
  figure, tr, p { break-inside: avoid; }
  h1, h2 { break-after: avoid; }
  .scroll { overflow: visible; }
  /* A grid's cells stray when it is parted by pages. */
  div.labels { display: block; columns: 2; column-gap: 6mm; }
  .label { margin-bottom: 2mm; }
  @page { margin: 12mm; }
}
"""


def _subtitle(about: str) -> str:
    return f" <small>{escape(about)}</small>" if about else ""


def documents_html(
    documents: Iterable[Document], *, title: str, language: str, footer: str, translator: Translator
) -> str:
    """Write documents as one page of HTML, with its style and pictures inside."""
    made = list(documents)
    lines = [
        "<!DOCTYPE html>",
        f'<html lang="{escape(language)}">',
        "<head>",
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{escape(title)}</title>",
        f"<style>{_STYLE}</style>",
        "</head>",
        "<body>",
        *(_contents(made, translator) if len(made) > 1 else ()),
    ]
    for number, document in enumerate(made, 1):
        lines.append(f'<section id="d{number}" class="{document.kind}">')
        lines.append(f"<h1>{escape(document.title)}</h1>")
        if document.about:
            lines.append(f"<p>{escape(document.about)}</p>")
        for block in document.blocks:
            lines += _block(block, translator)
        lines.append("</section>")
    lines += [f"<footer>{escape(footer)}</footer>", "</body>", "</html>", ""]
    return "\n".join(lines)


def _contents(documents: Sequence[Document], translator: Translator) -> Iterator[str]:
    contents = escape(translator.say("Contents"))
    # Folded up: on a phone a week's layouts would fill many screens with links.
    yield f'<nav aria-label="{contents}"><details><summary>{contents}</summary>'
    for number, document in enumerate(documents, 1):
        yield f'<a href="#d{number}">{escape(document.title)}{_subtitle(document.about)}</a>'
    yield "</details></nav>"


def _block(block: Block, translator: Translator) -> Iterator[str]:
    match block:
        case Heading():
            yield f"<h2>{escape(block.text)}</h2>"
        case Paragraph():
            names = " ".join(["bold"] * block.bold + ["boxed"] * block.boxed)
            yield f'<p class="{names}">{escape(block.text)}</p>'
        case Table():
            yield from _table(block, translator)
        case Picture():
            yield f"<figure>{_svg(block.draw(_ROOM), block.words)}</figure>"
        case StepList():
            yield '<ol class="steps">'
            for step in block.steps:
                frees = "".join(f"<span>{escape(free)}</span>" for free in step.results)
                yield f"<li><b>{escape(step.cut)}</b>{frees}</li>"
            yield "</ol>"
        case Labels():
            yield '<div class="labels">'
            yield from map(_label, block.labels)
            yield "</div>"


def _table(table: Table, translator: Translator) -> Iterator[str]:
    yield '<div class="scroll"><table>'
    yield f"<colgroup>{''.join(_widths(table.columns))}</colgroup>"
    heads = (f"<th{_names(column)}>{escape(column.title)}</th>" for column in table.columns)
    yield f"<thead><tr>{''.join(heads)}</tr></thead><tbody>"
    for row in table.rows:
        cells = (
            f"<td{_names(column)}{_cell_label(column, cell)}>{_cell(cell, translator)}</td>"
            for column, cell in zip(table.columns, row, strict=True)
        )
        yield f"<tr>{''.join(cells)}</tr>"
    yield "</tbody></table></div>"


def _widths(columns: Sequence[Column]) -> Iterator[str]:
    """Yield the columns' widths as on a page of paper."""
    fixed = sum(column.share for column in columns if column.fixed)
    shares = sum(column.share for column in columns if not column.fixed)
    for column in columns:
        wide = column.share if column.fixed else (_ROOM[0] - fixed) * column.share / shares
        yield f'<col style="width:{100 * wide / _ROOM[0]:.1f}%">'


def _cell_label(column: Column, cell: Cell) -> str:
    """Return what a narrow screen shows before a cell, as its column has no head there."""
    has_label = column.title and isinstance(cell, str) and cell
    return f' data-title="{escape(column.title)}"' if has_label else ""


def _names(column: Column) -> str:
    names = " ".join(["right"] * column.align_right + ["bold"] * column.bold)
    return f' class="{names}"' if names else ""


def _cell(cell: Cell, translator: Translator) -> str:
    if isinstance(cell, Checkbox):
        done = escape(translator.say("done"))
        return f'<input type="checkbox" aria-label="{done}">'
    if isinstance(cell, Swatch):
        style = f' style="background:{escape(cell.colour)}"' if cell.colour else ""
        return f'<span class="swatch"{style}></span>'
    return escape(cell)


def _svg(picture: ET.Element, words: str) -> str:
    """Write a picture that grows and shrinks with the page."""
    wide, high = svg_size(picture)
    for name in ("width", "height"):
        picture.attrib.pop(name, None)
    picture.set("viewBox", f"0 0 {wide:g} {high:g}")
    picture.set("role", "img")
    picture.set("aria-label", words)
    for title in picture.findall(f"{{{SVG}}}title"):
        picture.remove(title)
    return svg_text(picture)


def _label(label: Label) -> str:
    lines = "".join(f"<br>{escape(line)}" for line in label.lines)
    return f'<div class="label"><div><b>{escape(label.id)}</b>{lines}</div>{_qr(label.id)}</div>'


def _qr(text: str) -> str:
    rows = qr_rows(text)
    path = "".join(
        f"M{start} {down}h{length}v1h-{length}z"
        for down, row in enumerate(rows)
        for start, length in row
    )
    size = len(rows)
    return f'<svg viewBox="0 0 {size} {size}" aria-hidden="true"><path d="{path}"/></svg>'
