"""Plans of a shop with any rules pass the judge, and keep what the book says of its paper."""

from __future__ import annotations

import tempfile
from datetime import date
from functools import cache
from pathlib import Path
from shutil import copy

from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.database.open import open_shop
from inventory.orders.orders import add_order
from inventory.production.planning import plan_batch
from inventory.shop.settings import change_shop
from inventory.stock.condition import book_damage
from inventory.stock.papers import add_paper
from inventory.stock.receiving import add_sheets
from nester.core.lengths import cm, mm
from nester.core.problem import Cuts, Effort, Margins, Rect, Trimmer

TODAY = date(2027, 3, 1)
CARD = {"width": "10cm", "height": "15cm", "mats": "none", "envelope": "yes"}

margins = st.builds(Margins, *[st.integers(0, 20).map(mm)] * 4)
trimmers = st.builds(
    Trimmer,
    st.none() | st.integers(5, 60).map(cm),
    st.sampled_from([0, mm(10), cm(5)]),
    st.none() | st.integers(1, 4),
)


@cache
def template() -> Path:
    path = Path(tempfile.mkdtemp(prefix="quirebox-test-")) / "shop.sqlite"
    open_shop(path, create=True).close()
    return path


@settings(max_examples=12, deadline=None)
@given(
    margins=margins,
    trimmer=trimmers,
    gap=st.integers(0, 5).map(mm),
    grain=st.sampled_from(["unknown", "long", "short"]),
    pattern=st.sampled_from(["plain", "directional"]),
    follow=st.booleans(),
    corner=st.none() | st.tuples(st.integers(1, 30).map(cm), st.integers(1, 30).map(cm)),
    cuts=st.sampled_from(list(Cuts)),
)
def test_every_plan_keeps_to_the_rules_of_the_shop(
    margins, trimmer, gap, grain, pattern, follow, corner, cuts
):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(copy(template(), Path(folder) / "shop.sqlite"))
        with open_shop(path) as shop:
            with shop.begin() as session:
                change_shop(session, gap=gap, trimmer=trimmer, follow_grain=follow)
                add_paper(
                    session, "Card", colour="white", grammage=300, grain=grain, pattern=pattern
                )
                add_sheets(session, "Card", (cm(50), cm(70)), 1, margins=margins)
                add_sheets(session, "Card", (cm(70), cm(50)), 2, margins=margins)
                if corner is not None:
                    book_damage(session, "S-1", Rect(0, 0, *corner))
                add_order(session, "Ines", "folded-card", CARD, {"all": "Card"}, 3, TODAY, TODAY)
            # It is refused if nester.verify finds a fault in it.
            plan = plan_batch(shop, cuts=cuts, effort=Effort.QUICK, today=TODAY)
    assert (plan.apart, plan.trimmer, plan.follow_grain) == (gap, trimmer, follow)
    for layout in plan.layouts:
        assert layout.sheet.margins == margins
        usable = plan.as_layout(layout)[1].usable
        for spot in layout.spots:
            rect = Rect(spot.x, spot.y, spot.width, spot.height)
            assert usable.contains(rect)
            if plan.part_of(spot).piece.is_rectangle:
                assert not any(rect.overlaps(bad) for bad in layout.sheet.bruises)
