"""How long the envelope of 100,000 traces of 512 samples takes, and how much memory.

Printed with the ratios to ``abs(scipy.signal.hilbert)`` in float64, and to the least that any way over the
spectrum costs: a bare pair of transforms there and back, in as large pieces, on as many threads, its result
kept. The two are run in turn: the shortest time of each is printed, and the median of their ratios.
"""

import os
import time
import tracemalloc
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import scipy.fft
import scipy.signal

from depthwright.processing.envelope import envelope
from depthwright.processing.filters import cache_slices

TRACES, SAMPLES = 100_000, 512
ROUNDS = 9
PLAIN_ROUNDS = 2


def bare_pair(block, threads):
    """Transforms there and back and nothing else."""
    back = np.empty_like(block)
    pieces = list(cache_slices(*block.shape))

    def run(share):
        for piece in share:
            spectrum = scipy.fft.rfft(block[piece])
            back[piece] = scipy.fft.irfft(spectrum, n=SAMPLES, overwrite_x=True)

    if threads == 1:
        run(pieces)
    else:
        with ThreadPoolExecutor(threads) as pool:
            list(pool.map(run, [pieces[start::threads] for start in range(threads)]))
    return back


def plain(block):
    """The envelope as it is usually written, in float64."""
    return np.abs(scipy.signal.hilbert(block.astype(np.float64), axis=-1))


def seconds(call):
    """Time of one call."""
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def extra_copies(call, block):
    """Most memory taken during a call, in copies of the data."""
    tracemalloc.start()
    call()
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return peak / block.nbytes


def main():
    block = np.random.default_rng(0).standard_normal((TRACES, SAMPLES), np.float32)
    usual = min(seconds(lambda: plain(block)) for _ in range(PLAIN_ROUNDS))
    print("%d x %d, abs(hilbert) in float64: %.2f s" % (TRACES, SAMPLES, usual))
    for threads in sorted({1, os.cpu_count() or 1}):
        rounds = [
            (
                seconds(lambda threads=threads: envelope(block, threads)),
                seconds(lambda threads=threads: bare_pair(block, threads)),
            )
            for _ in range(ROUNDS)
        ]
        taken = np.array(rounds)
        own, bare = taken.min(axis=0)
        times_bare = np.median(taken[:, 0] / taken[:, 1])
        print(
            "%d threads: %.3f s, %.1f times as fast as that; %.2f times a bare pair (at least %.3f s)"
            % (threads, own, usual / own, times_bare, bare)
        )
        copies = extra_copies(lambda threads=threads: envelope(block, threads), block)
        print("  at most %.3f copies of the data besides it, the result among them" % copies)


if __name__ == "__main__":
    main()
