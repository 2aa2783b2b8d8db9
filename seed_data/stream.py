"""Repeatable pseudo-random values that do not depend on the Python or numpy version.

The bytes are SHAKE-256 (FIPS 202) over a name: the same name gives the same bytes on every machine. The
values made of them use whole-number sums and one division only: no library generator,
no transcendental function.
"""

import hashlib
from math import sqrt

import numpy as np
from numpy.typing import NDArray


def random_bytes(name: str, count: int) -> bytes:
    """`count` bytes that belong to `name`."""
    return hashlib.shake_256(name.encode()).digest(count)


def words32(name: str, count: int) -> NDArray[np.uint32]:
    """`count` unsigned 32-bit words that belong to `name`."""
    return np.frombuffer(random_bytes(name, 4 * count), dtype="<u4").astype(np.uint32)


def uniform(name: str, count: int) -> list[float]:
    """`count` values in [0, 1)."""
    return [int(word) / 4294967296.0 for word in words32(name, count)]


def normal(name: str, count: int) -> list[float]:
    """`count` values with mean 0 and standard deviation 1: the sum of twelve uniform values less six.

    The sum is taken in whole numbers and is exact; the tails end at ±6.
    """
    sums = words32(name, 12 * count).reshape(count, 12).astype(np.uint64).sum(axis=1)
    return [int(total) / 4294967296.0 - 6.0 for total in sums]


def smooth(name: str, count: int, knots: int) -> list[float]:
    """`count` values of a slowly moving curve with standard deviation near 1.

    Standard normal values at `knots` equally spaced places (at least 2), joined by the cubic 3t² − 2t³.
    """
    at = normal(name, knots)
    values = []
    for k in range(count):
        place = k * (knots - 1) / max(count - 1, 1)
        left = min(int(place), knots - 2)
        t = place - left
        weight = t * t * (3.0 - 2.0 * t)
        # Between two independent knots the spread would shrink; dividing by this root keeps it at 1.
        spread = sqrt((1.0 - weight) * (1.0 - weight) + weight * weight)
        values.append((at[left] * (1.0 - weight) + at[left + 1] * weight) / spread)
    return values
