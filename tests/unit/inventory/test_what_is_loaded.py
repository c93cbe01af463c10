"""What commands on a file must not load: it would make each of them slower to start."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from inventory.database.open import open_shop
from inventory.stock.papers import add_paper

_NEEDLESS = (
    "alembic",
    "ortools",
    "numpy",
    "nester.packing",
    "nester.designs",
    "nester.drawing",
    "sqlalchemy.dialects.postgresql",
    "inventory.database.tables.purchasing",
    "inventory.database.tables.costs",
    "inventory.database.tables.supplies",
    "inventory.core.plan",
    "inventory.core.table_files",
    "inventory.production.planning",
)
"""What takes longest to read in of all that lists and shows have no use for."""


def loaded_by(words: list[str]) -> set[str]:
    """Run a command in a process of its own and return which modules it has loaded."""
    told = (
        "import sys; from inventory.cli.main import main\n"
        "assert main(sys.argv[1:]) == 0\n"
        "print(*sys.modules, file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", told, *words], capture_output=True, text=True, check=True
    )
    return set(done.stderr.split())


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shop's file with a paper in it."""
    path = tmp_path_factory.mktemp("shop") / "shop.sqlite"
    with open_shop(path, create=True) as shop, shop.begin() as session:
        add_paper(session, "Moss card", colour="green", grammage=300, swatch="#4a6741")
    return path


@pytest.mark.parametrize(
    "words",
    [
        ["stash", "list", "--kind", "offcut"],
        ["stash", "find", "--colour", "darkgreen"],
        ["offcut", "for", "12x18cm"],
        ["paper", "list"],
        ["place", "list"],
        ["shop", "show"],
    ],
    ids=" ".join,
)
def test_a_plain_command_loads_what_it_uses(words: list[str], place: Path):
    loaded = loaded_by(["--shop", str(place), *words])
    assert "inventory.database.tables.base" in loaded
    assert sorted(loaded.intersection(_NEEDLESS)) == []


def test_the_models_know_nothing_of_a_server():
    tables = "inventory.database.tables.base"
    told = f"import sys, {tables}; print('sqlalchemy.dialects.postgresql' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"


def test_costs_by_the_book_load_no_optimizer():
    told = "import sys, inventory.costs.order_costs; print('nester.packing' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"


def test_help_reads_in_no_book():
    loaded = loaded_by(["--help"])
    assert "inventory.cli.report" in loaded
    assert (
        sorted(loaded.intersection((*_NEEDLESS, "sqlalchemy", "inventory.database.tables.base")))
        == []
    )
