"""Job files of earlier versions, brought to the form of the present one step by step.

Works on parsed JSON before it is validated: what is not as it should be is left for validation to name.
"""

from collections.abc import Callable
from typing import Any

Parsed = dict[str, Any]


def renewed(data: Parsed, version: int) -> Parsed:
    """The file in the form of ``version``; as it is where its own version is none of the earlier ones."""
    own = data.get("version")
    while type(own) is int and own < version and own in _STEPS:  # True is no version
        data = {**_STEPS[own](data), "version": own + 1}
        own += 1
    return data


def _given_together(data: Parsed) -> Parsed:
    """What the user said of a scan stands in one place since version 2."""

    def ref(scan: Any) -> Any:
        if not isinstance(scan, dict):
            return scan
        rest = dict(scan)
        given = {name: rest.pop(f"given_{name}", None) for name in ("dt_ns", "trace_spacing_mm")}
        return {**rest, "given": given}

    def line(entry: Any) -> Any:
        return {**entry, "scan": ref(entry.get("scan"))} if isinstance(entry, dict) else entry

    job = data.get("job")
    if not isinstance(job, dict) or not isinstance(job.get("lines"), list):
        return data
    return {**data, "job": {**job, "lines": [line(entry) for entry in job["lines"]]}}


_STEPS: dict[int, Callable[[Parsed], Parsed]] = {1: _given_together}
