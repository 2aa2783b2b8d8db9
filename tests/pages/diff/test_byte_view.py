"""The shop can rely on it that the byte view shows every byte once, at its address, and marks exactly what changed."""

import re

from hypothesis import given
from hypothesis import strategies as st

from app.calc.calibration.comparison import UnexplainedRange
from app.pages.diff.byte_view import SHOWN, range_views


@st.composite
def ranges(draw: st.DrawFn) -> UnexplainedRange:
    before = draw(st.binary(min_size=1, max_size=SHOWN + 40))
    after = draw(st.binary(min_size=len(before), max_size=len(before)))
    address = draw(st.integers(0, 2**32))
    changed = sum(a != b for a, b in zip(before, after, strict=True))
    return UnexplainedRange(address, len(before), changed, before, after)


@given(one=ranges())
def test_the_lines_give_the_bytes_back_and_brackets_stand_at_the_changed_ones(one: UnexplainedRange) -> None:
    assert one.before is not None and one.after is not None
    (view,) = range_views([one], None)
    at, old, new, marked = one.address, b"", b"", []
    for line in view.lines:
        assert line.address == at
        assert line.address % 16 == 0 or line.address == one.address
        sides = [re.findall(r"(\[| )([0-9A-F]{2})(\]| )", side) for side in (line.before, line.after)]
        assert len(sides[0]) == len(sides[1]) <= 16
        assert [mark for mark, _, _ in sides[0]] == [mark for mark, _, _ in sides[1]]
        marked += [mark == "[" for mark, _, _ in sides[0]]
        old += bytes(int(digits, 16) for _, digits, _ in sides[0])
        new += bytes(int(digits, 16) for _, digits, _ in sides[1])
        at += len(sides[0])
    assert old == one.before[:SHOWN] and new == one.after[:SHOWN]
    assert marked == [a != b for a, b in zip(old, new, strict=True)]
    assert view.left_out == max(0, one.length - SHOWN)


def test_bytes_that_one_image_lacks_are_said_to_be_missing_and_cannot_be_named() -> None:
    (view,) = range_views([UnexplainedRange(0x20, 2, 2, None, b"\x01\x02")], "/compare/name?from=a&to=b")
    assert view.lines[0].before == "not in this image"
    assert view.lines[0].after == "[01][02]"
    assert view.name_href == ""
