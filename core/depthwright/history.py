"""Undo and redo: a line of job states.

Edits are pure, so a state is all there is to keep; a failed edit has changed nothing.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

from depthwright.job import Job

MOST_STATES = 500


@dataclass(frozen=True)
class Step:
    """One state and the words for what led to it ("Tie bar 2")."""

    job: Job
    words: str


@dataclass(frozen=True)
class History:
    """States behind, the present one, and those undone."""

    steps: tuple[Step, ...]
    at: int = 0

    @staticmethod
    def start(job: Job) -> "History":
        """A history with nothing to undo."""
        return History((Step(job, ""),))

    @property
    def job(self) -> Job:
        """The present state."""
        return self.steps[self.at].job

    @property
    def undo_words(self) -> str:
        """What undo would take back; empty when there is nothing."""
        return self.steps[self.at].words if self.at > 0 else ""

    @property
    def redo_words(self) -> str:
        """What redo would bring back; empty when there is nothing."""
        return self.steps[self.at + 1].words if self.at + 1 < len(self.steps) else ""

    def push(self, job: Job, words: str) -> "History":
        """A new present state; what was undone is forgotten. No change, no step."""
        if job == self.job:
            return self
        steps = (*self.steps[: self.at + 1], Step(job, words))[-MOST_STATES:]
        return History(steps, len(steps) - 1)

    def undo(self) -> "History":
        """One state back, or the same history at the start."""
        return replace(self, at=max(0, self.at - 1))

    def redo(self) -> "History":
        """One state forward, or the same history at the end."""
        return replace(self, at=min(len(self.steps) - 1, self.at + 1))

    def amend(self, change: Callable[[Job], Job]) -> "History":
        """Put something right in every state that is no edit: nothing to undo, nothing forgotten."""
        steps = tuple(replace(step, job=change(step.job)) for step in self.steps)
        return replace(self, steps=steps)
