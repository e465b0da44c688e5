"""Many tasks on several processes: results in the order of the tasks, whatever becomes of a process.

No Qt here.
"""

import multiprocessing
import sys
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool

from depthwright_app.mark_work import Done, Task, start_process, work

DIED = Done(
    "Its process was ended from outside, or the file ended it. Try it alone; with little memory, with fewer "
    "--workers.",
    failed=True,
)
_AHEAD = 2
"""Tasks handed over for each process, so that none waits for work."""

Finished = tuple[int, Done]


def run(
    tasks: Sequence[Task], workers: int, do: Callable[[Task], Done] = work
) -> Iterator[Finished]:
    """Do all tasks; gives each one's index and what became of it, as they are finished."""
    if len(tasks) == 1:
        yield 0, do(tasks[0])
        return
    left = deque(enumerate(tasks))
    while left:
        suspects: list[tuple[int, Task]] = []
        yield from _until_broken(left, min(workers, len(left)), do, suspects)
        # Any of those under way may have ended the process: each is tried in one of its own.
        for index, task in suspects:
            alone: list[tuple[int, Task]] = []
            yield from _until_broken(deque([(index, task)]), 1, do, alone)
            if alone:
                yield index, DIED


def _until_broken(
    left: deque[tuple[int, Task]],
    workers: int,
    do: Callable[[Task], Done],
    suspects: list[tuple[int, Task]],
) -> Iterator[Finished]:
    """Do what is left; when a process dies, those that were under way go to ``suspects``."""
    under_way: dict[Future[Done], tuple[int, Task]] = {}
    pool = ProcessPoolExecutor(workers, mp_context=_context(), initializer=start_process)
    try:
        while left or under_way:
            while left and len(under_way) < _AHEAD * workers:
                item = left.popleft()
                under_way[pool.submit(do, item[1])] = item
            for future in wait(under_way, return_when=FIRST_COMPLETED).done:
                item = under_way.pop(future)
                try:
                    yield item[0], future.result()
                except BrokenProcessPool:
                    suspects.append(item)
            if suspects:
                wait(under_way)
                for future, item in under_way.items():
                    if future.exception() is None:
                        yield item[0], future.result()
                    else:
                        suspects.append(item)
                return
    except BrokenProcessPool:  # by handing over to a pool that broke in between
        suspects.extend(under_way.values())
        suspects.append(item)
    finally:
        pool.shutdown(cancel_futures=True)


def _context() -> multiprocessing.context.BaseContext:
    """Processes that share nothing with this one; where the system can, with the modules loaded once."""
    if sys.platform == "win32" or "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["depthwright_app.mark_work"])
    return context
