"""Matrices in HDF5 files, by h5py where that is installed.

Only what the file itself holds is read: no links to other files, no virtual data sets, and no filters but
those that the library has built in, so that no other code is loaded.
"""

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from depthwright.errors import DepthwrightError
from depthwright.files.facts import Fact
from depthwright.files.matrix import Kept, Matrix, check_size, gather, plane
from depthwright.files.matrix_words import Quantity, quantity
from depthwright.files.opened import File, changed, reading
from depthwright.job import Given

if TYPE_CHECKING:
    import h5py

MAGIC = b"\x89HDF\r\n\x1a\n"
_MOST_OBJECTS = 10_000
_MOST_ATTRIBUTES = 200
_NAMED = 8
_BUILT_IN_FILTERS = {1, 2, 3, 4, 5, 6, 32000}
"""Deflate, shuffle, Fletcher32, szip, nbit, scale-offset (HDF5's registered numbers), and h5py's LZF."""


def is_hdf5(head: bytes) -> bool:
    """Whether a file begins so; the signature stands at 0, 512, 1024, or further by twos."""
    places = [0, *(512 * 2**n for n in range(11))]
    return any(head[at : at + len(MAGIC)] == MAGIC for at in places)


def read_hdf5(path: Path, given: Given) -> Matrix:
    """Read the matrix of numbers that an HDF5 file holds.

    Raises
    ------
    DepthwrightError
        If h5py is not installed, or the file holds no matrix that can be read.
    """
    with reading(path):
        file = File.find(path)
    try:
        import h5py
    except ImportError as cause:
        raise DepthwrightError(
            f"{file.name} is an HDF5 file, and h5py, which reads those, is not installed.",
            "Install it with: python -m pip install h5py",
        ) from cause
    with _readable(file), h5py.File(file.path, "r", locking=False) as opened:
        found = _data_sets(opened)
        chosen, why = _choose(file, found, given.data_set)
        data = opened[chosen.name]
        _refuse_foreign(file, data, chosen.name)
        check_size(file, chosen.rows * chosen.columns)
        samples = _samples(file, data, chosen)
        stated = tuple(_stated(data, chosen.name))
    if file.has_changed:
        raise changed(file)
    others = tuple(each.name for each in found if each is not chosen)
    names = (chosen.name, *others)
    what = f"data set {chosen.name} of {chosen.words}"
    settled = not others or bool(given.data_set)
    return Matrix(
        file=file,
        kind=(Fact("Kind of file", "HDF5", what, why, settled),),
        samples=samples,
        stated=stated,
        data_sets=names if others else (),
    )


@dataclass(frozen=True)
class _DataSet:
    name: str
    shape: tuple[int, ...]
    rows: int
    columns: int
    words: str


@contextmanager
def _readable(file: File) -> Iterator[None]:
    """Turn what h5py says about a file that is damaged into the expected error."""
    try:
        yield
    except DepthwrightError:
        raise
    except Exception as cause:  # h5py gives whatever its C library stumbles on
        raise DepthwrightError(
            f"{file.name} could not be read as HDF5: it is cut short or damaged.",
            "Export or copy the line again.",
        ) from cause


def _data_sets(opened: "h5py.File") -> list[_DataSet]:
    """All matrices of numbers, the largest first; links are not followed."""
    import h5py

    found: list[_DataSet] = []
    seen = 0

    def look(name: str, item: object) -> bool | None:
        nonlocal seen
        seen += 1
        if isinstance(item, h5py.Dataset) and item.shape and item.dtype.kind in "fiub":
            try:
                rows, columns = plane(name, item.shape)
            except DepthwrightError:
                pass
            else:
                found.append(_DataSet(name, item.shape, rows, columns, item.dtype.name))
        return True if seen >= _MOST_OBJECTS else None

    opened.visititems(look)
    return sorted(found, key=lambda each: -each.rows * each.columns)


def _choose(file: File, found: list[_DataSet], wanted: str) -> tuple[_DataSet, str]:
    names = [each.name for each in found]
    told = ", ".join(names[:_NAMED]) + (" and others" if len(names) > _NAMED else "")
    if not found:
        raise DepthwrightError(
            f"{file.name} holds no matrix of numbers.",
            "Save the samples as a data set of two dimensions.",
        )
    if wanted:
        for each in found:
            if each.name == wanted.strip("/"):
                return each, ""
        raise DepthwrightError(
            f"{file.name} holds no matrix of numbers called “{wanted}”.", f"It holds {told}."
        )
    if len(found) == 1:
        return found[0], ""
    others = ", ".join(names[1 : _NAMED + 1]) + (" and more" if len(names) > _NAMED + 1 else "")
    return found[0], f"The largest matrix is taken, {names[0]}; the file also holds {others}."


def _refuse_foreign(file: File, data: "h5py.Dataset", name: str) -> None:
    """Refuse what would need other files or other code."""
    if data.is_virtual or data.external:
        raise DepthwrightError(
            f"The data set {name} of {file.name} keeps its numbers in other files.",
            "Export the line again into one file.",
        )
    import h5py

    plan = data.id.get_create_plist()
    for at in range(plan.get_nfilters()):
        number = plan.get_filter(at)[0]
        if number not in _BUILT_IN_FILTERS or not h5py.h5z.filter_avail(number):
            raise DepthwrightError(
                f"The data set {name} of {file.name} is packed by a filter that is not built in"
                f" (number {number}).",
                "Export it again with gzip or without packing.",
            )


def _samples(file: File, data: "h5py.Dataset", chosen: _DataSet) -> Kept:
    """The samples, some rows at a time; axes of length 1 stay outside."""
    long = _long_axes(chosen.shape)

    def rows(first: int, last: int) -> Any:
        where: list[int | slice] = [0] * len(chosen.shape)
        where[long[0]], where[long[1]] = slice(first, last), slice(None)
        return data[tuple(where)]

    return Kept(gather(file, chosen.rows, chosen.columns, rows))


def _long_axes(shape: tuple[int, ...]) -> list[int]:
    """The two axes that are left by :func:`plane`, which takes axes of length 1 out from the front."""
    axes = list(range(len(shape)))
    while len(axes) > 2:
        axes.remove(next(axis for axis in axes if shape[axis] == 1))
    return axes


def _stated(data: "h5py.Dataset", name: str) -> Iterator[Quantity]:
    """Interval and spacing among the attributes of a data set and of the groups around it."""
    holders = [(data, name)]
    parent = data.parent
    for _ in range(name.count("/") + 1):
        holders.append((parent, parent.name))
        parent = parent.parent
    for holder, called in holders:
        values = {}
        for key in list(holder.attrs)[:_MOST_ATTRIBUTES]:
            values[key] = _plain(holder.attrs, key)
        for key, value in values.items():
            units = next(
                (values[key + end] for end in ("_unit", "_units") if values.get(key + end)), ""
            )
            found = quantity(key, value, f"attribute {key} of {called}", units)
            if found is not None:
                yield found


def _plain(attributes: "h5py.AttributeManager", key: str) -> object:
    """A single number or word of fixed length; empty for all else.

    Words of any length are left out: they stand in a heap, and a damaged one keeps the C library busy
    forever (seen with HDF5 of h5py 3.16), which nothing here could end.
    """
    holder = attributes.get_id(key)
    if math.prod(holder.shape or ()) != 1 or holder.dtype.kind not in "fiuS":
        return ""
    value = attributes[key]
    value = value.flat[0] if hasattr(value, "flat") else value
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else value
