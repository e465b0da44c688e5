"""What the benchmarks have in common."""

import time


def best_s(call, times=3):
    """Shortest of some calls, s."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        taken.append(time.perf_counter() - start)
    return min(taken)
