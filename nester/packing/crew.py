"""The searches of a problem, one a paper, at work: one after another, or in several processes.

Papers share nothing, so what a search finds does not depend on where or beside what it runs.  Each
search stays in one process, for what it knows is large and part of it lives in solvers; only the
shares of effort go there, and where it stands comes back.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing import connection, get_context, parent_process, resource_tracker
from typing import TYPE_CHECKING, Protocol

from nester.layouts import Problem
from nester.packing.model import Task
from nester.packing.search import End, Search, Share, State
from nester.packing.stop import Stop

if TYPE_CHECKING:
    from ctypes import c_bool
    from multiprocessing.connection import Connection

__all__ = ["Crew", "cores", "crew"]

_MOST = 8
"""Processes that work at once: more would want too much memory."""
_GLANCE = 0.05
"""Seconds between two looks at the stopping rule while others work."""


def cores() -> int:
    """Return how many processes of this program can work at once."""
    return min(_MOST, os.cpu_count() or 1)


class Crew(Protocol):
    """Searches by their numbers, in the order of the papers."""

    @property
    def states(self) -> Sequence[State]:
        """Where the searches stand."""

    def start(self, stop: Stop) -> None:
        """Let all bound costs and try what is quick."""

    def round(self, shares: Mapping[int, Share], stop: Stop) -> Iterator[int]:
        """Let some search with shares of effort; yield each that is done with its share."""

    def tidy(self, work: float, stop: Stop) -> None:
        """Let all make their plans tidier."""

    def ends(self) -> list[End]:
        """Return what came of all."""


@contextmanager
def crew(searches: Sequence[Search], problem: Problem, processes: int) -> Iterator[Crew]:
    """Give a crew for searches that have a first plan each.

    Parameters
    ----------
    processes
        How many work at once; 1 for all in this process.
    """
    if processes == 1:
        yield _Alone(searches)
        return
    team = _Team(searches, problem, processes)
    try:
        yield team
    finally:
        team.dismiss()


class _Alone:
    """All searches in this process, one after another."""

    def __init__(self, searches: Sequence[Search]) -> None:
        self._searches = searches

    @property
    def states(self) -> Sequence[State]:
        return [search.state for search in self._searches]

    def start(self, stop: Stop) -> None:
        for search in self._searches:
            search.start(stop)

    def round(self, shares: Mapping[int, Share], stop: Stop) -> Iterator[int]:
        for number, share in shares.items():
            if stop():
                return
            self._searches[number].round(share, stop)
            yield number

    def tidy(self, work: float, stop: Stop) -> None:
        for search in self._searches:
            if not stop():
                search.tidy(work, stop)

    def ends(self) -> list[End]:
        return [search.end() for search in self._searches]


# ------------------------------------------------------------------------- several processes


@dataclass(frozen=True)
class _Job:
    """What a search is to do: start, go on with a share, tidy with some work, or end."""

    number: int
    deed: str
    share: Share | None = None
    work: float = 0


@dataclass(frozen=True)
class _Done:
    """A job's answer: where the search stands; in the end what came of it, or what went wrong."""

    number: int
    state: State | None = None
    end: End | None = None
    error: BaseException | None = None


class _Team:
    """The searches shared among processes, each of which makes its own anew."""

    def __init__(self, searches: Sequence[Search], problem: Problem, processes: int) -> None:
        context = get_context("spawn")
        self._states = [search.state for search in searches]
        self._stopped: c_bool = context.RawValue("b", 0)
        shared = _shared(searches, processes)
        self._worker_of = {n: worker for worker, mine in enumerate(shared) for n in mine}
        self._links: list[Connection] = []
        self._workers = []
        for numbers in shared:
            here, there = context.Pipe()
            tasks = {number: searches[number].task for number in numbers}
            worker = context.Process(
                target=_work, args=(there, problem, tasks, self._stopped), daemon=True
            )
            with _unheard():
                worker.start()
            there.close()
            self._links.append(here)
            self._workers.append(worker)

    @property
    def states(self) -> Sequence[State]:
        return self._states

    def start(self, stop: Stop) -> None:
        for _ in self._ask([_Job(number, "start") for number in range(len(self._states))], stop):
            pass

    def round(self, shares: Mapping[int, Share], stop: Stop) -> Iterator[int]:
        jobs = [_Job(number, "round", share) for number, share in shares.items()]
        for done in self._ask(jobs, stop):
            yield done.number

    def tidy(self, work: float, stop: Stop) -> None:
        jobs = [_Job(number, "tidy", work=work) for number in range(len(self._states))]
        for _ in self._ask(jobs, stop):
            pass

    def ends(self) -> list[End]:
        jobs = [_Job(number, "end") for number in range(len(self._states))]
        ends = {done.number: done.end for done in self._ask(jobs, lambda: False)}
        return [end for number in range(len(jobs)) if (end := ends[number]) is not None]

    def dismiss(self) -> None:
        """End the processes, whatever they are at."""
        for link in self._links:
            link.close()
        for worker in self._workers:
            worker.terminate()
            worker.join()

    def _ask(self, jobs: Sequence[_Job], stop: Stop) -> Iterator[_Done]:
        """Hand out jobs, and yield their answers as they come; all of them, also when stopped."""
        try:
            for job in jobs:
                self._links[self._worker_of[job.number]].send(job)
            left = len(jobs)
            while left:
                ready = connection.wait(self._links, _GLANCE)
                if not self._stopped.value and stop():
                    self._stopped.value = True
                answers: list[_Done] = [link.recv() for link in self._links if link in ready]
                for done in answers:
                    if done.error is not None:
                        raise done.error
                    if done.state is not None:
                        self._states[done.number] = done.state
                    left -= 1
                    yield done
        except (EOFError, ConnectionError) as error:
            raise ChildProcessError("a process of the search ended too early") from error


@contextmanager
def _unheard() -> Iterator[None]:
    """Let processes that begin meanwhile never hear Ctrl-C, and this one only afterwards."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    # Were it begun on the way, it would let Ctrl-C be heard again.
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _shared(searches: Sequence[Search], processes: int) -> list[list[int]]:
    """Share searches out among processes, so that what may yet be saved is shared equally."""
    states = [search.state for search in searches]
    stakes = {number: float(state.net - state.least) for number, state in enumerate(states)}
    total = sum(stakes.values()) or 1.0
    weights = {number: 1 + len(stakes) * stake / total for number, stake in stakes.items()}
    shared: list[list[int]] = [[] for _ in range(min(processes, len(searches)))]
    for number in sorted(weights, key=lambda number: (-weights[number], number)):
        least = min(shared, key=lambda mine: sum(weights[one] for one in mine))
        least.append(number)
    return [sorted(mine) for mine in shared]


def _work(link: Connection, problem: Problem, tasks: Mapping[int, Task], stopped: c_bool) -> None:
    """Do jobs as they are asked for, until nobody asks any more."""
    # Ctrl-C is the asking process's to heed; should that end, this one ends at once.  Where there
    # are signal masks it has not been heard since before this process began.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()

    def stop() -> bool:
        return bool(stopped.value)

    searches: dict[int, Search] = {}
    while True:
        try:
            job: _Job = link.recv()
        except EOFError:
            return
        try:
            if job.number not in searches:
                searches[job.number] = search = Search(problem, tasks[job.number])
                # The first plan is the one that the asking process has, so it must not be stopped.
                search.first_plan(lambda: False)
            done = _done(searches[job.number], job, stop)
        except Exception as error:
            done = _Done(job.number, error=error)
        link.send(done)


def _done(search: Search, job: _Job, stop: Stop) -> _Done:
    if job.deed == "end":
        return _Done(job.number, end=search.end())
    if job.deed == "start":
        search.start(stop)
    elif job.share is not None and not stop():
        search.round(job.share, stop)
    elif job.deed == "tidy" and not stop():
        search.tidy(job.work, stop)
    return _Done(job.number, search.state)


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
