"""Stopped in the middle, or read by somebody who goes away: nothing is half done."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from random import Random

import pytest

from inventory.cli.shared.options import stopping
from tests.e2e.conftest import Desk

LIMIT = 600
"""Seconds after which a test gives up; only a hung command takes that long."""

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="terminals of POSIX")


Watch = Callable[..., "Watched"]


class Watched:
    """A command whose standard error is a terminal, on which it shows how it goes on.

    It leads a process group of its own, so that whatever it leaves behind can be ended with it.
    """

    def __init__(self, desk: Desk, *words: str) -> None:
        import pty

        self._ours, theirs = pty.openpty()
        self.process = desk.start(
            *words, stdout=subprocess.PIPE, stderr=theirs, start_new_session=True
        )
        os.close(theirs)
        self.seen = ""

    def wait_for(self, pattern: str) -> None:
        """Wait until the terminal shows it, or the command has ended without."""
        while not re.search(pattern, self.seen):
            assert self._read(), self.seen

    def _read(self) -> bool:
        """Read what the terminal shows next; False once the command has closed it."""
        try:
            data = os.read(self._ours, 65536)
        except OSError:  # Linux says so when the other side has closed
            return False
        self.seen += data.decode(errors="replace")
        return bool(data)

    def finish(self) -> tuple[int, bytes]:
        out, _ = self.process.communicate(timeout=LIMIT)
        while self._read():
            pass
        return self.process.returncode, out

    def end(self) -> None:
        """End it and all that it started."""
        with suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()
        if self.process.stdout is not None:
            self.process.stdout.close()
        os.close(self._ours)


@pytest.fixture
def watch() -> Iterator[Watch]:
    """Start commands that are watched, and end what is left of them after the test."""
    started = []

    def start(desk: Desk, *words: str) -> Watched:
        started.append(Watched(desk, *words))
        return started[-1]

    yield start
    for watched in started:
        watched.end()


def test_one_interrupt_gives_the_best_plan_so_far(stocked: Desk, watch: Watch) -> None:
    watched = watch(stocked, "batch", "plan", "--effort", "thorough", "--json")
    watched.wait_for(r"Planning: \d+ sheets")
    watched.process.send_signal(signal.SIGINT)
    code, out = watched.finish()
    assert code == 0, watched.seen
    plan = json.loads(out)
    assert plan["batch"] == 1
    assert any("stopped early" in note for note in plan["notes"])
    shown = stocked.data("batch", "batch", "show", "1", "--json")
    assert {key: shown[key] for key in plan} == plan


def test_one_interrupt_gives_the_best_fit_so_far(desk: Desk, watch: Watch) -> None:
    some = Random(5)
    rows = "".join(
        f"p{n},{some.randint(30, 300)},{some.randint(30, 300)},{some.randint(1, 9)}\n"
        for n in range(40)
    )
    (desk.folder / "pieces.csv").write_text(f"name,width,height,quantity\n{rows}")
    (desk.folder / "sheets.csv").write_text("name,width,height,quantity\na,700,500,\n")
    watched = watch(
        desk, "fit", "pieces.csv", "sheets.csv", "--effort", "thorough", "--into", "a.json"
    )
    watched.wait_for(r"Fitting: \d+ sheets")
    watched.process.send_signal(signal.SIGINT)
    code, out = watched.finish()
    assert code == 0, watched.seen
    assert b"stopped early" in out
    assert not json.loads((desk.folder / "a.json").read_text())["unplaced"]


def test_one_interrupt_shows_the_sizes_planned_so_far(desk: Desk, watch: Watch) -> None:
    """In a terminal Ctrl-C reaches the processes that share the work too."""
    size = ("--from", "12cm", "--to", "19cm", "--effort", "thorough", "--processes", "2")
    watched = watch(
        desk, "design", "sizes", "layered-box", "mats=both", "--on", "56x71cm", *size,
    )  # fmt: skip
    watched.wait_for(r"Comparing sizes: [1-9]\d* %")
    os.killpg(watched.process.pid, signal.SIGINT)
    code, out = watched.finish()
    assert code == 0, watched.seen
    assert re.search(r"Stopped early: \d+ of 71 sizes were compared\.", out.decode())
    assert "Traceback" not in watched.seen


def test_two_interrupts_wait_for_no_sizes(desk: Desk, watch: Watch) -> None:
    """Nor if only the command itself is told."""
    words = ("--from", "12cm", "--to", "19cm", "--effort", "thorough", "--processes", "2")
    watched = watch(desk, "design", "sizes", "layered-box", "mats=both", "--on", "56x71cm", *words)
    watched.wait_for("Comparing sizes: 0 %|Comparing sizes …")
    watched.process.send_signal(signal.SIGINT)
    watched.wait_for("press Ctrl-C again to give up")
    watched.process.send_signal(signal.SIGINT)
    code, out = watched.finish()
    assert code in (130, -signal.SIGINT)
    assert out == b""
    assert "Traceback" not in watched.seen


def test_the_second_interrupt_ends_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    with stopping(None) as stop:
        assert not stop()
        signal.raise_signal(signal.SIGINT)
        assert stop()
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    assert "press Ctrl-C again to give up" in capsys.readouterr().err


def test_an_interrupt_while_a_plan_is_booked_books_nothing(
    stocked: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    held = stocked.held()

    def stopped(*_: object) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr("inventory.production.booking.plan_to_json", stopped)
    ran = stocked.run_here("batch", "plan", "1", "--effort", "quick")
    assert (ran.code, ran.out) == (130, "")
    assert stocked.held() == held


def test_the_safety_stop_still_gives_an_answer(stocked: Desk) -> None:
    plan = stocked.data(
        "batch", "batch", "plan", "1", "--effort", "thorough", "--seconds", "1", "--json"
    )
    assert plan["batch"] == 1


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252"])
def test_an_output_that_knows_few_signs(stocked: Desk, encoding: str) -> None:
    stocked.do("batch", "plan", "3", "--effort", "quick")
    plain = Desk(stocked.folder, {"PYTHONIOENCODING": encoding})
    commands = ("batch steps 1", "batch show 1", "design show gift-tag", "paper list", "stash list")
    for words in commands:
        with plain.start(*words.split(), stdout=subprocess.PIPE, stderr=subprocess.PIPE) as run:
            out, err = run.communicate(timeout=LIMIT)
        assert (run.returncode, err) == (0, b"")
        assert out.decode(encoding)
    stocked.do("shop", "set", "--name", "Papier ½ 紙")
    assert plain.data("shop", "shop", "show", "--json")["name"] == "Papier ½ 紙"


def test_a_closed_output_is_no_fault(stocked: Desk) -> None:
    for words in ("stash list", "shop show --json", "paper add Coal --colour black --grammage 300"):
        ran = stocked.run(*words.split(), before=lambda: os.close(1))
        assert (ran.code, ran.err) == (0, "")
    assert "Coal " in stocked.do("paper", "list")


def test_a_terminal_is_told_how_the_search_goes_on_without_colour(
    stocked: Desk, watch: Watch
) -> None:
    quiet = Desk(stocked.folder, {"NO_COLOR": "1", "TERM": "xterm-256color"})
    watched = watch(quiet, "batch", "plan", "3", "--effort", "quick", "--json")
    code, out = watched.finish()
    assert code == 0
    assert out.startswith(b"{")
    assert "Planning" in watched.seen
    assert not re.search(r"\x1b\[[0-9;]*(?:3[0-8]|4[0-8]|9[0-7])[0-9;]*m", watched.seen)


@pytest.mark.parametrize(
    "words", [("stash", "list"), ("stash", "list", "--json"), ("design", "show", "layered-box")]
)
def test_a_reader_that_goes_away_is_no_fault(stocked: Desk, words: tuple[str, ...]) -> None:
    ours, theirs = os.pipe()
    os.close(ours)
    process = stocked.start(*words, stdout=theirs, stderr=subprocess.PIPE)
    os.close(theirs)
    _, err = process.communicate(timeout=LIMIT)
    assert (process.returncode, err) == (0, b"")
