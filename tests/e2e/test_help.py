"""Help that helps: every command has it, with examples that can be run."""

from __future__ import annotations

import re
import shlex

import pytest
import typer
from rich.cells import cell_len

from inventory.cli.main import app, main
from inventory.cli.reference import BEGIN, END, CommandEntry, list_commands, with_reference
from tests.e2e.conftest import README, Desk, one_sentence

LEAVES = list(list_commands())
GROUPS = sorted({leaf.words[0] for leaf in LEAVES if len(leaf.words) > 1})


def test_there_are_commands_for_the_whole_job() -> None:
    assert len(LEAVES) > 25
    assert GROUPS == [
        "batch", "buy", "cost", "design", "offcut", "order", "paper", "place", "report", "sheet",
        "shop", "spare", "stash", "supply",
    ]  # fmt: skip


@pytest.fixture
def narrow(monkeypatch: pytest.MonkeyPatch) -> None:
    for variable in ("COLUMNS", "FORCE_COLOR", "TERMINAL_WIDTH"):
        monkeypatch.delenv(variable, raising=False)


@pytest.mark.usefixtures("narrow")
@pytest.mark.parametrize(
    "words",
    [(), *((group,) for group in GROUPS), *(leaf.words for leaf in LEAVES)],
    ids=lambda words: " ".join(words) or "quirebox",
)
def test_help_of_every_command(words: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*words, "--help"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.startswith(" ".join(["Usage: quirebox", *words]))
    assert max(map(cell_len, out.splitlines())) <= 80
    assert "\x1b" not in out


def examples(leaf: CommandEntry) -> list[list[str]]:
    """Return the commands in the examples of a command's help, without the first word.

    They are read as a shell reads them when they are pasted.
    """
    _, _, shown = (leaf.command.help or "").partition("Example")
    lines = [line for line in shown.replace("\\\n", "").splitlines()[1:] if line.strip()]
    assert all(line.startswith("  quirebox ") for line in lines)
    return [shlex.split(line)[1:] for line in lines]


@pytest.mark.parametrize("leaf", LEAVES, ids=lambda leaf: " ".join(leaf.words))
def test_every_command_that_takes_something_has_an_example(leaf: CommandEntry) -> None:
    shown = examples(leaf)
    if any(one.param_type_name == "argument" for one in leaf.command.params):
        assert shown
    for words in shown:
        # The example is for this command, and its parser takes all of it.
        start = next(
            n for n in range(len(words)) if tuple(words[n:])[: len(leaf.words)] == leaf.words
        )
        parent = typer.Context(typer.main.get_command(app), info_name="quirebox")
        rest = words[start + len(leaf.words) :]
        leaf.command.make_context(leaf.words[-1], rest, parent=parent)


@pytest.mark.parametrize("group", GROUPS)
def test_completion_is_offered_once_for_the_whole_program(
    group: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["--help"]) == main([group, "--help"]) == 0
    assert capsys.readouterr().out.count("--install-completion") == 1


def test_help_and_version_in_a_process(desk: Desk) -> None:
    assert desk.do("--help").startswith("Usage: quirebox")
    assert desk.do() == desk.do("--help")
    assert re.fullmatch(r"\d+\.\d+\.\d+\S*\n", desk.do("--version"))


@pytest.mark.parametrize(
    "words",
    [
        ("bogus",),
        ("stash", "lst"),
        ("--bogus",),
        ("stash", "list", "--bogus"),
        ("fit",),
        ("fit", "a.csv"),
        ("fit", "a.csv", "b.csv", "c.csv"),
        ("fit", "a.csv", "b.csv", "--unit", "ft"),
        ("fit", "a.csv", "b.csv", "--effort"),
        ("fit", "a.csv", "b.csv", "--seconds", "0"),
        ("fit", "a.csv", "b.csv", "--seconds", "inf"),
        ("batch", "show", "one"),
        ("order", "add", "Ewa", "folded-card"),
        ("schema", "bogus"),
    ],
    ids=" ".join,
)
def test_what_is_no_command_is_refused(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert one_sentence(err)


def test_what_is_no_command_is_refused_in_a_process(desk: Desk) -> None:
    assert desk.refuses("stash", "lst") == "there is no command 'lst'; did you mean 'list'?"
    assert "--bogus" in desk.refuses("stash", "list", "--bogus")


def test_the_table_of_commands_in_the_readme_is_the_programs_own() -> None:
    text = README.read_text(encoding="utf-8")
    assert BEGIN in text, f"{README.name} has no table of commands; it needs a line {BEGIN}"
    assert END in text, f"{README.name} has no end of its table of commands; it needs a line {END}"
    assert with_reference(text) == text, (
        "the README's table of commands is not the program's;"
        " run: python -m inventory.cli.reference README.md"
    )


OPTIONS = [
    (leaf.words, option)
    for leaf in LEAVES
    for option in leaf.command.params
    if option.param_type_name == "option" and not option.is_flag and not option.multiple
]


def test_no_option_keeps_only_its_last_value(capsys: pytest.CaptureFixture[str]) -> None:
    assert len(OPTIONS) > 150
    for words, option in OPTIONS:
        name = max(option.opts, key=len)
        assert main([*words, name, "1", name, "2"]) == 2, (words, name)
        said = capsys.readouterr().err
        assert said == f"quirebox: {name} is given 2 times, and can be given only once.\n"


def test_an_option_and_its_opposite(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["batch", "spoil", "1", "--plan", "--no-plan"]) == 2
    said = capsys.readouterr().err
    assert said == ("quirebox: --plan or --no-plan is given 2 times, and can be given only once.\n")
    assert main(["--shop", "no.sqlite", "batch", "list", "--json", "--json"]) == 2
    assert "there is no shop" in capsys.readouterr().err


def test_every_command_speaks_to_programs() -> None:
    context = typer.Context(typer.main.get_command(app))
    for leaf in LEAVES:
        options = {name for option in leaf.command.get_params(context) for name in option.opts}
        # What it prints is JSON anyway, or is written to a file that is named.
        assert "--json" in options or leaf.words == ("schema",), leaf.words
