"""A shop for every test, copied from one that is built once."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from jsonschema import Draft202012Validator

from inventory.desk.main import main
from inventory.desk.schemas import schema_text
from inventory.shop import PATH_VARIABLE, ShopFile, open_shop

if TYPE_CHECKING:
    from collections.abc import Iterator


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
