"""Applying, inverting and joining comparisons.

apply(a, compare(a, b)) is b byte for byte; inverting twice gives the same comparison; the composition of a → b and
b → c is a → c.
"""

from collections.abc import Iterable
from dataclasses import replace

from app.calc.calibration.comparison import Comparison
from app.calc.calibration.delta import unexplained_ranges
from app.calc.calibration.delta_summary import build_deltas, differs
from app.calc.calibration.image import Image
from app.calc.calibration.layout import VolatileRange
from app.calc.calibration.map_delta import MapDelta, MapState, MapSubject
from app.errors import BadInput


def apply(image: Image, comparison: Comparison) -> Image:
    """`image` with every changed byte of the comparison.

    BadInput when the image does not hold the bytes the comparison starts from, or when it has no bytes because it
    was entered by hand.
    """
    if not len(comparison.changes) and comparison.deltas:
        raise BadInput("This change was entered by hand and names no bytes: it cannot be applied to an image.")
    return comparison.changes.applied(image)


def invert(comparison: Comparison) -> Comparison:
    """The change back. Warnings are left out: they were given about the other direction."""
    return replace(
        comparison,
        deltas=tuple(build_deltas([(d.subject, d.state_after, d.state_before) for d in comparison.deltas])),
        unexplained=tuple(replace(one, before=one.after, after=one.before) for one in comparison.unexplained),
        checksums=comparison.checksums_before,
        checksums_before=comparison.checksums,
        changes=comparison.changes.inverted(),
        warnings=(),
    )


def compose(first: Comparison, second: Comparison, start: Image) -> Comparison:
    """Both changes as one, for an image `start` that the first one applies to.

    BadInput when the second does not begin where the first ends. Maps and bytes that end as they began are left out.
    """
    end = second.changes.applied(first.changes.applied(start))
    changes = first.changes.then(second.changes)
    noted = tuple(VolatileRange(r.address, r.end, r.note) for r in (*first.unexplained, *second.unexplained) if r.note)
    return Comparison(
        tuple(build_deltas(_joined(first.deltas, second.deltas))),
        unexplained_ranges(start, end, changes, noted),
        second.checksums,
        first.checksums_before,
        changes,
        first.has_layout or second.has_layout,
        tuple(dict((*first.unreadable, *second.unreadable)).items()),
    )


def _joined(first: Iterable[MapDelta], second: Iterable[MapDelta]) -> list[tuple[MapSubject, MapState, MapState]]:
    """From the state before the first to the state after the second change of each map, where they differ."""
    earlier, later = ({delta.name: delta for delta in deltas} for deltas in (first, second))
    joined = []
    for name in {**earlier, **later}:
        begin, finish = earlier.get(name, later.get(name)), later.get(name, earlier.get(name))
        assert begin is not None and finish is not None
        before, after = begin.state_before, finish.state_after
        if not before.same_axes(after) or differs(before, after).any():
            joined.append((finish.subject, before, after))
    return sorted(joined, key=lambda change: change[0].position)
