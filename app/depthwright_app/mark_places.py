"""Where the reports of many files go, and which line a tie means. No Qt here."""

import os
from collections import Counter
from collections.abc import Sequence
from pathlib import Path, PurePath

from depthwright.errors import DepthwrightError
from depthwright_app.mark_options import NamedTie

ENDING = ".json"


def relative_paths(files: Sequence[Path]) -> dict[Path, PurePath]:
    """Each file once, with its path relative to the present folder or to the folder all share.

    Raises
    ------
    DepthwrightError
        When they share none.
    """
    plain = {os.path.normcase(os.path.abspath(file)): file for file in reversed(files)}
    once = [file for file in files if plain.get(os.path.normcase(os.path.abspath(file))) is file]
    inside = [PurePath(os.path.normpath(file)) for file in once]
    if not any(path.is_absolute() or path.drive or path.parts[:1] == ("..",) for path in inside):
        return dict(zip(once, inside, strict=True))
    absolute = [os.path.abspath(file) for file in once]
    try:
        top = os.path.commonpath([os.path.dirname(path) for path in absolute])
    except ValueError:
        raise DepthwrightError(
            "The files lie on several drives.", "Mark those of one drive at a time."
        ) from None
    return {
        file: PurePath(os.path.relpath(path, top))
        for file, path in zip(once, absolute, strict=True)
    }


def report_paths(relative: Sequence[PurePath]) -> list[PurePath]:
    """Where each report goes, relative to the folder of all; no two in one place.

    The ending gives way to ``.json``, or where two would be alike, it stays before it.
    """
    whole: set[PurePath] = set()
    while True:
        made = [
            path.with_name(path.name + ENDING) if path in whole else _with_ending(path, ENDING)
            for path in relative
        ]
        often = Counter(os.path.normcase(path) for path in made)
        alike = {
            path
            for path, report in zip(relative, made, strict=True)
            if often[os.path.normcase(report)] > 1
        }
        if alike <= whole:
            return made
        whole |= alike


def ties_by_line(
    ties: Sequence[NamedTie], relative: Sequence[PurePath]
) -> list[tuple[NamedTie, ...]]:
    """The ties of each file.

    Raises
    ------
    DepthwrightError
        When a tie names no file, or more than one.
    """
    mine: list[list[NamedTie]] = [[] for _ in relative]
    for tie in ties:
        mine[_line_meant(tie, relative)].append(tie)
    return [tuple(some) for some in mine]


def _line_meant(tie: NamedTie, relative: Sequence[PurePath]) -> int:
    if not tie.name:
        if len(relative) == 1:
            return 0
        raise DepthwrightError(
            f"The tie {tie.text} does not say on which of the {len(relative)} lines it is.",
            f"Write the file's name before it, like {relative[0].stem}:{tie.text}.",
        )
    meant = [index for index, path in enumerate(relative) if tie.name in _names(path)]
    if len(meant) == 1:
        return meant[0]
    if meant:
        one = relative[meant[0]]
        raise DepthwrightError(
            f"The tie {tie.text} means {len(meant)} files of the name {tie.name}.",
            f"Write the path before it, like ./{one.with_suffix('').as_posix()}:bar@….",
        )
    some = ", ".join(path.stem for path in relative[:5])
    raise DepthwrightError(
        f"The tie {tie.text} names “{tie.name}”, and no file given has that name.",
        f"The names are those of the files without their ending: {some}"
        f"{' and more' if len(relative) > 5 else ''}.",
    )


def _names(path: PurePath) -> set[str]:
    """By what a tie may name a file: its name or path, with or without the ending."""
    paths = {path.as_posix(), _with_ending(path, "").as_posix()}
    return {path.stem, path.name, *paths, *(f"./{one}" for one in paths)}


def _with_ending(path: PurePath, ending: str) -> PurePath:
    """A path with another ending; the present folder has no name, and is refused as a folder later."""
    return path.with_suffix(ending) if path.name else path / ending
