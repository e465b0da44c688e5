"""Thousands of spoilt SEG-Y files: each ends as a scan or in a sentence, in no other exception.

``packaging/benchmarks/bench_fuzz_segy.py`` runs many more of the same, with their times and memory.
"""

import re
import tracemalloc
from collections import Counter
from itertools import cycle, islice

import numpy as np
import pytest

from depthwright.errors import DepthwrightError
from depthwright.files.facts import MissingGeometry
from depthwright.files.segy import open_segy, segy_facts, write_segy
from depthwright.job import NOTHING_GIVEN, Given

TRACES, SAMPLES = 12, 40
EVERYTHING = Given(trace_spacing_mm=5.0, dt_ns=0.2)
TELLING = np.r_[3212:3228, 3254:3256, 3260:3300, 3500:3532, 3628:3632, 3670:3692, 3708:3718]
"""Bytes that say where things are and what they mean, in the file header and the first trace."""
TWO_AND_MORE = np.array([0, 1, 2, 3, 255, 256, 32767, 32768, 65535, 2**31 - 1, 2**31, 2**32 - 1])


def seeds(folder):
    """Sound files of several formats, orders and revisions to start from."""
    path = folder / "seed.sgy"
    made = []
    samples = np.random.default_rng(1).uniform(0, 100, (TRACES, SAMPLES)).astype(np.float32)
    orders = cycle(("big", "little"))
    for code in (1, 2, 3, 5, 6, 7, 8, 16):
        order = next(orders)
        write_segy(path, samples, 0.2, 5.0 * np.arange(TRACES), 50.0, code, order)
        made.append(path.read_bytes())
    raw = bytearray(made[3])
    raw[3504:3506] = b"\xff\xff"  # a text of unknown length
    made.append(bytes(raw[:3600]) + b"((SEG: EndText))".ljust(3200) + bytes(raw[3600:]))
    raw = bytearray(made[4])
    raw[3500], raw[3519] = 2, TRACES
    made.append(bytes(raw) + b"\x40" * 3200)
    made.append(made[0][: 3600 + 240 + 4 * SAMPLES])
    return made


def flip(raw, rng):
    for _ in range(int(rng.integers(1, 8))):
        raw[rng.integers(len(raw))] = rng.integers(256)


def flip_telling(raw, rng):
    for at in rng.choice(TELLING, int(rng.integers(1, 6))):
        if at < len(raw):
            raw[at] = rng.choice([0, 1, 2, 3, 16, 127, 128, 255, rng.integers(256)])


def put_count(raw, rng):
    width = int(rng.choice([2, 4, 8]))
    at = int(rng.choice(TELLING))
    value = int(rng.choice(TWO_AND_MORE)) % 2 ** (8 * width)
    raw[at : at + width] = value.to_bytes(width, str(rng.choice(["big", "little"])))


def flip_headers(raw, rng):
    """Change one byte of the header in every trace that is about as long as this."""
    at, step = 3600 + int(rng.integers(240)), 240 + 4 * SAMPLES
    for place in range(at, len(raw), step):
        raw[place] = rng.integers(256)


def cut(raw, rng):
    least = min(3500, len(raw)) if rng.random() < 0.8 else 0
    del raw[int(rng.integers(least, len(raw) + 1)) :]


def take_out(raw, rng):
    at = int(rng.integers(len(raw)))
    del raw[at : at + int(rng.integers(1, 300))]


def insert(raw, rng):
    at, size = int(rng.integers(len(raw) + 1)), int(rng.integers(1, 1000))
    raw[at:at] = bytes(size) if rng.random() < 0.5 else rng.bytes(size)


def swap_words(raw, rng):
    width = int(rng.choice([2, 4]))
    first = int(rng.choice([0, 3200, 3600]))
    last = int(rng.choice([3200, 3600, len(raw)]))
    words = np.frombuffer(bytes(raw[first:last]), np.uint8)
    words = words[: len(words) // width * width].reshape(-1, width)[:, ::-1]
    raw[first : first + words.size] = words.tobytes()


def scramble_text(raw, rng):
    raw[:3200] = rng.bytes(3200)[: len(raw)]


SPOIL = (flip, flip_telling, flip_telling, put_count, put_count, flip_headers, cut, take_out, insert,
         swap_words, scramble_text)  # fmt: skip


def spoilt(sound, seed):
    """Endless versions of the files given, each with one to four kinds of damage."""
    rng = np.random.default_rng(seed)
    while True:
        raw = bytearray(sound[rng.integers(len(sound))])
        for kind in rng.choice(len(SPOIL), int(rng.integers(1, 5))):
            if raw:
                SPOIL[kind](raw, rng)
        yield bytes(raw)


def put(path, raw):
    """Write a file anew: to overwrite one can be slow, as some systems then wait for the disk."""
    path.unlink(missing_ok=True)
    path.write_bytes(raw)


def outcome(path, given):
    """Use a file as the program would; says in a word or a sentence how that ended."""
    try:
        scan = open_segy(path, given)
        ends = scan.block(0, min(256, scan.traces)), scan.block(scan.traces - 1, scan.traces)
        sha256 = scan.check().sha256
    except DepthwrightError as caught:
        problem = caught
    else:
        assert all(np.isfinite(block).all() for block in ends)
        assert len(sha256) == 64
        return "read"
    assert problem.message.endswith(".")
    assert problem.hint.endswith(".")
    if isinstance(problem, MissingGeometry):
        assert segy_facts(path, given).needs == problem.needs
    return re.sub(r"-?\d[\d.e+-]*\d|-?\d", "N", problem.message)


def given_to(number):
    return EVERYTHING if number % 2 else NOTHING_GIVEN


def test_no_spoilt_file_ends_in_another_exception(tmp_path):
    path = tmp_path / "line.sgy"
    ends = Counter()
    for number, raw in enumerate(islice(spoilt(seeds(tmp_path), seed=1), 2000)):
        put(path, raw)
        ends[outcome(path, given_to(number))] += 1
    assert 500 < ends["read"] < 1500  # both ends are reached
    assert len(ends) > 15


@pytest.mark.parametrize("count", [2**15 - 1, 2**16 - 1, 2**32 - 1])
def test_absurd_counts_take_no_memory(tmp_path, count):
    """Every field that says where things are holds an absurd count in turn."""
    path = tmp_path / "line.sgy"
    sound = seeds(tmp_path)[-2]
    most = 0
    for at in TELLING[::2]:
        raw = bytearray(sound)
        width = 2 if count < 2**16 else 4
        raw[at : at + width] = count.to_bytes(width, "big")
        put(path, raw)
        tracemalloc.start()
        try:
            outcome(path, EVERYTHING)
            most = max(most, tracemalloc.get_traced_memory()[1])
        finally:
            tracemalloc.stop()
    # A piece of a megabyte at the end of the check, and some copies of the samples.
    assert most < 2**21 + 30 * len(sound)
