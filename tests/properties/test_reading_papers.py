"""Printed sets of plans by chance: nothing overlaps, nothing leaves its page, the words cut right.

`QUIREBOX_READING=200` reads so many plans instead of a few.
"""

from __future__ import annotations

import io
import os
import re
from collections import Counter

import pdfplumber
import pytest

from inventory.documents.format.languages import translator_for
from inventory.documents.plan.document_set import DocumentOptions
from inventory.documents.plan.rendering import plan_pdf
from tests.reading import Box, Cutter, random_plan, steps_in

SEEDS = range(int(os.environ.get("QUIREBOX_READING", "12")))
HAIR = 0.3
"""Points by which the boxes of two letters may touch without their ink doing so."""


def words_of(page):
    """Return the boxes of words: letters of one line that stand beside one another."""
    return [
        (word["text"], word["x0"], word["top"], word["x1"], word["bottom"])
        for upright in (True, False)
        for word in page.filter(
            lambda one, way=upright: one["object_type"] != "char" or one["upright"] == way
        ).extract_words(use_text_flow=True, keep_blank_chars=True, extra_attrs=["size"])
    ]


def assert_apart(page):
    words = words_of(page)
    for text, left, top, right, bottom in words:
        assert -HAIR <= left <= right <= page.width + HAIR, text
        assert -HAIR <= top <= bottom <= page.height + HAIR, text
    words.sort(key=lambda word: word[1])
    for number, (text, _, top, right, bottom) in enumerate(words):
        for other, left2, top2, _, bottom2 in words[number + 1 :]:
            if left2 >= right - HAIR:
                break
            # A font's box is higher than its letters: lines that are set solid meet in it.
            shared = min(bottom, bottom2) - max(top, top2)
            assert shared <= 0.3 * min(bottom - top, bottom2 - top2), (
                text,
                other,
                page.page_number,
            )


@pytest.mark.parametrize("seed", SEEDS)
def test_no_words_overlap_or_leave_the_page(seed):
    plan = random_plan(seed)
    options = DocumentOptions(translator=translator_for(("en", "de")[seed % 2]))
    data = plan_pdf(plan, options, page=("A4", "Letter")[seed // 2 % 2])
    with pdfplumber.open(io.BytesIO(data)) as book:
        for page in book.pages:
            assert_apart(page)


def is_pile(name: str) -> bool:
    """Whether a part is named by the label of a pile of offcuts: ``K4-3``."""
    return re.fullmatch(r"K\d+-\d+", name) is not None


@pytest.mark.parametrize("seed", SEEDS)
def test_the_printed_words_cut_exactly_the_pieces_of_the_plan(seed):
    plan = random_plan(seed)
    sheets = steps_in(plan_pdf(plan, DocumentOptions(kinds=("cut",))))
    assert len(sheets) == len(plan.layouts)
    for steps, layout in zip(sheets, plan.layouts, strict=True):
        if not layout.cuts:
            continue
        pieces = [plan.part_of(spot).piece for spot in layout.spots]
        outlines = {piece.name: piece.outline for piece in pieces if not piece.is_rectangle}
        cutter = Cutter(layout.sheet.width, layout.sheet.height, plan.unit, outlines)
        cutter.follow(steps)
        wanted = Counter(
            (plan.part_of(spot).piece.name, Box(spot.width, spot.height)) for spot in layout.spots
        )
        offcuts = Counter(Box(rect.width, rect.height) for rect in layout.offcuts)
        kept = Counter()
        for (name, box), number in cutter.named.items():
            if is_pile(name):
                kept[box] += number
        pieces = {key: number for key, number in cutter.named.items() if not is_pile(key[0])}
        assert pieces == wanted
        assert kept == offcuts
        assert cutter.waiting == []


def test_the_cutter_notices_a_wrong_word():
    """A plan whose corners serve for other pieces, with one word of its steps changed at a time."""
    plan = next(
        plan
        for plan in map(random_plan, range(100))
        if any(
            "cut out" in step
            for step in steps_in(plan_pdf(plan, DocumentOptions(kinds=("cut",))))[0]
        )
    )
    steps = steps_in(plan_pdf(plan, DocumentOptions(kinds=("cut",))))[0]
    sheet = plan.layouts[0].sheet
    pieces = [plan.part_of(spot).piece for spot in plan.layouts[0].spots]
    outlines = {piece.name: piece.outline for piece in pieces if not piece.is_rectangle}

    def cut(steps):
        Cutter(sheet.width, sheet.height, plan.unit, outlines).follow(steps)

    cut(steps)
    (wrong,) = [n for n, step in enumerate(steps) if "cut out" in step][:1]
    for old, new in (
        ("from the top edge", "from the top edge of"),
        ("start ", "start 1"),
        ("cut out", "cut off"),
    ):
        changed = steps[wrong].replace(old, new, 1)
        assert changed != steps[wrong]
        with pytest.raises((AssertionError, ValueError)):
            cut([*steps[:wrong], changed, *steps[wrong + 1 :]])
    with pytest.raises((AssertionError, ValueError)):
        cut([*steps[:wrong], *steps[wrong + 1 :]])
