"""Several processes in one shop (short; `tests/benchmarks/eight_at_once.py` does it for long)."""

from __future__ import annotations

import sys
import threading
from pathlib import Path

import pytest

from inventory.database.open import open_shop
from inventory.database.shop_file import ShopFile
from inventory.stock.listing import list_stash
from tests.benchmarks.eight_at_once import hold_to_book, run
from tests.integration.conftest import Hand


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_nothing_is_lost_or_doubled(
    kind: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    place = str(tmp_path / "shop.sqlite")
    if kind == "postgresql":
        place = request.getfixturevalue("empty_database")
    accounts = run(place, processes=3, seconds=2)
    assert sum(len(account.deeds) for account in accounts) > 3
    assert all(set(account.refused) <= ALLOWED for account in accounts), accounts
    hold_to_book(place, accounts)


ALLOWED = {
    "stash changed", "only an open batch", "not in the stash", "on hand", "no open batch",
    "is reserved",
}  # fmt: skip
"""What others did meanwhile may stand in the way; that a book is in use may not."""


def test_whoever_waits_says_so_once(shop: ShopFile, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("inventory.database.shop_file.PATIENCE", 0)
    told = threading.Semaphore(0)

    def write() -> None:
        with open_shop(shop.path or request_url(shop)) as other:
            other.on_wait = told.release
            with other.begin() as session:
                assert list_stash(session) == []

    with shop.begin():
        second = threading.Thread(target=write)
        second.start()
        assert told.acquire(timeout=20)
        second.join(0.2)
        assert second.is_alive()
    second.join()
    assert not told.acquire(blocking=False)


def request_url(shop: ShopFile) -> str:
    return shop._engine.url.render_as_string(hide_password=False).replace("+psycopg", "")


@pytest.mark.skipif(sys.platform == "win32", reason="a thread holds the file")
def test_the_desk_says_that_it_waits(
    hand: Hand, shop_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from inventory.cli.main import main
    from inventory.cli.shared import terminal

    begun, end = threading.Event(), threading.Event()
    warn = terminal.warn

    def warn_and_let_go(text: str) -> None:
        warn(text)
        end.set()

    monkeypatch.setattr("inventory.database.shop_file.PATIENCE", 0)
    monkeypatch.setattr(terminal, "warn", warn_and_let_go)
    with open_shop(shop_path) as shop:

        def hold() -> None:
            with shop.begin():
                begun.set()
                end.wait(20)

        holder = threading.Thread(target=hold)
        holder.start()
        begun.wait(20)
        assert main(["shop", "set", "--name", "Nook"]) == 0
        holder.join()
    said = capsys.readouterr()
    assert said.err == "quirebox: waiting for another program to finish with the shop …\n"
    assert "Nook" in hand.does("shop", "show")
