"""Many tasks on several processes, whatever becomes of a process. No Qt here, and nothing that loads slowly:
the processes are started while the program itself is still loading.
"""

import multiprocessing
import signal
import sys
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.context import BaseContext
from typing import Generic, TypeVar

Task = TypeVar("Task")
Done = TypeVar("Done")

_AHEAD = 2
"""Tasks handed over for each process, so that none waits for work."""
_MOST = 61
"""Most processes that Windows can wait for (Python's documentation of ProcessPoolExecutor)."""
_LOADED_ONCE = "depthwright_app.mark_work"
"""What every process needs; most of a second goes into loading it."""


def warm_up() -> None:
    """Begin to load what the processes need, beside this one, where the system can."""
    if not _forks_from_a_server():
        return
    from multiprocessing import forkserver

    _context()
    # Its processes leave Ctrl+C to this one from their first moment on.
    former = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        forkserver.ensure_running()
    finally:
        signal.signal(signal.SIGINT, former)


def run(
    tasks: Sequence[Task], workers: int, do: Callable[[Task], Done], died: Done
) -> Iterator[tuple[int, Done]]:
    """Do all tasks; gives each one's index and what became of it, as they are finished.

    Parameters
    ----------
    tasks, do
        What to do, one by one; both can be handed to another process.
    workers
        How many processes.
    died
        What becomes of a task that ends the process it is in.
    """
    left = deque(enumerate(tasks))
    while left:
        pool = _Pool[Task, Done](min(workers, len(left), _MOST), do)
        yield from pool.run(left)
        # Any of those under way may have ended the process: each is tried in one of its own.
        for suspect in pool.suspects:
            alone = _Pool[Task, Done](1, do)
            yield from alone.run(deque([suspect]))
            if alone.suspects:
                yield suspect[0], died


class _Pool(Generic[Task, Done]):
    """Processes that work until none is left, or until one of them dies.

    ``suspects`` are then the tasks that were under way.
    """

    def __init__(self, workers: int, do: Callable[[Task], Done]) -> None:
        self._workers, self._do = workers, do
        self._under_way: dict[Future[Done], tuple[int, Task]] = {}
        self.suspects: list[tuple[int, Task]] = []

    def run(self, left: deque[tuple[int, Task]]) -> Iterator[tuple[int, Done]]:
        """Do what is left; takes from it what is begun."""
        pool = ProcessPoolExecutor(self._workers, _context(), initializer=_start_process)
        try:
            while self._hand_over(pool, left):
                yield from self._finished(FIRST_COMPLETED)
            # A pool that broke gives up all it was handed; only what was done before is kept.
            yield from self._finished("ALL_COMPLETED")
        finally:
            pool.shutdown(cancel_futures=True)

    def _hand_over(self, pool: ProcessPoolExecutor, left: deque[tuple[int, Task]]) -> bool:
        """Keep all processes busy; whether the pool is whole and has work."""
        while left and not self.suspects and len(self._under_way) < _AHEAD * self._workers:
            try:
                future = pool.submit(self._do, left[0][1])
            except BrokenProcessPool:
                return False
            self._under_way[future] = left.popleft()
        return bool(self._under_way) and not self.suspects

    def _finished(self, when: str) -> Iterator[tuple[int, Done]]:
        for future in wait(self._under_way, return_when=when).done:
            item = self._under_way.pop(future)
            try:
                result = future.result()
            except BrokenProcessPool:
                self.suspects.append(item)
            else:
                yield item[0], result
        self.suspects.sort(key=lambda item: item[0])


def _start_process() -> None:
    """A process leaves Ctrl+C to the one that started it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _forks_from_a_server() -> bool:
    return sys.platform != "win32" and "forkserver" in multiprocessing.get_all_start_methods()


def _context() -> BaseContext:
    """Processes that share nothing with this one; where the system can, with the modules loaded once."""
    if not _forks_from_a_server():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([_LOADED_ONCE])
    return context
