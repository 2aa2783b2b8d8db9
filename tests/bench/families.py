"""Synthetic images and revision families for the benchmarks.

Nothing here is taken from a real control unit. An image is 4 MiB: code that does not compress (random bytes), and a
calibration area with 400 maps on smooth surfaces; two thirds of the maps hold 16-bit big-endian values, one third
bytes. A revision edits 3 to 25 of them the way a tuner does: a region by a percentage, a region by a constant, a
smooth hill, single cells; and renews a 4-byte block checksum.
"""

import zlib
from dataclasses import dataclass

import numpy as np

SIZE = 4 << 20
AREA = 0x30_0000
CHECKSUM_AT = AREA - 16
SHAPES = ((1, 8), (1, 16), (8, 8), (8, 12), (10, 12), (12, 12), (12, 16), (16, 16), (16, 20))


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a synthetic map lies: two axes of 16-bit values, then the values, rows of y."""

    name: str
    x_address: int
    y_address: int
    address: int
    rows: int
    columns: int
    itemsize: int

    @property
    def dtype(self) -> np.dtype:
        return np.dtype(">u2" if self.itemsize == 2 else "u1")


@dataclass(frozen=True, slots=True)
class Family:
    """One vehicle: its maps and its images, stock first; `parents[k]` is the parent of image k (-1 for stock)."""

    spots: tuple[Spot, ...]
    images: tuple[bytes, ...]
    parents: tuple[int, ...]


def family(
    seed: int, *, revisions: int = 40, maps: int = 400, changed: tuple[int, int] = (3, 25), branching: float = 0.15
) -> Family:
    """A stock image and `revisions` edits: each of the newest, or with probability `branching` of any earlier one."""
    rng = np.random.default_rng(seed)
    image = bytearray(rng.bytes(SIZE))
    spots = _place(rng, image, maps)
    _seal(image)
    images, parents = [bytes(image)], [-1]
    for _ in range(revisions):
        parent = len(images) - 1 if rng.random() >= branching else int(rng.integers(0, len(images)))
        edited = bytearray(images[parent])
        for k in rng.choice(len(spots), int(rng.integers(changed[0], changed[1] + 1)), replace=False):
            _edit(rng, edited, spots[k])
        _seal(edited)
        images.append(bytes(edited))
        parents.append(parent)
    return Family(tuple(spots), tuple(images), tuple(parents))


def _place(rng: np.random.Generator, image: bytearray, maps: int) -> list[Spot]:
    spots, at = [], AREA
    for k in range(maps):
        rows, columns = SHAPES[int(rng.integers(0, len(SHAPES)))]
        itemsize = 2 if rng.random() < 2 / 3 else 1
        x, y = at, at + 2 * columns
        values = y + 2 * rows
        spot = Spot(f"Map {k}", x, y, values, rows, columns, itemsize)
        spots.append(spot)
        image[x:y] = np.linspace(600, 6500 + 10 * k % 700, columns).round().astype(">u2").tobytes()
        image[y:values] = np.linspace(50, 950 + k % 50, rows).round().astype(">u2").tobytes()
        end = values + rows * columns * itemsize
        image[values:end] = _surface(rng, spot).tobytes()
        at = (end + 31) // 32 * 32
    return spots


def _surface(rng: np.random.Generator, spot: Spot) -> np.ndarray:
    u, v = np.meshgrid(np.linspace(0, 1, spot.columns), np.linspace(0, 1, spot.rows))
    a, b, c, d = rng.uniform(-1, 1, 4)
    shape = 0.5 + 0.2 * (a * u + b * v + c * u * v + d * np.sin(3 * u + 2 * v))
    top = 40_000 if spot.itemsize == 2 else 220
    noise = rng.normal(0, 0.004, shape.shape)
    return np.clip((shape + noise) * top * rng.uniform(0.1, 1), 0, top).round().astype(spot.dtype)


def _edit(rng: np.random.Generator, image: bytearray, spot: Spot) -> None:
    view = np.frombuffer(image, spot.dtype, spot.rows * spot.columns, spot.address).reshape(spot.rows, spot.columns)
    y0, y1 = _interval(rng, spot.rows)
    x0, x1 = _interval(rng, spot.columns)
    region = view[y0:y1, x0:x1]
    old = region.astype(np.float64)
    kind = rng.random()
    if kind < 0.45:
        new = old * (1 + rng.choice([-1, 1]) * rng.integers(1, 13) / 100)
    elif kind < 0.6:
        new = old + rng.choice([-1, 1]) * rng.integers(1, 9) * (64 if spot.itemsize == 2 else 1)
    elif kind < 0.9:
        u, v = np.meshgrid(np.linspace(-1, 1, x1 - x0), np.linspace(-1, 1, y1 - y0))
        new = old * (1 + 0.1 * rng.uniform(-1, 1) * np.exp(-2 * (u * u + v * v)))
    else:
        new = old.copy()
        picks = rng.integers(0, new.size, 4)
        new.flat[picks] += rng.integers(-20, 21, 4) * (16 if spot.itemsize == 2 else 1)
    top = 65_535 if spot.itemsize == 2 else 255
    region[...] = np.clip(new.round(), 0, top).astype(spot.dtype)


def _interval(rng: np.random.Generator, n: int) -> tuple[int, int]:
    """A part of 0…n, between half and all of it."""
    length = int(rng.integers((n + 1) // 2, n + 1))
    start = int(rng.integers(0, n - length + 1))
    return start, start + length


def _seal(image: bytearray) -> None:
    image[CHECKSUM_AT : CHECKSUM_AT + 4] = zlib.crc32(memoryview(image)[AREA : AREA + 0x4_0000]).to_bytes(4, "big")
