"""Writing a file whole or not at all."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO
from uuid import uuid4

from depthwright.errors import DepthwrightError


@contextmanager
def replacing(path: Path) -> Iterator[BinaryIO]:
    """Open a temporary file beside ``path`` that takes its place only once complete."""
    temporary = path.with_name(f".{path.name}.{uuid4().hex}")
    try:
        with temporary.open("xb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, path)
    except OSError as cause:
        raise DepthwrightError(
            f"{path.name} could not be written: {cause.strerror or cause}.",
            "Choose a folder that you may write to and that has room.",
        ) from cause
    finally:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)
