"""A shop for every test, copied from one that is built once."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from inventory.shop import ShopFile, open_shop

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
