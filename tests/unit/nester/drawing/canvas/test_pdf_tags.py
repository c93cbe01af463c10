"""The structure of a printed set, read back: what a reader who can't see it is told."""

from __future__ import annotations

import io
from collections import Counter

import pytest
from pypdf import PdfReader
from pypdf.generic import ArrayObject, DictionaryObject, IndirectObject

from inventory.documents.format.blocks import Heading, Labels, Paragraph, Picture, StepList, Table
from inventory.documents.format.languages import translator_for
from inventory.documents.plan.document_set import DocumentOptions, plan_documents
from inventory.documents.plan.rendering import plan_pdf
from tests.reading import random_plan

# ISO 32000-1, tables 333 to 338: in what each may stand.
WITHIN = {
    "Document": {None},
    "Sect": {"Document"},
    "H1": {"Sect"},
    "H2": {"Sect"},
    "P": {"Sect"},
    "Figure": {"Sect"},
    "Table": {"Sect"},
    "TR": {"Table"},
    "TH": {"TR"},
    "TD": {"TR"},
    "L": {"Sect"},
    "LI": {"L"},
    "LBody": {"LI"},
}


def kids_of(element):
    kids = element.get("/K", ArrayObject())
    return list(kids) if isinstance(kids, ArrayObject) else [kids]


def walk(reference, parent=None):
    """Yield every element below a reference, with its parent."""
    element = reference.get_object()
    yield reference, element, parent
    for kid in kids_of(element):
        if isinstance(kid, IndirectObject):
            yield from walk(kid, element)


@pytest.fixture(scope="module", params=[("en", 0), ("de", 3)], ids=["en", "de"])
def printed(request):
    language, seed = request.param
    plan, options = random_plan(seed), DocumentOptions(translator=translator_for(language))
    return plan_documents(plan, options), PdfReader(io.BytesIO(plan_pdf(plan, options)))


def elements(reader):
    return list(walk(reader.trailer["/Root"]["/StructTreeRoot"].raw_get("/K")))


def test_the_catalogue_says_that_it_is_tagged_and_in_which_language(printed):
    _, reader = printed
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] in ("en", "de")
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata.title.startswith(("Batch", "Stapel"))
    assert len(reader.outline) > 0


def test_every_element_stands_where_it_may(printed):
    _, reader = printed
    for _, element, parent in elements(reader):
        role = element["/S"][1:]
        assert (parent["/S"][1:] if parent is not None else None) in WITHIN[role], role
        if parent is not None:
            assert element["/P"] == parent


def test_the_structure_is_that_of_the_documents(printed):
    documents, reader = printed
    blocks = [block for document in documents for block in document.blocks]
    found = Counter(element["/S"][1:] for _, element, _ in elements(reader))
    tables = [block for block in blocks if isinstance(block, Table)]
    labels = sum(len(block.labels) for block in blocks if isinstance(block, Labels))
    assert found["Sect"] == len(documents)
    assert found["H1"] == sum(not isinstance(one.blocks[0], Labels) for one in documents)
    assert found["H2"] == sum(isinstance(block, Heading) for block in blocks)
    assert found["Figure"] == sum(isinstance(block, Picture) for block in blocks) + labels
    assert found["Table"] == len(tables)
    assert found["TR"] == sum(1 + len(table.rows) for table in tables)
    assert found["TH"] == sum(len(table.columns) for table in tables)
    assert found["TD"] == sum(len(table.columns) * len(table.rows) for table in tables)
    assert found["LI"] == sum(len(block.steps) for block in blocks if isinstance(block, StepList))
    about = sum(bool(one.about) for one in documents)
    assert found["P"] == sum(isinstance(block, Paragraph) for block in blocks) + about + labels


def test_every_figure_says_what_it_shows(printed):
    _, reader = printed
    for _, element, _ in elements(reader):
        if element["/S"] == "/Figure":
            assert element["/Alt"].strip()


def test_all_that_is_drawn_is_tagged_or_an_artifact(printed):
    _, reader = printed
    for page in reader.pages:
        depth, marked = 0, 0
        for operands, operator in page.get_contents().operations:
            if operator in (b"BMC", b"BDC"):
                depth += 1
                marked += operator == b"BDC"
                assert depth == 1, operands
            elif operator == b"EMC":
                depth -= 1
            elif operator in (b"Tj", b"TJ", b"S", b"f", b"B", b"re", b"l"):
                assert depth == 1, operator
        assert depth == 0
        assert marked > 0


def test_the_tree_and_the_pages_point_to_one_another(printed):
    _, reader = printed
    tree = reader.trailer["/Root"]["/StructTreeRoot"]
    numbers = tree["/ParentTree"]["/Nums"]
    parents = dict(zip(numbers[::2], numbers[1::2], strict=True))
    seen = Counter()
    for reference, element, _ in elements(reader):
        for kid in kids_of(element):
            if isinstance(kid, IndirectObject):
                continue
            apart = isinstance(kid, DictionaryObject)
            page = (kid if apart else element)["/Pg"]
            number = kid["/MCID"] if apart else kid
            assert list(parents[page["/StructParents"]])[number] == reference
            seen[page["/StructParents"]] += 1
    assert seen == {key: len(its) for key, its in parents.items()}
