"""Job files gone wrong in drawn ways: run by test_jobfile_fuzz.py and bench_fuzz_jobs.py."""

import copy
import json
import random
from typing import Any

EXTREMES = (
    0, -1, 1, 2**31, 2**63, 2**64, -(2**70), 10**300, -(10**400), 1e308, -1e308, 5e-324, 1e-300, 0.1, -0.0,
)  # fmt: skip
WORDS = (
    "", " ", "x" * 5000, "\0", "\n", "\u202e", "💥", "é", "../../../../a", "/dev/zero", "NaN", "1.6",
    "bar", "zone-1", "line-1",
)  # fmt: skip
VALUES = (None, True, False, [], {}, [[]], [None], {"": None}, {"kind": "bar"})
RAW = (
    b"NaN", b"Infinity", b"1e999", b"-0", b"1E+5", b"9" * 5000, b'"\\ud800"', b"\\u0000", b"\xff\xfe",
    b"[" * 2000, b'{"a":' * 2000, b"//", b"'", b",", b"}", b"]", b"\0", b'"', b"null",
)  # fmt: skip


def mutated(raw: bytes, draw: random.Random) -> bytes:
    """The file after one to three accidents, of its bytes or of what they mean."""
    if draw.random() < 0.4:
        return _bytes_changed(raw, draw)
    data = json.loads(raw)
    for _ in range(draw.randint(1, 3)):
        _change_part(data, draw)
    text = json.dumps(data).encode("utf-8")
    return _key_twice(text, draw) if draw.random() < 0.1 else text


def _bytes_changed(raw: bytes, draw: random.Random) -> bytes:
    changed = bytearray(raw)
    for _ in range(draw.randint(1, 3)):
        at = draw.randrange(len(changed) + 1)
        until = min(len(changed), at + draw.choice((0, 1, 1, 2, 9, 300)))
        changed[at:until] = draw.choice(
            (b"", bytes([draw.randrange(256)]), changed[at : at + 200] * 2, draw.choice(RAW))
        )
    return bytes(changed)


def _change_part(data: Any, draw: random.Random) -> None:
    places = list(_places(data))
    if not places:
        return
    here, key = draw.choice(places)
    act = draw.randrange(7)
    if act == 0:
        del here[key]
    elif act == 1:
        here[key] = draw.choice(EXTREMES)
    elif act == 2:
        here[key] = draw.choice(WORDS)
    elif act == 3:
        here[key] = copy.deepcopy(draw.choice(VALUES))
    elif act == 4:
        other, name = draw.choice(places)
        here[key] = copy.deepcopy(other.get(name) if isinstance(other, dict) else other[name])
    elif act == 5:
        for _ in range(draw.choice((1, 3, 200))):
            here[key] = [here[key]] if draw.random() < 0.7 else {"a": here[key]}
    elif isinstance(here, dict):
        here[draw.choice(("version", "kind", "wings", "", "\ud83d", "id", "tie"))] = here[key]
    else:
        here += [copy.deepcopy(here[key]) for _ in range(draw.choice((1, 50)))]


def _places(data: Any) -> Any:
    """Every value of a document, as what holds it and its key there."""
    keys = data if isinstance(data, dict) else range(len(data)) if isinstance(data, list) else ()
    for key in keys:
        yield data, key
        yield from _places(data[key])


def _key_twice(text: bytes, draw: random.Random) -> bytes:
    """A key that stands in its object a second time, with another value."""
    at = text.find(b'{"', draw.randrange(len(text)))
    end = text.find(b'"', at + 2)
    if at < 0 or end < 0:
        return text
    return b"".join((text[: at + 1], text[at + 1 : end + 1], b": 3, ", text[at + 1 :]))
