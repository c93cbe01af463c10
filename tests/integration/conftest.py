"""A shop for every test, in a file and in a PostgreSQL database, each built once and then reset."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import create_engine, inspect, text
from sqlalchemy.engine import make_url

from inventory.models import Shop
from inventory.shop import ShopFile, open_shop

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

SERVER = "QUIREBOX_TEST_POSTGRESQL"
"""Names the URL of a PostgreSQL server on which tests may make databases (`.ci/postgresql`)."""
NEW = {"name": "The paper nook", "unit": "mm", "currency": "EUR"}


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
        tables = [name for name in inspect(connection).get_table_names() if name != REVISION]
        connection.execute(text("SET session_replication_role = replica"))  # the ledger's guards
        connection.execute(text(f"TRUNCATE {', '.join(tables)} RESTART IDENTITY"))
        connection.execute(Shop.__table__.insert().values(**NEW))
    engine.dispose()
    return used_database


REVISION = "alembic_version"


@pytest.fixture
def shop(request: pytest.FixtureRequest) -> Iterator[ShopFile]:
    on_server = getattr(request, "param", "sqlite") == "postgresql"
    with open_shop(request.getfixturevalue("database" if on_server else "shop_path")) as opened:
        yield opened
