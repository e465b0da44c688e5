"""A job and what belongs to it as JSON text, for whoever writes it."""

import re

from pydantic_core import PydanticSerializationError

from depthwright.errors import DepthwrightError
from depthwright.job import Frozen

_NOT_FINITE = re.compile(r'^ *(?:"\w+": )?-?(?:NaN|Infinity),?$', re.MULTILINE)


def json_text(saved: Frozen) -> str:
    """A model as indented JSON.

    Raises
    ------
    DepthwrightError
        When it holds what JSON cannot: a number that is not finite, or a name that is no text.
    """
    try:
        text = saved.model_dump_json(indent=1)
    except (PydanticSerializationError, UnicodeError):
        raise DepthwrightError(
            "The job holds a name that cannot be written as text.",
            "Rename the scans whose names have broken letters, and add them again.",
        ) from None
    # A raw line break never stands inside a JSON string, so only real numbers match.
    if _NOT_FINITE.search(text):
        raise DepthwrightError(
            "The job holds a number that is not finite, which no job file can hold.",
            "Undo the last edits one by one, and save again.",
        )
    return text
