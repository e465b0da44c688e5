"""From a job's reference to its scan: the file must be the one the marks were made on."""

import os
from pathlib import Path

from depthwright.errors import DepthwrightError
from depthwright.files.readers import open_file
from depthwright.job import ScanRef
from depthwright.scan import Scan


def open_scan(ref: ScanRef) -> Scan:
    """Open the scan of a line, read as it was when it was added to the job, and check all of it.

    Raises
    ------
    DepthwrightError
        When the file is not there, is not the one that was added, or cannot be read.
    """
    scan = find_scan(ref).check()
    must_be(ref, scan)
    return scan


def must_be(ref: ScanRef, scan: Scan) -> None:
    """Refuse a checked scan whose contents are not those of the one that was added.

    A hash that could not be found out before the job was saved refuses nothing.

    Raises
    ------
    DepthwrightError
        When they differ.
    """
    if ref.sha256 and scan.sha256 != ref.sha256:
        raise _changed(Path(ref.path), "its contents differ")


def find_scan(ref: ScanRef) -> Scan:
    """Open the scan of a line when its size is right; its contents are still to be checked.

    Raises
    ------
    DepthwrightError
        When the file is not there, has another size, or cannot be read.
    """
    path = Path(ref.path)
    if not ref.path:
        raise DepthwrightError(
            "This line has no scan file.", "Save its scan and add the file as a line."
        )
    if not os.path.exists(path):
        raise DepthwrightError(
            f"The scan {path.name} is not at {path.parent}.",
            "Put it back there, or beside the job file, and open the job again.",
        )
    size = os.path.getsize(path)
    if os.path.isfile(path) and size != ref.size_bytes:
        raise _changed(path, f"it has {size} bytes instead of {ref.size_bytes}")
    return open_file(ref.path, ref.given)


def _changed(path: Path, how: str) -> DepthwrightError:
    return DepthwrightError(
        f"{path.name} is not the scan that was added to the job: {how}.",
        "Put the original back, or add this file as a new line; the marks stay as they are.",
    )
