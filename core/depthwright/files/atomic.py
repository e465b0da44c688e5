"""Writing a file whole or not at all.

What is written goes to a temporary file in the same folder, which takes the place of the other only once it
is complete and on the disk. What a killed program left behind is cleared away by the next write of that name.
"""

import errno
import os
import re
import shutil
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO
from uuid import uuid4

from depthwright.errors import DepthwrightError

_ROOM = "Make room on its disk, or choose a folder that has room."
_RIGHTS = "Choose a folder that you may write to, and close other programs that hold the file."
_HINTS = {
    errno.ENOSPC: _ROOM,
    getattr(errno, "EDQUOT", errno.ENOSPC): _ROOM,
    errno.EFBIG: _ROOM,
    errno.EACCES: _RIGHTS,
    errno.EPERM: _RIGHTS,
    errno.EROFS: _RIGHTS,
    errno.ENAMETOOLONG: "Choose a shorter name.",
}


def nothing_more() -> None:
    """For those who have nothing to do before a file takes its place."""


@contextmanager
def replacing(path: Path, before: Callable[[], None] = nothing_more) -> Iterator[BinaryIO]:
    """Open a temporary file that takes the place of ``path`` only once complete.

    Parameters
    ----------
    path
        The file to write; through a link, the file it leads to.
    before
        Called when all is written and nothing has been replaced yet; may raise.

    Raises
    ------
    DepthwrightError
        When it cannot be written; the file is then as it was, and nothing is left beside it.
    """
    target = Path(os.path.realpath(path))
    check_replaceable(target)
    clear_leftovers(target)
    temporary = temporary_beside(target)
    try:
        with temporary.open("xb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        before()
        with suppress(OSError):  # a new file has no rights to take over
            shutil.copymode(target, temporary)
        os.replace(temporary, target)
    except OSError as cause:
        raise not_written(target.name, cause) from cause
    finally:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)
    sync_folder(target.parent)


def check_replaceable(target: Path) -> None:
    """Refuse a place where no file can be written, before anything is done.

    Raises
    ------
    DepthwrightError
        When its folder is not there, or what stands there is no file or is protected.
    """
    name = target.name
    if not os.path.isdir(target.parent):
        raise DepthwrightError(
            f"The folder {target.parent} is not there.",
            "Choose a folder that exists, or connect its disk again.",
        )
    if os.path.isdir(target):
        raise DepthwrightError(f"{name} is a folder.", "Choose another name for the file.")
    if os.path.islink(target):  # a real path is none, unless its links lead round in a circle
        raise DepthwrightError(f"{name} is a link that leads nowhere.", "Choose another name.")
    try:
        mode = os.stat(target).st_mode
    except ValueError:
        raise DepthwrightError(
            "A file's name cannot hold a NUL character.", "Choose another name."
        ) from None
    except OSError:
        return  # not there, or told when it is written
    if not stat.S_ISREG(mode):
        raise DepthwrightError(f"{name} is not a file.", "Choose another name.")
    if not may_write(target):
        raise DepthwrightError(
            f"{name} is protected from being written to.",
            "Save under another name, or take the protection off the file.",
        )


def may_write(path: Path) -> bool:
    """Whether the system lets this user write to a file or folder, as far as it says so beforehand."""
    return os.access(path, os.W_OK, effective_ids=os.access in os.supports_effective_ids)


def not_written(name: str, cause: OSError) -> DepthwrightError:
    """What to say where the system refused to write."""
    hint = _HINTS.get(cause.errno or 0, "Choose a folder that you may write to and that has room.")
    return DepthwrightError(f"{name} could not be written: {cause.strerror or cause}.", hint)


def temporary_beside(target: Path) -> Path:
    """A name beside ``target`` that nothing has, and that tells whose it is."""
    return target.with_name(f".{target.name}.{uuid4().hex}.part")


def clear_leftovers(target: Path) -> None:
    """Remove what killed writes of this name have left in its folder."""
    ours = re.compile(rf"\.{re.escape(target.name)}\.[0-9a-f]{{32}}\.part")
    with suppress(OSError):
        for entry in os.scandir(target.parent):
            if ours.fullmatch(entry.name):
                remove(Path(entry.path))


def remove(path: Path) -> None:
    """Remove a temporary file or folder as far as that can be done."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    with suppress(OSError):
        path.unlink(missing_ok=True)


def copy_beside(source: Path, target: Path, link: bool = False) -> None:
    """Give a file a second name, or make a copy of it: whole or not at all.

    Parameters
    ----------
    source, target
        Both in one folder; an existing target is replaced.
    link
        Whether a second name for the same contents will do, where the disk has links.
    """
    temporary = temporary_beside(source)
    try:
        try:
            if not link:
                raise OSError(errno.ENOTSUP, "a copy is wanted")
            os.link(source, temporary)
        except OSError:
            shutil.copy2(source, temporary)
            with suppress(PermissionError), temporary.open("r+b") as file:
                os.fsync(file.fileno())
        os.replace(temporary, target)
    finally:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)


def sync_folder(folder: Path) -> None:
    """Bring a folder's names to the disk, where the system can do that."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    with suppress(OSError):  # the file itself is there; some disks cannot do this
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
