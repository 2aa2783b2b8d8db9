"""Medians of alternating runs: two things measured beside each other suffer the same neighbours."""

import time
from collections.abc import Callable
from statistics import median

Clock = Callable[[], float]


def medians(rounds: int, *candidates: Callable[[], object], clock: Clock = time.thread_time) -> list[float]:
    """Median seconds of each candidate, run in turn `rounds` times after one run to warm up.

    The thread's own processor time counts, which other programs on the machine disturb least; give
    `time.perf_counter` when a candidate waits for something else.
    """
    for candidate in candidates:
        candidate()
    taken: list[list[float]] = [[] for _ in candidates]
    for _ in range(rounds):
        for times, candidate in zip(taken, candidates, strict=True):
            begin = clock()
            candidate()
            times.append(clock() - begin)
    return [median(times) for times in taken]
