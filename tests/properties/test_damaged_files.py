"""Damaged files: each is read for what it is, or refused in one sentence, and nothing is stored.

``QUIREBOX_FILES=3000 pytest tests/properties/test_damaged_files.py`` tries more than 300 of each.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.advice.fit_lists import read_problem
from inventory.database.open import open_shop
from inventory.maintenance.archive import export_shop, import_shop
from inventory.maintenance.backup import restore
from inventory.orders import custom_designs, import_orders
from inventory.orders.orders import add_order
from inventory.stock import import_lists, papers, receiving
from inventory.stock.stocktake import compare_counts, read_counts
from nester.core.errors import Refusal
from nester.core.lengths import Unit, cm
from nester.core.problem import Cuts
from tests.damage import LISTS, as_csv, as_workbook, damages, members, spoil, spoil_member

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.database.shop_file import ShopFile

FILES = int(os.environ.get("QUIREBOX_FILES", "300"))
TODAY = date(2027, 3, 1)
many = settings(max_examples=FILES, deadline=None, suppress_health_check=list(HealthCheck))
few = settings(many, max_examples=max(10, FILES // 10))
"""For those that build a whole shop."""


@pytest.fixture(scope="module")
def folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="quirebox-test-") as name:
        yield Path(name)


@pytest.fixture(scope="module")
def shop(folder: Path) -> Iterator[ShopFile]:
    with open_shop(folder / "shop.sqlite", create=True, unit="cm") as made:
        with made.begin() as session:
            papers.add_paper(session, "Card", colour="black", grammage=250)
            receiving.add_sheets(session, "Card", (cm(50), cm(70)), 9, place="Shelf")
            receiving.add_offcut(session, "Card", (cm(20), cm(30)))
            add_order(session, "Ines", "gift-tag", {}, {"all": "Card"}, 1, TODAY, TODAY)
        yield made


def read_papers(session: Session, path: Path) -> object:
    return import_lists.import_papers(session, path)


def read_sheets(session: Session, path: Path) -> object:
    return import_lists.import_sheets(session, path, Unit.CM)


def read_offcuts(session: Session, path: Path) -> object:
    return import_lists.import_offcuts(session, path, Unit.CM)


def read_orders(session: Session, path: Path) -> object:
    return import_orders.import_orders(session, path, TODAY)


def read_stocktake(session: Session, path: Path) -> object:
    return compare_counts(session, read_counts(path))


READERS: dict[str, Callable[[Session, Path], object]] = {
    "papers": read_papers,
    "sheets": read_sheets,
    "offcuts": read_offcuts,
    "orders": read_orders,
    "counts": read_stocktake,
}


class _Enough(Exception):
    """What was read is not to be stored."""


@contextmanager
def refused_clearly(path: Path) -> Iterator[None]:
    """Let a reader read the file or refuse it, clearly."""
    try:
        yield
    except Refusal as refusal:
        said = str(refusal)
        assert said
        assert said.isprintable(), said
        assert len(said) < 600 + len(str(path)), said


def read(shop: ShopFile, reader: Callable[[Session, Path], object], path: Path) -> None:
    with refused_clearly(path):
        try:
            with shop.begin() as session:
                reader(session, path)
                raise _Enough
        except _Enough:
            pass


@pytest.mark.parametrize("kind", READERS)
@pytest.mark.parametrize("ending", ["csv", "xlsx"])
@many
@given(deeds=damages)
def test_damaged_lists(
    shop: ShopFile, folder: Path, kind: str, ending: str, deeds: list[Any]
) -> None:
    whole = (as_csv if ending == "csv" else as_workbook)(LISTS[kind])
    path = folder / f"list.{ending}"
    path.write_bytes(spoil(whole, deeds))
    read(shop, READERS[kind], path)


PARTS = ("xl/worksheets/sheet1.xml", "xl/workbook.xml", "xl/styles.xml", "[Content_Types].xml")


@many
@given(deeds=damages, name=st.sampled_from([*PARTS, PARTS[0], "xl/sharedStrings.xml"]))
def test_workbooks_of_damaged_parts(
    shop: ShopFile, folder: Path, deeds: list[Any], name: str
) -> None:
    whole = as_workbook(LISTS["sheets"])
    if name not in members(whole):
        name = PARTS[0]
    path = folder / "parts.xlsx"
    path.write_bytes(spoil_member(whole, name, deeds))
    read(shop, read_sheets, path)


@many
@given(deeds=damages)
def test_damaged_lists_of_pieces(folder: Path, deeds: list[Any]) -> None:
    path = folder / "pieces.csv"
    path.write_bytes(spoil(as_csv(LISTS["pieces"]), deeds))
    with refused_clearly(path):
        read_problem(path, path, Unit.CM, Cuts.STRAIGHT)


@many
@given(deeds=damages)
def test_damaged_designs(folder: Path, deeds: list[Any]) -> None:
    from nester.designs.custom.reader import read_custom_design
    from nester.designs.custom.starter_file import STARTER_TEXT

    path = folder / "own.toml"
    path.write_bytes(spoil(STARTER_TEXT.encode(), deeds))
    with refused_clearly(path):
        read_custom_design(custom_designs.read_design_file(path), path.name)


# --- whole shops


@pytest.fixture(scope="module")
def archive(shop: ShopFile, folder: Path) -> bytes:
    export_shop(shop, folder / "shop.zip")
    return (folder / "shop.zip").read_bytes()


def bring_back(folder: Path, data: bytes, reader: Callable[[Path, Path], object]) -> None:
    path, target = folder / "damaged", folder / "new.sqlite"
    path.write_bytes(data)
    with refused_clearly(path):
        reader(path, target)
        with open_shop(target):
            pass
    there = {one.name for one in folder.iterdir() if one.name.startswith((".", "new"))}
    assert there <= {"new.sqlite", "new.sqlite-wal", "new.sqlite-shm"}
    for name in there:
        (folder / name).unlink()


@many
@given(deeds=damages)
def test_damaged_archives(folder: Path, archive: bytes, deeds: list[Any]) -> None:
    bring_back(folder, spoil(archive, deeds), import_shop)


@few
@given(deeds=damages, data=st.data())
def test_archives_of_damaged_files(
    folder: Path, archive: bytes, deeds: list[Any], data: st.DataObject
) -> None:
    name = data.draw(st.sampled_from(sorted(members(archive))))
    bring_back(folder, spoil_member(archive, name, deeds), import_shop)


@few
@given(deeds=damages)
def test_damaged_backups(shop: ShopFile, folder: Path, deeds: list[Any]) -> None:
    from inventory.maintenance.backup import back_up

    copy = folder / "backup.sqlite"
    if not copy.exists():
        back_up(shop, copy)
    bring_back(folder, spoil(copy.read_bytes(), deeds), restore)
