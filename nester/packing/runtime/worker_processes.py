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

__all__ = ["Worker", "WorkerPool", "usable_cores", "worker_pool"]

_Command = TypeVar("_Command", contravariant=True)
_Result = TypeVar("_Result", covariant=True)

_MAX_PROCESSES = 8
"""Processes that work at once: more would want too much memory."""
_POLL_SECONDS = 0.05
"""Seconds between two looks at the stopping rule while others work."""


def usable_cores() -> int:
    """Return how many processes of this program can work at once."""
    return min(_MAX_PROCESSES, os.cpu_count() or 1)


class Worker(Protocol[_Command, _Result]):
    """A search on one paper."""

    def do(self, command: _Command, stop: Stop) -> _Result:
        """Do a command, or a part of it if it is to stop, and return its result."""


class WorkerPool(Protocol[_Command, _Result]):
    """Members by their numbers, in the order of the papers."""

    def do(self, commands: Mapping[int, _Command], stop: Stop) -> Iterator[tuple[int, _Result]]:
        """Let some members do commands; yield each number with its result, as they come."""


@contextmanager
def worker_pool(
    members: Sequence[Worker[_Command, _Result]],
    makers: Sequence[Callable[[], Worker[_Command, _Result]]],
    weights: Sequence[float],
    processes: int,
) -> Iterator[WorkerPool[_Command, _Result]]:
    """Yield a pool of workers that have done nothing yet.

    Parameters
    ----------
    makers
        Make each worker again, in another process: functions that can be pickled.
    weights
        How much of the work each is expected to do.
    processes
        How many work at once; 1 for all in this process.
    """
    if processes == 1:
        yield _SerialPool(members)
        return
    pool: _ProcessPool[_Command, _Result] = _ProcessPool(makers, weights, processes)
    try:
        yield pool
    finally:
        pool.terminate()


class _SerialPool(Generic[_Command, _Result]):
    """All members in this process, one after another."""

    def __init__(self, members: Sequence[Worker[_Command, _Result]]) -> None:
        self._workers = members

    def do(self, commands: Mapping[int, _Command], stop: Stop) -> Iterator[tuple[int, _Result]]:
        for number, command in commands.items():
            yield number, self._workers[number].do(command, stop)


# ------------------------------------------------------------------------- several processes


class _Request(NamedTuple):
    """What a member is to do."""

    number: int
    command: Any


class _Response(NamedTuple):
    """What a member answered, or what went wrong."""

    number: int
    result: Any = None
    error: BaseException | None = None


class _ProcessPool(Generic[_Command, _Result]):
    """The members shared among processes, each of which makes its own again."""

    def __init__(
        self,
        makers: Sequence[Callable[[], Worker[_Command, _Result]]],
        weights: Sequence[float],
        processes: int,
    ) -> None:
        context = get_context("spawn")
        self._stopped: c_bool = context.RawValue("b", 0)
        shared = _balanced_shares(weights, processes)
        self._process_of = {n: worker for worker, mine in enumerate(shared) for n in mine}
        self._connections: list[Connection] = []
        self._processes = []
        for numbers in shared:
            here, there = context.Pipe()
            mine = {number: makers[number] for number in numbers}
            worker = context.Process(
                target=_worker_main, args=(there, mine, self._stopped), daemon=True
            )
            with _interrupts_blocked():
                worker.start()
            there.close()
            self._connections.append(here)
            self._processes.append(worker)

    def do(self, commands: Mapping[int, _Command], stop: Stop) -> Iterator[tuple[int, _Result]]:
        try:
            for number, command in commands.items():
                self._connections[self._process_of[number]].send(_Request(number, command))
            pending = len(commands)
            while pending:
                ready = connection.wait(self._connections, _POLL_SECONDS)
                if not self._stopped.value and stop():
                    self._stopped.value = True
                responses: list[_Response] = [
                    link.recv() for link in self._connections if link in ready
                ]
                for response in responses:
                    if response.error is not None:
                        raise response.error
                    pending -= 1
                    yield response.number, response.result
        except (EOFError, ConnectionError) as error:
            raise ChildProcessError("a process of the search ended too early") from error

    def terminate(self) -> None:
        """End the processes, whatever they are at."""
        for link in self._connections:
            link.close()
        for worker in self._processes:
            worker.terminate()
            worker.join()


@contextmanager
def _interrupts_blocked() -> Iterator[None]:
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


def _balanced_shares(weights: Sequence[float], processes: int) -> list[list[int]]:
    """Share members out among processes, so that each is expected to do about as much."""
    shared: list[list[int]] = [[] for _ in range(min(processes, len(weights)))]
    for number in sorted(range(len(weights)), key=lambda number: (-weights[number], number)):
        least = min(shared, key=lambda mine: sum(weights[member] for member in mine))
        least.append(number)
    return [sorted(mine) for mine in shared]


def _worker_main(
    link: Connection, makers: Mapping[int, Callable[[], Worker[Any, Any]]], stopped: c_bool
) -> None:
    """Do jobs as they are asked for, until nobody asks any more."""
    # The asking process handles Ctrl-C; should that end, this one ends at once.  Where there are
    # signal masks it has not been heard since before this process began.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()

    def stop() -> bool:
        return bool(stopped.value)

    members: dict[int, Worker[Any, Any]] = {}
    while True:
        try:
            job: _Request = link.recv()
        except EOFError:
            return
        try:
            if job.number not in members:
                members[job.number] = makers[job.number]()
            done = _Response(job.number, members[job.number].do(job.command, stop))
        except Exception as error:
            done = _Response(job.number, error=error)
        link.send(done)


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
