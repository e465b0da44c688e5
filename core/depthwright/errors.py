"""The one expected error of the program: what happened, and what to do about it.

Anyone may import this module; it imports nothing.
"""


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
