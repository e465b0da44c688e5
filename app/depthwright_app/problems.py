"""Unexpected faults: one owner of every hook. Logs, tells once, leaves the job savable."""

import logging
import sys
import threading
from collections.abc import Callable
from types import TracebackType

log = logging.getLogger("depthwright")


def watch(tell: Callable[[str], None]) -> None:
    """Take over the hooks of this process; ``tell`` gets one sentence per fault."""

    def caught(
        kind: type[BaseException], fault: BaseException, trace: TracebackType | None
    ) -> None:
        if issubclass(kind, KeyboardInterrupt):
            sys.__excepthook__(kind, fault, trace)
            return
        log.error("unexpected fault", exc_info=(kind, fault, trace))
        tell(
            f"Something went wrong inside the program ({kind.__name__}: {fault}). "
            "Your marks are still here: save the job under a new name."
        )

    sys.excepthook = caught
    threading.excepthook = lambda args: caught(
        args.exc_type, args.exc_value or args.exc_type(), args.exc_traceback
    )
    sys.unraisablehook = lambda args: caught(
        args.exc_type, args.exc_value or args.exc_type(), args.exc_traceback
    )
