"""A shop for every test, copied from one that is built once."""

from __future__ import annotations

import json
import shutil
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from jsonschema import Draft202012Validator

from inventory.batches import get_batch, list_batches, plan_batch, reserved
from inventory.desk.main import main
from inventory.desk.schemas import schema_text
from inventory.orders import add_order, get_order
from inventory.shop import PATH_VARIABLE, ShopFile, open_shop
from inventory.stash import add_offcut, add_paper, add_sheets, list_stash
from nester.layouts import Effort

if TYPE_CHECKING:
    from collections import Counter
    from collections.abc import Iterator

    from inventory.models import BatchStatus, Status
    from inventory.plan import Plan

TODAY = date(2027, 3, 1)


@pytest.fixture(scope="session")
def empty_shop_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("template") / "shop.sqlite"
    open_shop(path, create=True, name="The paper nook", unit="mm", currency="EUR").close()
    return path


@pytest.fixture
def shop_path(tmp_path: Path, empty_shop_file: Path) -> Path:
    return Path(shutil.copy(empty_shop_file, tmp_path / "shop.sqlite"))


@pytest.fixture
def shop(shop_path: Path) -> Iterator[ShopFile]:
    with open_shop(shop_path) as opened:
        yield opened


class Hand:
    """Gives commands at the desk, in this process."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self._capsys = capsys

    def does(self, *words: str) -> str:
        """Give a command that is to be done; return what it prints."""
        self._capsys.readouterr()
        code = main(words)
        said = self._capsys.readouterr()
        assert code == 0, said.err
        return said.out

    def refused(self, *words: str) -> str:
        """Give a command that is to be refused; return why."""
        self._capsys.readouterr()
        assert main(words) == 2
        said = self._capsys.readouterr()
        assert "Traceback" not in said.err
        return said.err

    def data(self, schema: str, *words: str) -> Any:
        """Give a command with --json; hold what it prints to its schema."""
        data = json.loads(self.does(*words, "--json"))
        checker = Draft202012Validator.FORMAT_CHECKER
        Draft202012Validator(json.loads(schema_text(schema)), format_checker=checker).validate(data)
        return data


@pytest.fixture
def hand(
    shop_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Hand:
    monkeypatch.setenv(PATH_VARIABLE, str(shop_path))
    return Hand(capsys)


class Table:
    """A maker's table: a shop with a few short ways to fill it."""

    def __init__(self, shop: ShopFile) -> None:
        self.shop = shop

    def paper(self, name: str = "Coal card", **others: str) -> None:
        with self.shop.begin() as session:
            add_paper(session, name, colour="black", grammage=300, **others)

    def sheets(
        self, size: tuple[int, int], quantity: int, paper: str = "Coal card", **others
    ) -> str:
        with self.shop.begin() as session:
            return add_sheets(session, paper, size, quantity, **others).label

    def offcut(self, size: tuple[int, int], paper: str = "Coal card", **others) -> str:
        with self.shop.begin() as session:
            return add_offcut(session, paper, size, **others).label

    def card(
        self,
        copies: int = 1,
        *,
        size: tuple[str, str] = ("10cm", "20cm"),
        paper: str = "Coal card",
        days: int = 7,
        **sizes: str,
    ) -> int:
        """Take an order for plain folded cards: one blank each, twice as wide as `size` says."""
        said = {"width": size[0], "height": size[1], "mats": "none", **sizes}
        due = TODAY + timedelta(days)
        with self.shop.begin() as session:
            order, _ = add_order(
                session, "Ines", "folded-card", said, {"all": paper}, copies, due, TODAY
            )
            return order.id

    def plan(self, *orders: int, effort: Effort = Effort.QUICK, **others) -> Plan:
        return plan_batch(self.shop, orders, effort=effort, today=TODAY, **others)

    def status(self, number: int) -> Status:
        with self.shop.read() as session:
            return get_order(session, number).status

    def on_hand(self) -> dict[str, int]:
        with self.shop.read() as session:
            return {row.label: row.quantity for row in list_stash(session)}

    def reserved(self) -> Counter[str]:
        with self.shop.read() as session:
            return reserved(session)

    def batch_status(self, number: int) -> BatchStatus:
        with self.shop.read() as session:
            return get_batch(session, number).status

    def batches(self) -> int:
        with self.shop.read() as session:
            return len(list_batches(session))


@pytest.fixture
def table(shop: ShopFile) -> Table:
    made = Table(shop)
    made.paper()
    return made
