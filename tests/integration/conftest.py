"""A shop for every test, in a file and in a PostgreSQL database, each built once and then reset."""

from __future__ import annotations

import json
import os
import shutil
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from jsonschema import Draft202012Validator
from sqlalchemy import create_engine, delete, insert, inspect, select, text
from sqlalchemy.engine import make_url

from inventory.cli.main import main
from inventory.database.open import PATH_VARIABLE, open_shop
from inventory.database.postgresql import reset_sequences
from inventory.database.shop_file import ShopFile
from inventory.database.tables.all import METADATA
from inventory.database.tables.shop import Shop
from inventory.orders.orders import add_order, get_order
from inventory.production.cutting import cut_batch
from inventory.production.planning import plan_batch
from inventory.production.progress import list_batches
from inventory.stock import ledger
from inventory.stock.adjust import count_stock, spoil_stock
from inventory.stock.listing import list_stash
from inventory.stock.lookup import get_batch
from inventory.stock.papers import add_paper
from inventory.stock.receiving import add_offcut, add_sheets
from inventory.stock.reservations import reserved_quantities
from inventory.views.schemas import schema_text
from nester.core.lengths import cm
from nester.core.problem import Effort

if TYPE_CHECKING:
    from collections import Counter
    from collections.abc import Callable, Iterator

    from inventory.core.plan import Plan
    from inventory.database.tables.enums import BatchStatus, OrderStatus

SERVER = "QUIREBOX_TEST_POSTGRESQL"
"""Names the URL of a PostgreSQL server on which tests may make databases (`.ci/postgresql`)."""
NEW = {"name": "The paper nook", "unit": "mm", "currency": "EUR"}
TODAY = date(2027, 3, 1)
CARD = {"width": "10cm", "height": "20cm", "mats": "none"}


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run each test of a shop on both kinds of book, unless it looks at the file itself."""
    names = metafunc.fixturenames
    if "shop" in names and "shop_path" not in names:
        metafunc.parametrize("shop", ["sqlite", "postgresql"], indirect=True)


@pytest.fixture(scope="session")
def empty_shop_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("template") / "shop.sqlite"
    open_shop(path, create=True, **NEW).close()
    return path


@pytest.fixture
def shop_path(tmp_path: Path, empty_shop_file: Path) -> Path:
    return Path(shutil.copy(empty_shop_file, tmp_path / "shop.sqlite"))


@pytest.fixture(scope="session")
def server() -> str:
    """Return the URL of the server for tests."""
    url = os.environ.get(SERVER)
    if url:
        return url
    said = f"no PostgreSQL: {SERVER} is not set; '.ci/postgresql COMMAND' starts one for COMMAND"
    if os.environ.get("CI"):
        pytest.fail(said)
    pytest.skip(said)


@pytest.fixture(scope="session")
def new_database(server: str) -> Iterator[Callable[[], str]]:
    """Return what makes an empty database and gives its URL."""
    made: list[str] = []
    url = make_url(server)
    admin = create_engine(url.set(drivername="postgresql+psycopg"), isolation_level="AUTOCOMMIT")

    def make() -> str:
        name = f"quirebox_test_{os.getpid()}_{len(made)}"
        made.append(name)
        _run(f"CREATE DATABASE {name} TEMPLATE template0 ENCODING 'UTF8' LOCALE 'C'")
        return url.set(database=name).render_as_string(hide_password=False)

    def _run(statement: str) -> None:
        with admin.connect() as connection:
            connection.execute(text(statement))

    yield make
    for name in made:
        _run(f"DROP DATABASE {name} WITH (FORCE)")
    admin.dispose()


@pytest.fixture
def empty_database(new_database: Callable[[], str]) -> str:
    """Return the URL of a database without tables."""
    return new_database()


@pytest.fixture(scope="session")
def used_database(new_database: Callable[[], str]) -> str:
    url = new_database()
    open_shop(url, create=True, **NEW).close()
    return url


@pytest.fixture
def empty_server_shop(empty_database: str) -> str:
    """Return the URL of a shop whose tables may be spoilt."""
    open_shop(empty_database, create=True, **NEW).close()
    return empty_database


@pytest.fixture
def database(used_database: str) -> str:
    """Return the URL of a database with an empty shop."""
    engine = create_engine(make_url(used_database).set(drivername="postgresql+psycopg"))
    with engine.begin() as connection:
        tables = [
            name for name in inspect(connection).get_table_names() if name != "alembic_version"
        ]
        connection.execute(text("SET session_replication_role = replica"))  # the ledger's guards
        connection.execute(text(f"TRUNCATE {', '.join(tables)} RESTART IDENTITY"))
        connection.execute(Shop.__table__.insert().values(**NEW))
    engine.dispose()
    return used_database


@pytest.fixture
def shop(request: pytest.FixtureRequest) -> Iterator[ShopFile]:
    on_server = getattr(request, "param", "sqlite") == "postgresql"
    with open_shop(request.getfixturevalue("database" if on_server else "shop_path")) as opened:
        yield opened


def fill(shop: ShopFile) -> None:
    """Two batches, one cut and one open; offcuts, losses and a counter-movement."""
    with shop.begin() as session:
        add_paper(session, "Coal card", colour="black", grammage=300)
        add_sheets(session, "Coal card", (cm(50), cm(70)), 9, place="Shelf")
        add_offcut(session, "Coal card", (cm(30), cm(30)), parent="S-1")
        ledger.reverse_transaction(session, spoil_stock(session, "S-1").transaction)
        count_stock(session, "S-1", 8)
    for number in (1, 2):
        with shop.begin() as session:
            add_order(
                session, "Ines", "folded-card", CARD, {"all": "Coal card"}, 14,
                TODAY + timedelta(7), TODAY,
            )  # fmt: skip
        plan_batch(shop, effort=Effort.QUICK, today=TODAY)
        if number == 1:
            with shop.begin() as session:
                cut_batch(session, 1)


def pour(source: Path, shop: ShopFile) -> None:
    """Fill an empty shop with all that is in a file: quicker than doing it all again."""
    with (
        open_shop(source) as full,
        full.read() as reading,
        shop.begin() as session,
    ):
        session.execute(delete(Shop))
        for table in METADATA.sorted_tables:
            rows = [dict(row) for row in reading.execute(select(table)).mappings()]
            if rows:
                session.execute(insert(table), rows)
        if shop.path is None:
            reset_sequences(session.connection())


@pytest.fixture(scope="session")
def filled_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a file of two batches, one cut and one open, offcuts, a loss, a counter-movement."""
    path = tmp_path_factory.mktemp("filled") / "shop.sqlite"
    with open_shop(path, create=True, **NEW) as shop:
        fill(shop)
    return path


@pytest.fixture
def filled(shop: ShopFile, filled_file: Path) -> ShopFile:
    """Return the shop of `filled_file`, in a file or on a server."""
    pour(filled_file, shop)
    return shop


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

    def status(self, number: int) -> OrderStatus:
        with self.shop.read() as session:
            return get_order(session, number).status

    def on_hand(self) -> dict[str, int]:
        with self.shop.read() as session:
            return {row.label: row.quantity for row in list_stash(session)}

    def reserved(self) -> Counter[str]:
        with self.shop.read() as session:
            return reserved_quantities(session)

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
