"""Antenna cards: JSON files with an antenna's fields, kept from job to job."""

import json
import stat
from pathlib import Path

from depthwright.errors import DepthwrightError
from depthwright.files.atomic import replacing
from depthwright.job import Antenna

MOST_BYTES = 2**20


def read_card(path: Path, antenna_id: str) -> Antenna:
    """An antenna from a card, with the id that it has in a job.

    Raises
    ------
    DepthwrightError
        When the file cannot be read or is no antenna card.
    """
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode) or status.st_size > MOST_BYTES:
            raise ValueError
        fields = json.loads(path.read_text("utf-8"))
        return Antenna.model_validate({**fields, "id": antenna_id})
    except OSError as fault:
        raise DepthwrightError(
            f"{path.name} cannot be read: {fault.strerror}.", "Choose another card."
        ) from None
    except (ValueError, TypeError, RecursionError):
        raise DepthwrightError(
            f"{path.name} is not an antenna card.",
            "A card is JSON with separation_mm, centre_frequency_ghz, height_mm, time_offset_ns, "
            "time_offset_u_ns, direct_shift, name and source.",
        ) from None


def write_card(path: Path, antenna: Antenna) -> None:
    """Keep an antenna as a card; an existing file is replaced.

    Raises
    ------
    DepthwrightError
        When it cannot be written.
    """
    text = json.dumps(antenna.model_dump(mode="json", exclude={"id"}), indent=1, ensure_ascii=False)
    with replacing(path) as file:
        file.write(f"{text}\n".encode())
