"""How a matrix lies: whether its rows or its columns are the traces, and what its axes are then.

An axis that names its unit tells it. Otherwise the samples do: the direct wave stands at the same sample in
every trace, so what all traces have in common keeps most of the energy, and what all samples have in common
keeps little.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from depthwright.files.facts import Fact
from depthwright.files.matrix_axes import Axis
from depthwright.job import TracesIn
from depthwright.scan import Block

_PLAIN_SHARE = 0.1
_PLAIN_RATIO = 2.0
"""Shares of energy between which it is plain how a matrix lies: judgement."""
_OTHER: dict[TracesIn, TracesIn] = {"rows": "columns", "columns": "rows"}
_MEANS = {"position": "positions", "time": "times"}


@dataclass(frozen=True)
class Lies:
    """How a matrix lies, and its axes as far as it has them."""

    traces_in: TracesIn
    fact: Fact
    times: Axis | None
    positions: Axis | None


def how_it_lies(
    shape: tuple[int, int],
    seen: Callable[[], Block],
    down: Axis | None,
    across: Axis | None,
    given: TracesIn | None,
) -> Lies:
    """Decide whether traces are rows or columns.

    Parameters
    ----------
    shape
        Rows and columns of the samples.
    seen
        Gives some of the samples, shape (rows, columns).
    down, across
        Numbers beside the rows and above the columns.
    given
        What the user said.
    """
    traces_in, why, settled = _choose(shape, seen, down, across, given)
    beside_traces, along_samples = (down, across) if traces_in == "rows" else (across, down)
    stated = f"{shape[0]} rows of {shape[1]} columns"
    return Lies(
        traces_in,
        Fact("Orientation", stated, f"traces are {traces_in}", why, settled),
        times=_unless_only_counting(along_samples, "position"),
        positions=_unless_only_counting(beside_traces, "time"),
    )


def _unless_only_counting(axis: Axis | None, contrary: str) -> Axis | None:
    """An axis that gives numbers; what its header says of the other one, is not said of it."""
    if axis is None or axis.is_count:
        return None
    return Axis(axis.place, axis.values) if axis.meaning == contrary else axis


def _choose(
    shape: tuple[int, int],
    seen: Callable[[], Block],
    down: Axis | None,
    across: Axis | None,
    given: TracesIn | None,
) -> tuple[TracesIn, str, bool]:
    if given is not None:
        return given, f"Traces are {given} as given.", True
    for axis, if_positions in ((down, "rows"), (across, "columns")):
        if axis is not None and axis.meaning in _MEANS:
            traces_in: TracesIn = "rows" if if_positions == "rows" else "columns"
            if axis.meaning == "time":
                traces_in = _OTHER[traces_in]
            says = f"{axis.place} holds {_MEANS[axis.meaning]} as its header says"
            return traces_in, f"Traces are {traces_in}: {says}.", True
    if 1 in shape:
        return ("rows" if shape[0] == 1 else "columns"), "The numbers are a single trace.", True
    return _by_samples(seen())


def _by_samples(seen: Block) -> tuple[TracesIn, str, bool]:
    shares: dict[TracesIn, float] = {"rows": _common(seen), "columns": _common(seen.T)}
    best: TracesIn = "rows" if shares["rows"] >= shares["columns"] else "columns"
    most, least = shares[best], shares[_OTHER[best]]
    if most >= _PLAIN_SHARE and most >= _PLAIN_RATIO * least:
        why = (
            f"Traces are taken as {best}: the direct wave, which all of them share, then holds"
            f" {most:.0%} of the energy; taken as {_OTHER[best]} they would share {least:.0%}."
        )
    else:
        why = (
            f"The samples do not tell whether rows or columns are traces; {best} are taken. Look at"
            " the picture, and say so if it lies on its side."
        )
    return best, why, False


def _common(traces: Block) -> float:
    """Share of the energy in what all traces, shape (traces, samples), have in common; each less its mean."""
    values = np.where(np.isfinite(traces), traces, np.float32(0)).astype(np.float64)
    values = values / max(float(np.abs(values).max()), 1e-300)
    values = values - values.mean(axis=1, keepdims=True)
    energy = float((values**2).sum())
    common = np.median(values, axis=0)
    return len(values) * float(((common - common.mean()) ** 2).sum()) / energy if energy else 0.0
