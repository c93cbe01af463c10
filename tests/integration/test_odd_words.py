"""Every word of every command may be odd: the program does it, or refuses it in one sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from inventory.cli.main import main
from inventory.cli.reference import list_commands
from inventory.database.open import PATH_VARIABLE, open_shop
from nester.core.lengths import cm
from tests.integration.conftest import Table
from tests.shopwork import state

if TYPE_CHECKING:
    from pathlib import Path

ODD = ("x" * 10_000, "9" * 400, "'\"; --%s{0}\\\u202e🎁\ud800\0b")
PLAIN = {
    "label": "S-1", "paper": "Coal card", "size": "5x5cm", "width": "5mm", "file": "none.csv",
    "place": "Shelf", "along": "width", "design": "gift-tag", "colour": "red", "measure": "reel",
}  # fmt: skip
"""What is needed besides the odd word; 1 where nothing else is said."""
SEARCHES = {
    ("demo",), ("fit",), ("estimate",), ("batch", "plan"), ("batch", "mend"), ("batch", "spoil"),
    ("buy", "plan"), ("design", "sizes"), ("design", "sheets"), ("stash", "makes"),
}  # fmt: skip
"""These may take long where what is odd is passed over."""


def words_of(command: Any) -> list[tuple[tuple[str, ...], Any]]:
    """Return the command's words with one parameter left open, for each of its parameters."""
    needed = [one for one in command.params if one.required]
    given = []
    for odd in command.params:
        if odd.name == "help" or getattr(odd, "is_flag", False):
            continue
        options, arguments = [], []
        for one in [*needed, *([] if odd in needed else [odd])]:
            value = "{odd}" if one is odd else PLAIN.get(one.name, "1")
            if one.param_type_name == "argument":
                arguments.append(value)
            else:
                options.append(f"{one.opts[0]}={value}")
        given.append(((*options, "--", *arguments), odd))
    return given


def book(path: Path) -> object:
    with open_shop(path) as shop:
        return state(shop)


@pytest.mark.parametrize(
    ("words", "command"),
    [leaf for leaf in list_commands() if leaf.words not in SEARCHES],
    ids=[" ".join(leaf.words) for leaf in list_commands() if leaf.words not in SEARCHES],
)
def test_odd_words_in_commands(
    shop_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    words: tuple[str, ...],
    command: Any,
) -> None:
    with open_shop(shop_path) as shop:
        table = Table(shop)
        table.paper()
        table.sheets((cm(50), cm(70)), 9)
    monkeypatch.setenv(PATH_VARIABLE, str(shop_path))
    monkeypatch.chdir(shop_path.parent)
    before = book(shop_path)
    for at, (rest, odd) in enumerate(words_of(command)):
        # A third of the words each; other parameters and commands get the others.
        for text in ODD[at % 3 :: 3]:
            code = main([*words, *(word.replace("{odd}", text) for word in rest)])
            said = capsys.readouterr().err
            assert code in (0, 2), (odd.name, text[:20], said[:500])
            assert len(said.splitlines()) == (code == 2), (odd.name, said[:500])
            assert len(said) < 1000, (odd.name, said[:500])
            assert all(one.isprintable() for one in said.splitlines()), said
            now = book(shop_path)
            assert code == 0 or now == before, (odd.name, text[:20])
            before = now
