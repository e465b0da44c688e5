"""The one expected error of the program: what happened, and what to do about it; and what sentences need.

Anyone may import this module; it imports nothing of the program.
"""

from collections.abc import Sequence

LONGEST_QUOTED = 40


class DepthwrightError(Exception):
    """Something the user can understand and act on.

    Parameters
    ----------
    message
        What happened, as a full sentence without the word "error".
    hint
        What to do next, as a full sentence; may be empty.
    """

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.message} {self.hint}".strip()


def joined(names: Sequence[str]) -> str:
    """``a, b and c``."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def shortened(text: str) -> str:
    """Foreign words as they can stand in a sentence: not at any length."""
    return text if len(text) <= LONGEST_QUOTED else f"{text[:LONGEST_QUOTED]}…"
