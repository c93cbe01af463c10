"""The searches of a problem, one a paper, at work: one after another, or in several processes.

Papers share nothing, so what a search finds does not depend on where or beside what it runs.  Each
search stays in one process, for what it knows is large and part of it lives in solvers; only what
it is to do goes there, and where it stands comes back.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from multiprocessing import connection, get_context, parent_process, resource_tracker
from typing import TYPE_CHECKING, Any, Generic, NamedTuple, Protocol, TypeVar

from nester.packing.runtime.stop import Stop

if TYPE_CHECKING:
    from ctypes import c_bool
    from multiprocessing.connection import Connection

__all__ = ["Crew", "Member", "cores", "crew"]

_Deed = TypeVar("_Deed", contravariant=True)
_Answer = TypeVar("_Answer", covariant=True)

_MOST = 8
"""Processes that work at once: more would want too much memory."""
_GLANCE = 0.05
"""Seconds between two looks at the stopping rule while others work."""


def cores() -> int:
    """Return how many processes of this program can work at once."""
    return min(_MOST, os.cpu_count() or 1)


class Member(Protocol[_Deed, _Answer]):
    """A search on one paper."""

    def do(self, deed: _Deed, stop: Stop) -> _Answer:
        """Do a deed, or little of it once it is to stop, and answer."""


class Crew(Protocol[_Deed, _Answer]):
    """Members by their numbers, in the order of the papers."""

    def do(self, deeds: Mapping[int, _Deed], stop: Stop) -> Iterator[tuple[int, _Answer]]:
        """Let some members do deeds; yield each number with its answer, as they come."""


@contextmanager
def crew(
    members: Sequence[Member[_Deed, _Answer]],
    makers: Sequence[Callable[[], Member[_Deed, _Answer]]],
    weights: Sequence[float],
    processes: int,
) -> Iterator[Crew[_Deed, _Answer]]:
    """Give a crew of members that have done nothing yet.

    Parameters
    ----------
    makers
        Make each member anew, in another process: functions that can be pickled.
    weights
        How much of the work each is expected to do.
    processes
        How many work at once; 1 for all in this process.
    """
    if processes == 1:
        yield _Alone(members)
        return
    team: _Team[_Deed, _Answer] = _Team(makers, weights, processes)
    try:
        yield team
    finally:
        team.dismiss()


class _Alone(Generic[_Deed, _Answer]):
    """All members in this process, one after another."""

    def __init__(self, members: Sequence[Member[_Deed, _Answer]]) -> None:
        self._members = members

    def do(self, deeds: Mapping[int, _Deed], stop: Stop) -> Iterator[tuple[int, _Answer]]:
        for number, deed in deeds.items():
            yield number, self._members[number].do(deed, stop)


# ------------------------------------------------------------------------- several processes


class _Job(NamedTuple):
    """What a member is to do."""

    number: int
    deed: Any


class _Done(NamedTuple):
    """What a member answered, or what went wrong."""

    number: int
    answer: Any = None
    error: BaseException | None = None


class _Team(Generic[_Deed, _Answer]):
    """The members shared among processes, each of which makes its own anew."""

    def __init__(
        self,
        makers: Sequence[Callable[[], Member[_Deed, _Answer]]],
        weights: Sequence[float],
        processes: int,
    ) -> None:
        context = get_context("spawn")
        self._stopped: c_bool = context.RawValue("b", 0)
        shared = _shared(weights, processes)
        self._worker_of = {n: worker for worker, mine in enumerate(shared) for n in mine}
        self._links: list[Connection] = []
        self._workers = []
        for numbers in shared:
            here, there = context.Pipe()
            mine = {number: makers[number] for number in numbers}
            worker = context.Process(target=_work, args=(there, mine, self._stopped), daemon=True)
            with _unheard():
                worker.start()
            there.close()
            self._links.append(here)
            self._workers.append(worker)

    def do(self, deeds: Mapping[int, _Deed], stop: Stop) -> Iterator[tuple[int, _Answer]]:
        try:
            for number, deed in deeds.items():
                self._links[self._worker_of[number]].send(_Job(number, deed))
            left = len(deeds)
            while left:
                ready = connection.wait(self._links, _GLANCE)
                if not self._stopped.value and stop():
                    self._stopped.value = True
                answers: list[_Done] = [link.recv() for link in self._links if link in ready]
                for done in answers:
                    if done.error is not None:
                        raise done.error
                    left -= 1
                    yield done.number, done.answer
        except (EOFError, ConnectionError) as error:
            raise ChildProcessError("a process of the search ended too early") from error

    def dismiss(self) -> None:
        """End the processes, whatever they are at."""
        for link in self._links:
            link.close()
        for worker in self._workers:
            worker.terminate()
            worker.join()


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


def _shared(weights: Sequence[float], processes: int) -> list[list[int]]:
    """Share members out among processes, so that each is expected to do about as much."""
    shared: list[list[int]] = [[] for _ in range(min(processes, len(weights)))]
    for number in sorted(range(len(weights)), key=lambda number: (-weights[number], number)):
        least = min(shared, key=lambda mine: sum(weights[one] for one in mine))
        least.append(number)
    return [sorted(mine) for mine in shared]


def _work(
    link: Connection, makers: Mapping[int, Callable[[], Member[Any, Any]]], stopped: c_bool
) -> None:
    """Do jobs as they are asked for, until nobody asks any more."""
    # Ctrl-C is the asking process's to heed; should that end, this one ends at once.  Where there
    # are signal masks it has not been heard since before this process began.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()

    def stop() -> bool:
        return bool(stopped.value)

    members: dict[int, Member[Any, Any]] = {}
    while True:
        try:
            job: _Job = link.recv()
        except EOFError:
            return
        try:
            if job.number not in members:
                members[job.number] = makers[job.number]()
            done = _Done(job.number, members[job.number].do(job.deed, stop))
        except Exception as error:
            done = _Done(job.number, error=error)
        link.send(done)


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
