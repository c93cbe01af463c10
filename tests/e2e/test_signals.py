"""Stopped in the middle, or read by somebody who goes away: nothing is half done."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from random import Random

import pytest

from tests.e2e.conftest import Desk

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="terminals of POSIX")


class Watched:
    """A command whose standard error is a terminal, on which it shows how it goes on."""

    def __init__(self, desk: Desk, *words: str) -> None:
        import pty

        self._ours, theirs = pty.openpty()
        self.process = desk.start(*words, stdout=subprocess.PIPE, stderr=theirs)
        os.close(theirs)
        self.seen = ""

    def wait_for(self, pattern: str) -> None:
        end = time.monotonic() + 60
        while not re.search(pattern, self.seen):
            assert time.monotonic() < end, self.seen
            assert self._read(), self.seen

    def _read(self) -> bool:
        try:
            data = os.read(self._ours, 65536)
        except OSError:  # Linux says so when the other side has closed
            return False
        self.seen += data.decode(errors="replace")
        return bool(data)

    def finish(self) -> tuple[int, bytes]:
        out, _ = self.process.communicate(timeout=60)
        while self._read():
            pass
        os.close(self._ours)
        return self.process.returncode, out


def interrupt(desk: Desk, when: str, *words: str) -> None:
    """Press Ctrl-C once the terminal shows a pattern."""
    watched = Watched(desk, *words)
    watched.wait_for(when)
    watched.process.send_signal(signal.SIGINT)
    code, out = watched.finish()
    assert code == 130, watched.seen
    assert out == b""
    assert "quirebox: stopped; what was not finished was not stored." in watched.seen
    assert "Traceback" not in watched.seen


def test_a_plan_that_is_stopped_books_nothing(stocked: Desk) -> None:
    held = stocked.held()
    interrupt(stocked, r"Planning: \d+ sheets", "batch", "plan", "--effort", "thorough")
    assert stocked.held() == held
    assert stocked.data("batches", "batch", "list", "--json") == []


def test_a_fit_that_is_stopped_writes_nothing(desk: Desk) -> None:
    some = Random(5)
    rows = "".join(
        f"p{n},{some.randint(30, 300)},{some.randint(30, 300)},{some.randint(1, 9)}\n"
        for n in range(40)
    )
    (desk.folder / "pieces.csv").write_text(f"name,width,height,quantity\n{rows}")
    (desk.folder / "sheets.csv").write_text("name,width,height,quantity\na,700,500,\n")
    held = desk.held()
    interrupt(
        desk, r"Fitting: \d+ sheets", "fit", "pieces.csv", "sheets.csv",
        "--effort", "thorough", "--json", "a.json",
    )  # fmt: skip
    assert desk.held() == held


def test_the_safety_stop_still_gives_an_answer(stocked: Desk) -> None:
    plan = stocked.data(
        "batch", "batch", "plan", "1", "--effort", "thorough", "--seconds", "1", "--json"
    )
    assert plan["batch"] == 1


def test_a_terminal_is_told_how_the_search_goes_on_without_colour(stocked: Desk) -> None:
    quiet = Desk(stocked.folder, {"NO_COLOR": "1", "TERM": "xterm-256color"})
    watched = Watched(quiet, "batch", "plan", "3", "--effort", "quick", "--json")
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
    _, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (0, b"")
