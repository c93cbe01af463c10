"""The command line as people run it: a process of its own, in an empty home."""

from __future__ import annotations

import contextlib
import io
import json
import os
import sqlite3
import subprocess
import sysconfig
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from jsonschema import Draft202012Validator

from inventory.cli.main import main
from inventory.core.resources import demo_folder
from inventory.database.open import open_shop
from inventory.database.tables.enums import Reason
from inventory.orders.import_orders import import_orders
from inventory.shop.settings import get_shop
from inventory.stock.import_lists import import_offcuts, import_papers, import_sheets
from inventory.views.schemas import schema_text

QUIREBOX = Path(sysconfig.get_path("scripts")) / "quirebox"
README = Path(__file__).parents[2] / "README.md"


@dataclass(frozen=True)
class Ran:
    """How a command ended, and what it said."""

    code: int
    out: str
    err: str


@dataclass(frozen=True)
class Desk:
    """Where commands are run: a folder, which is the home too, and its shop."""

    folder: Path
    variables: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.shop.parent.mkdir(exist_ok=True)

    @property
    def shop(self) -> Path:
        return self.folder / "quirebox" / "shop.sqlite"

    @property
    def environment(self) -> dict[str, str]:
        return {
            "PATH": os.environ.get("PATH", ""),
            "HOME": str(self.folder),
            "LANG": "C.UTF-8",
            "XDG_DATA_HOME": str(self.folder),
            **self.variables,
        }

    def run(self, *words: str, before: Callable[[], None] | None = None) -> Ran:
        done = subprocess.run(
            [QUIREBOX, *words],
            cwd=self.folder,
            env=self.environment,
            capture_output=True,
            encoding="utf-8",
            timeout=600,
            preexec_fn=before,
            check=False,
        )
        return Ran(done.returncode, done.stdout, done.stderr)

    def run_here(self, *words: str) -> Ran:
        """Run a command in this process, which is quicker; for long lists of cases."""
        out, err = io.StringIO(), io.StringIO()
        with (
            patch.dict(os.environ, self.environment, clear=True),
            contextlib.chdir(self.folder),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
        ):
            code = main(words)
        return Ran(code, out.getvalue(), err.getvalue())

    def start(self, *words: str, **others: Any) -> subprocess.Popen[bytes]:
        return subprocess.Popen([QUIREBOX, *words], cwd=self.folder, env=self.environment, **others)

    def do(self, *words: str, run: Callable[..., Ran] | None = None) -> str:
        """Run what must succeed and say nothing beside; return what it printed."""
        ran = (run or self.run)(*words)
        assert (ran.code, ran.err) == (0, ""), ran
        return ran.out

    def refuses(self, *words: str, run: Callable[..., Ran] | None = None) -> str:
        """Run what must be refused with nothing stored; return its one sentence."""
        held = self.held()
        ran = (run or self.run)(*words)
        assert ran.code == 2, ran
        assert ran.out == ""
        assert self.held() == held
        return one_sentence(ran.err)

    def data(self, schema: str, *words: str, run: Callable[..., Ran] | None = None) -> Any:
        """Run a command that prints JSON, and hold that to its schema."""
        data = json.loads(self.do(*words, run=run))
        conforms(schema, data)
        return data

    def held(self) -> tuple[set[Path], list[str] | None]:
        """Return the files in the folder, and all that the shop's book says."""
        files = {path for path in self.folder.rglob("*") if not path.name.startswith("shop.")}
        if not self.shop.is_file():
            return files, None
        with closing(sqlite3.connect(self.shop)) as book:
            return files, list(book.iterdump())


def one_sentence(text: str) -> str:
    """Return the sentence of a refusal, told on a line of its own."""
    (line,) = text.splitlines()
    assert line.startswith("quirebox: ")
    assert line.endswith((".", "?", "!"))
    assert "Traceback" not in line
    return line.removeprefix("quirebox: ")


def conforms(schema: str, data: Any) -> None:
    validator = Draft202012Validator(
        json.loads(schema_text(schema)), format_checker=Draft202012Validator.FORMAT_CHECKER
    )
    validator.validate(data)


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """An empty folder; there is no shop in it."""
    return Desk(tmp_path)


@pytest.fixture(scope="session")
def demo_shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The book of the demo's shop, in which nothing is planned yet."""
    path = tmp_path_factory.mktemp("demo-shop") / "shop.sqlite"
    lists = demo_folder()
    with (
        open_shop(path, create=True, name="Hazelmoth", unit="cm", currency="EUR") as shop,
        shop.begin() as session,
    ):
        unit = get_shop(session).unit
        import_papers(session, lists / "papers.csv")
        import_sheets(session, lists / "sheets.csv", unit, reason=Reason.OPENING)
        import_offcuts(session, lists / "offcuts.csv", unit, reason=Reason.OPENING)
        import_orders(session, lists / "orders.csv", date.today())
    return path


@pytest.fixture
def stocked(desk: Desk, demo_shop: Path) -> Desk:
    """A folder with the demo's shop in it."""
    with closing(sqlite3.connect(demo_shop)) as source, closing(sqlite3.connect(desk.shop)) as copy:
        source.backup(copy)
    return desk
