"""The paths by which a job names its scans: in the file, in the program, and which are refused.

In the file they are relative where they are near it, in the running program absolute. An absolute path in a
file is its user's own; a relative one may climb a little, and one in a packed job not at all.
"""

import os
from collections.abc import Callable
from pathlib import Path, PurePath, PurePosixPath, PureWindowsPath

from depthwright.errors import DepthwrightError
from depthwright.job import Job, Line

NEAR_LEVELS = 2
"""How many folders up from the job file a scan's path may start and still be stored as relative."""
_LONGEST_PATH = 4096
_LONGEST_NAME = 255
_SYSTEM_FOLDERS = ("/proc", "/sys", "/dev")
_DEVICES = {"CON", "PRN", "AUX", "NUL"} | {f"{p}{n}" for p in ("COM", "LPT") for n in range(1, 10)}


def map_paths(job: Job, change: Callable[[str], str]) -> Job:
    """The job with every scan's path changed; a line without a file keeps none."""

    def changed(line: Line) -> Line:
        path = line.scan.path and change(line.scan.path)
        return line.model_copy(update={"scan": line.scan.model_copy(update={"path": path})})

    return job.model_copy(update={"lines": tuple(changed(line) for line in job.lines)})


def absolute_path(scan: str) -> str:
    """A scan's path as it holds wherever the program runs; one of another system stays as it is."""
    return scan if _of_another_system(scan) else os.path.abspath(scan)


def stored_path(scan: str, folder: Path) -> str:
    """How a scan is named in a job file in this folder."""
    if _of_another_system(scan):
        return scan
    absolute = os.path.abspath(scan)
    try:
        relative = PurePath(os.path.relpath(absolute, folder))
        shared = PurePath(os.path.commonpath([absolute, folder]))
    except ValueError:  # two drives
        return absolute
    near = relative.parts.count("..") <= NEAR_LEVELS and shared != PurePath(shared.anchor)
    return relative.as_posix() if near else absolute


def found_path(stored: str, folder: Path, findings: list[str]) -> str:
    """Absolute path of a scan; a file of the same name beside the job stands in for one not there.

    A path on another machine is not tried here: that may take as long as the network does.
    """
    if _of_another_system(stored) or _on_network(stored):
        absolute, there = stored, _on_network(stored)
    else:
        absolute = os.path.abspath(folder / stored)
        there = os.path.exists(absolute)
    beside = folder / PureWindowsPath(stored).name
    if not there and os.path.isfile(beside):
        findings.append(f"{stored} is not there any more; {beside.name} beside the job is used.")
        return str(beside)
    return absolute


def check_stored(job: Job, name: str, inside: bool) -> None:
    """Refuse a job whose scans are named by paths that are not followed.

    Parameters
    ----------
    job
        The job, its paths as they stand in the file.
    name
        Name of the file.
    inside
        Whether scans may lie in the job's folder only, as those of a packed job do.

    Raises
    ------
    DepthwrightError
        For the first of them.
    """
    for line in job.lines:
        path = line.scan.path
        reason = path_trouble(path) or (_outside(path) if inside else _climbs(path))
        if reason:
            raise DepthwrightError(
                f"{name} names a scan by a path that is not followed: {reason}.",
                "Ask whoever made it for a pack that holds the job with its scans.",
            )


def path_trouble(path: str) -> str:
    """Why a path of a scan is never followed; empty when it may be."""
    if "\0" in path:
        return "it holds a NUL character"
    parts = path.replace("\\", "/").split("/")
    encoded = path.encode("utf-8", "replace")
    longest = max(len(part.encode("utf-8", "replace")) for part in parts)
    if len(encoded) > _LONGEST_PATH or longest > _LONGEST_NAME:
        return "it is too long"
    if path.startswith(("\\\\.\\", "\\\\?\\")):
        return "it names a device"
    return ""


def _climbs(path: str) -> str:
    """Why a relative path leads too far away from the job's folder; empty when it does not."""
    if PurePosixPath(path).is_absolute() or PureWindowsPath(path).anchor:
        return ""
    depth = climbed = 0
    for part in path.replace("\\", "/").split("/"):
        depth += -1 if part == ".." else int(part not in ("", "."))
        climbed = max(climbed, -depth)
    if climbed > NEAR_LEVELS:
        return f"it climbs {climbed} folders out of the job's own"
    return ""


def system_trouble(path: Path) -> str:
    """Why a path that leads into the system itself is not opened; empty when it does not."""
    if os.name == "nt":
        return "it names a device" if is_device(path.name) else ""
    real = os.path.realpath(path)
    inside = any(real == top or real.startswith(f"{top}/") for top in _SYSTEM_FOLDERS)
    return "it is a part of the system" if inside else ""


def name_trouble(name: str) -> str:
    """Why a name inside a pack cannot be that of a file in a folder of its own; empty when it can."""
    parts = name.rstrip("/").split("/")
    if "\0" in name or any(ord(sign) < 32 for sign in name):
        return "holds a character that no name has"
    if "\\" in name or PureWindowsPath(name).drive or ":" in name:
        return "holds a drive or a backslash"
    if name.startswith("/"):
        return "is an absolute path"
    if ".." in parts:
        return "climbs out of the pack"
    if len(name.encode("utf-8", "replace")) > 1000 or any(
        len(part.encode("utf-8", "replace")) > _LONGEST_NAME for part in parts
    ):
        return "is too long"
    if any(part in ("", ".") or part != part.rstrip(". ") for part in parts):
        return "has a part that is no name"
    if any(map(is_device, parts)):
        return "is the name of a device"
    return ""


def is_device(name: str) -> bool:
    """Whether some system takes a file's name for a device, whatever its suffix."""
    return name.split(".")[0].strip().upper() in _DEVICES


def _outside(path: str) -> str:
    """Why a packed job's scan does not lie in its folder; empty when it does."""
    trouble = name_trouble(path) if path else ""
    return f"it {trouble}" if trouble else ""


def _on_network(path: str) -> bool:
    return os.name == "nt" and PureWindowsPath(path).drive.startswith("\\\\")


def _of_another_system(path: str) -> bool:
    return PureWindowsPath(path).is_absolute() and not PurePath(path).is_absolute()
