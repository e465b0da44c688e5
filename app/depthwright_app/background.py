"""Slow work off the GUI thread: newest request wins, progress, cancel, and no late answers.

Work is a plain function that takes ``report``; calling ``report(fraction)`` raises when the work is no
longer wanted. Every message crosses to the GUI thread by one queued signal, so progress always
comes before the answer.
"""

import time
from collections.abc import Callable
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QObject, Qt, Signal

Report = Callable[[float], None]
Work = Callable[[Report], Any]

GIVES_WAY_S = 2.0
"""So long what is done behind lets all other work go first; a save may be waiting for it."""
_PAUSE_S = 0.005


class CancelledError(Exception):
    """Raised inside work that nobody waits for any more."""


@dataclass(frozen=True)
class _Ticket:
    topic: str
    number: int


@dataclass(frozen=True)
class _Wanted:
    ticket: _Ticket
    done: Callable[[Any], None]
    failed: Callable[[BaseException], None]
    tells: bool
    behind: bool
    apart: bool


class Background(QObject):
    """Runs work by topic; a newer request for a topic replaces the older one."""

    progressed = Signal(str, object)
    """A topic that tells, and how far it has come from 0 to 1; None once nobody waits for it any more."""
    _message = Signal(object, str, object)

    def __init__(self, parent: QObject | None = None, executor: Executor | None = None) -> None:
        super().__init__(parent)
        self._executor = executor or ThreadPoolExecutor(2, thread_name_prefix="depthwright")
        # Long checks take turns on a thread of their own: a picture never waits for one.
        self._behind = executor or ThreadPoolExecutor(1, thread_name_prefix="depthwright-behind")
        self._wanted: dict[str, _Wanted] = {}
        self._count = 0
        self._message.connect(self._deliver, Qt.ConnectionType.QueuedConnection)

    def run(
        self,
        topic: str,
        work: Work,
        done: Callable[[Any], None],
        failed: Callable[[BaseException], None],
        tells: bool = False,
        behind: bool = False,
        apart: bool = False,
    ) -> None:
        """Start work; ``done`` or ``failed`` is called on the GUI thread unless it is replaced.

        Work that ``tells`` has its progress announced, for the user to see and to cancel.
        What is done ``behind`` takes its turn, and at each report it waits for the other work to be done,
        :data:`GIVES_WAY_S` at most. What stands ``apart`` has all it needs of the job at hand and goes on
        when another is opened.
        """
        self._count += 1
        ticket = _Ticket(topic, self._count)
        self._wanted[topic] = _Wanted(ticket, done, failed, tells, behind, apart)
        if tells:
            self.progressed.emit(topic, 0.0)
        until = time.monotonic() + GIVES_WAY_S

        def report(fraction: float) -> None:
            while self._is_wanted(ticket) and behind and self._is_busy_before(until):
                time.sleep(_PAUSE_S)
            if not self._is_wanted(ticket):
                raise CancelledError
            if tells:
                self._message.emit(ticket, "progress", fraction)

        def wanted_work() -> Any:
            # While it waited for a thread it may have been replaced.
            if not self._is_wanted(ticket):
                raise CancelledError
            return work(report)

        future = (self._behind if behind else self._executor).submit(wanted_work)
        future.add_done_callback(lambda finished: self._finished(ticket, finished))

    def _is_wanted(self, ticket: _Ticket) -> bool:
        wanted = self._wanted.get(ticket.topic)
        return wanted is not None and wanted.ticket == ticket

    def _is_busy_before(self, until: float) -> bool:
        """Whether the picture or the like is being made, and it is not yet so late."""
        ahead = any(not wanted.behind for wanted in list(self._wanted.values()))
        return ahead and time.monotonic() < until

    def busy(self, topic: str | None = None) -> bool:
        """Whether work (on a topic) is still awaited."""
        return bool(self._wanted) if topic is None else topic in self._wanted

    def cancel(self, topic: str) -> None:
        """Stop waiting for a topic; its work ends at its next report."""
        wanted = self._wanted.pop(topic, None)
        if wanted is not None and wanted.tells:
            self.progressed.emit(topic, None)

    def leave_job(self) -> None:
        """Stop waiting for all that does not stand apart: another job is opened."""
        for topic, wanted in list(self._wanted.items()):
            if not wanted.apart:
                self.cancel(topic)

    def close(self) -> None:
        """Cancel everything and wait for the threads."""
        self._wanted.clear()
        for executor in (self._executor, self._behind):
            executor.shutdown(wait=True, cancel_futures=True)

    def _finished(self, ticket: _Ticket, future: "Future[Any]") -> None:
        if future.cancelled():
            return
        fault = future.exception()
        if fault is None:
            self._message.emit(ticket, "done", future.result())
        elif not isinstance(fault, CancelledError):
            self._message.emit(ticket, "failed", fault)

    def _deliver(self, ticket: _Ticket, kind: str, payload: Any) -> None:
        if not self._is_wanted(ticket):
            return
        wanted = self._wanted[ticket.topic]
        if kind == "progress":
            self.progressed.emit(ticket.topic, payload)
            return
        self.cancel(ticket.topic)
        (wanted.done if kind == "done" else wanted.failed)(payload)
