"""From the bytes of a job to its checked parts; every refusal is a sentence.

Serves job files and recovery files alike. What a hostile file could cost is bounded before it is parsed: by
its bytes, by how many values it holds, and by how many faults are looked at.
"""

import gc
import json
import os
import re
import stat
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any, Literal, TypeVar

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from depthwright.errors import DepthwrightError, shortened
from depthwright.job import Frozen

VERSION = 2
"""Of the form of a job on the disk."""
MOST_BYTES = 64 * 2**20
MOST_OBJECTS = 600_000
MOST_VALUES = 6_000_000
"""Room for some fifty thousand bars with their crests and results."""
_QUOTED = re.compile(r"'([^']{41,})'")

Model = TypeVar("Model", bound=Frozen)
Made = TypeVar("Made")
Parsed = dict[str, Any]


def too_much(data: bytes) -> str:
    """Why so much is not read as a job; empty when it is."""
    if len(data) > MOST_BYTES:
        return f"takes {len(data) / 2**20:.0f} MB, more than a job file may"
    objects = data.count(b"{")
    if objects > MOST_OBJECTS or objects + data.count(b",") + data.count(b"[") > MOST_VALUES:
        return "holds more marks and values than a job may"
    return ""


def read_bytes(source: Path, what: str) -> bytes:
    """All bytes of a file that may be a job; ``what`` names it in a hint (``a job file``).

    Raises
    ------
    DepthwrightError
        When it is not there, no plain file, too large or not to be read.
    """
    name = source.name
    try:
        status = os.stat(source)
        if stat.S_ISDIR(status.st_mode):
            raise DepthwrightError(f"{name} is a folder.", f"Choose {what} in it.")
        if not stat.S_ISREG(status.st_mode):  # opening a pipe would wait for ever
            raise DepthwrightError(f"{name} is not a file.", f"Choose {what}.")
        if status.st_size > MOST_BYTES:
            raise DepthwrightError(
                f"{name} takes {status.st_size / 2**20:.0f} MB, more than a job file may.",
                f"Choose {what}; scans are opened as lines.",
            )
        return source.read_bytes()
    except FileNotFoundError as cause:
        raise DepthwrightError(
            f"{name} is not there.", "It may have been moved, renamed or deleted."
        ) from cause
    except OSError as cause:
        raise DepthwrightError(
            f"{name} could not be read: {cause.strerror or cause}.",
            "Check that you may read it and that its disk is there.",
        ) from cause
    except ValueError as cause:
        raise DepthwrightError(
            "A file's name cannot hold a NUL character.", f"Choose {what}."
        ) from cause


def parsed(name: str, raw: bytes, instead: str) -> Any:
    """What stands in a file as JSON; ``instead`` says what to do when it is none."""
    if not raw.strip():
        raise DepthwrightError(f"{name} is empty.", instead)
    if excess := too_much(raw):
        raise DepthwrightError(f"{name} {excess}.", instead)
    try:
        text = raw.decode("utf-8-sig")
        return _undisturbed(partial(json.loads, text, parse_constant=_refuse_constant))
    except UnicodeDecodeError:
        raise DepthwrightError(f"{name} is not a job file.", "Choose a *.dwjob file.") from None
    except json.JSONDecodeError as cause:
        raise _not_json(name, text, cause, instead) from None
    except RecursionError:
        raise _too_deep(name) from None
    except ValueError as cause:  # NaN, infinity, numbers of thousands of digits
        raise DepthwrightError(f"{name} holds a number that cannot be: {cause}.", instead) from None


def _undisturbed(make: Callable[[], Made]) -> Made:
    """What a call makes of many small parts, without looking for garbage among them: twice as fast."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        return make()
    finally:
        if collecting:
            gc.enable()


def _refuse_constant(word: str) -> float:
    raise ValueError(word)


def _too_deep(name: str) -> DepthwrightError:
    return DepthwrightError(
        f"{name} is not a job file: it is nested too deeply.", "Choose a *.dwjob file."
    )


def _not_json(name: str, text: str, cause: json.JSONDecodeError, instead: str) -> DepthwrightError:
    # Cut inside a word or a number, the last piece has no delimiter after it.
    last = text[cause.pos :].strip()
    delimited = any(sign in last for sign in ',:[]{}" \n')
    cut_off = not delimited or cause.msg.startswith("Unterminated string")
    if cut_off and text.lstrip().startswith("{"):
        return DepthwrightError(
            f"{name} ends in the middle, in line {cause.lineno}: it was not written whole.", instead
        )
    return DepthwrightError(
        f"{name} is not a job file: what stands in line {cause.lineno} is not JSON.", instead
    )


def version_of(data: Parsed) -> int:
    """The version a file says it has; 0 where it says none."""
    version = data.get("version")
    return version if isinstance(version, int) and not isinstance(version, bool) else 0


def program_words(data: Parsed) -> str:
    """The program a file says it was written by, in brackets: `` (Depthwright 9.1.0)``."""
    program = data.get("program")
    return f" ({_short(program)})" if isinstance(program, str) and program else ""


# Validating.


class Faults(Exception):  # noqa: N818
    """What keeps parsed JSON from being what it should be."""

    def __init__(self, found: list[ErrorDetails]) -> None:
        super().__init__()
        self.found = found

    def words(self, data: Parsed) -> str:
        """The first of them, with its place: `` at job.lines[0].name: field required``."""
        first = self.found[0]
        reason = first["msg"].removeprefix("Value error, ")
        # Some quote what was found, whole.
        reason = _QUOTED.sub(lambda quoted: f"'{_short(quoted[1])}'", reason)
        return f"{_place(data, first['loc'])}: {reason[:1].lower() + reason[1:]}"


def validated(
    model: type[Model], name: str, data: Parsed, extra: Literal["forbid", "ignore"] = "forbid"
) -> Model:
    """The parts of a job in parsed JSON; fields that nobody knows are refused, or left out.

    Raises
    ------
    Faults
        When it is not what it should be.
    DepthwrightError
        When it is nested too deeply.
    """
    try:
        text = json.dumps(data)
        return _undisturbed(partial(model.model_validate_json, text, strict=True, extra=extra))
    except ValidationError as problem:
        # Long lists give up at their first fault, so that there are few.
        found = problem.errors(include_url=False)
        if "recursion" in found[0]["msg"]:
            raise _too_deep(name) from None
        raise Faults(found) from None
    except RecursionError:
        raise _too_deep(name) from None


def unknown_places(data: Any, known: Any, place: str = "") -> Iterator[str]:
    """Where parsed JSON has fields that its known part, as it would be written again, has not."""
    if isinstance(data, dict) and isinstance(known, dict):
        for name, value in data.items():
            here = f"{place}.{_short(name)}"
            if name in known:
                yield from unknown_places(value, known[name], here)
            else:
                yield here.removeprefix(".")
    elif isinstance(data, list) and isinstance(known, list):
        for index, (value, other) in enumerate(zip(data, known, strict=False)):
            yield from unknown_places(value, other, f"{place}[{index}]")


def _steps(data: Any, location: tuple[int | str, ...]) -> list[int | str]:
    """The way through the JSON to a fault: its place less the kinds of marks, which validation adds."""
    steps: list[int | str] = []
    here = data
    for index, piece in enumerate(location):
        tag = (
            isinstance(here, dict)
            and bool(steps)
            and isinstance(location[index - 1], int)
            and here.get("kind") == piece
        )
        if tag:
            continue
        if isinstance(here, list) and isinstance(piece, int) and piece < len(here):
            here = here[piece]
        elif isinstance(here, dict) and (piece in here or index == len(location) - 1):
            here = here.get(str(piece))
        else:
            continue
        steps.append(piece)
    return steps


def _place(data: Any, location: tuple[int | str, ...]) -> str:
    """Where in the file: `` at job.lines[0].marks[2].time_ns``."""
    words = "".join(
        f"[{step}]" if isinstance(step, int) else f".{_short(step)}"
        for step in _steps(data, location)
    )
    return f" at {words.removeprefix('.')}" if words else ""


def _short(piece: str) -> str:
    """A word of a file as it can stand in a sentence."""
    shown = piece.encode("utf-8", "replace").decode("utf-8")
    printable = "".join(sign if sign.isprintable() else "?" for sign in shown)
    return shortened(printable)
