"""Parts of the job made anew: validated each time, and what is wrong said in plain words."""

from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from depthwright.errors import DepthwrightError

Part = TypeVar("Part", bound=BaseModel)


def with_fields(part: Part, **fields: Any) -> Part:
    """A copy with other fields, validated again."""
    return valid(type(part), {**dict(part), **fields})


def valid(kind: type[Part], fields: dict[str, Any]) -> Part:
    """A part of these fields.

    Raises
    ------
    DepthwrightError
        For the first field that cannot be.
    """
    try:
        return kind.model_validate(fields)
    except ValidationError as problem:
        first = problem.errors()[0]
        where = ".".join(str(piece) for piece in first["loc"]).replace("_", " ")
        what = _plainly(first)
        joint = " " if first["type"] in _LIMITS else ": "
        said = f"{where}{joint}{what}" if where else what
        raise DepthwrightError(f"{said[:1].upper()}{said[1:]}.", "The job is unchanged.") from None


_LIMITS = {
    "greater_than_equal": ("ge", "has to be at least"),
    "greater_than": ("gt", "has to be more than"),
    "less_than_equal": ("le", "has to be at most"),
    "less_than": ("lt", "has to be less than"),
}


def _plainly(error: ErrorDetails) -> str:
    """What a check found, in plain words where it is a limit."""
    if error["type"] in _LIMITS:
        key, phrase = _LIMITS[error["type"]]
        return f"{phrase} {error['ctx'][key]:g}"
    return error["msg"].removeprefix("Value error, ")
