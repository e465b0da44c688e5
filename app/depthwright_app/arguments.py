"""A command line's parser whose refusals read like the program's other sentences. No Qt here."""

import argparse
import re
from collections.abc import Sequence
from typing import Any, NoReturn

from depthwright.errors import DepthwrightError, joined, shortened

_GIVEN = r"['\"]?(?P<given>.*?)['\"]?"
_SAID = (
    (
        r"the following arguments are required: (?P<all>.*)",
        "Nothing is given for {all}.",
        "{prog} --help shows how it is written.",
    ),
    (
        r"argument (?P<option>.+): expected .*",
        "Nothing is given for {option}.",
        "Write it behind {option}; {prog} --help shows how.",
    ),
    (
        rf"argument (?P<option>.+): ignored explicit argument {_GIVEN}",
        "{option} takes nothing, and “{given}” stands behind it.",
        "Leave that out.",
    ),
    (
        rf"argument .+: invalid choice: {_GIVEN} \(choose from (?P<all>.*)\)",
        "“{given}” is no command of {prog}.",
        "The commands are {all}.",
    ),
    (
        r"ambiguous option: (?P<given>.+) could match (?P<all>.*)",
        "“{given}” may mean more than one option.",
        "Write out which of {all} is meant.",
    ),
)
"""What argparse says, and how it is said here: what is wrong, and what to do."""


class Parser(argparse.ArgumentParser):
    """A parser that raises what it refuses as an expected error; its commands' parsers do too."""

    def read(self, arguments: Sequence[str]) -> argparse.Namespace:
        """The arguments read.

        Raises
        ------
        DepthwrightError
            When something is missing, or is not understood.
        """
        read, unknown = self.parse_known_args(arguments)
        if unknown:
            named = joined([f"“{shortened(one)}”" for one in unknown])
            command = getattr(read, "command", None)
            raise DepthwrightError(
                f"{named} cannot be understood here.",
                f"{' '.join(filter(None, (self.prog, command)))} --help shows what can be.",
            )
        return read

    def error(self, message: str) -> NoReturn:
        """Raise what argparse found, in our words."""
        for theirs, ours, hint in _SAID:
            match = re.fullmatch(theirs, message, re.S)
            if match is not None:
                found: dict[str, Any] = {**match.groupdict(), "prog": self.prog}
                if "all" in found:
                    found["all"] = joined(re.findall(r"[\w-]+", found["all"]))
                if "given" in found:
                    found["given"] = shortened(found["given"])
                raise DepthwrightError(ours.format_map(found), hint.format_map(found))
        raise DepthwrightError(
            f"{message[:1].upper()}{message[1:]}.", f"{self.prog} --help shows how it is written."
        )
