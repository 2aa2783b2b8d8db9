"""Where two images that should be equal first differ, in lines a person can read out."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from app.calc.calibration.image import Image


@dataclass(frozen=True, slots=True)
class FirstDifferences:
    """Number of differing bytes, the first differing address, and up to `limit` readable lines."""

    count: int
    first: int
    lines: tuple[str, ...]


def first_differences(a: Image, b: Image, *, limit: int) -> FirstDifferences:
    """Compare byte for byte; addresses that only one image holds count as differing.

    >>> first_differences(Image.of([(0, b"abc")]), Image.of([(0, b"axc")]), limit=2).lines
    ('0x00000001: 62 against 78',)
    """
    lines: list[str] = []
    count, first = 0, -1
    for start, end in _pieces(a, b):
        ours, theirs = a.segment_at(start), b.segment_at(start)
        if ours is None or theirs is None:
            count += end - start
            first = start if first < 0 else first
            if len(lines) < limit:
                lines.append(f"0x{start:08X}–0x{end - 1:08X}: only in the {'second' if ours is None else 'first'} read")
            continue
        left = np.frombuffer(ours.data, np.uint8)[start - ours.address : end - ours.address]
        right = np.frombuffer(theirs.data, np.uint8)[start - theirs.address : end - theirs.address]
        offsets = np.flatnonzero(left != right)
        count += offsets.size
        if offsets.size and first < 0:
            first = start + int(offsets[0])
        for offset in offsets[: max(0, limit - len(lines))]:
            lines.append(f"0x{start + int(offset):08X}: {int(left[offset]):02X} against {int(right[offset]):02X}")
    return FirstDifferences(int(count), first, tuple(lines))


def _pieces(a: Image, b: Image) -> list[tuple[int, int]]:
    """Address ranges held by at least one image, cut wherever one of them begins or ends."""
    cuts = sorted({edge for image in (a, b) for s in image.segments for edge in (s.address, s.end)})
    return [(lo, hi) for lo, hi in pairwise(cuts) if a.segment_at(lo) is not None or b.segment_at(lo) is not None]
