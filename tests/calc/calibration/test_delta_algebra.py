"""The shop can rely on it that a recorded change gives the revision byte for byte: forward, backward and joined."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.calc.calibration.comparison import Comparison
from app.calc.calibration.delta import compare
from app.calc.calibration.delta_algebra import apply, compose, invert
from app.calc.calibration.delta_pack import pack_map_delta
from app.calc.calibration.image import Image
from app.calc.calibration.layout import Layout
from app.errors import BadInput
from tests.calc.calibration.layouts import layouts
from tests.calc.calibration.pairs import ENGINE, edited, engine, made_up, resized

SLOW = (HealthCheck.too_slow, HealthCheck.data_too_large)
COMMIT = settings(max_examples=200, deadline=None, suppress_health_check=SLOW)
RELEASE = settings(max_examples=10_000, deadline=None, suppress_health_check=SLOW)


@st.composite
def chains(draw: st.DrawFn) -> tuple[Layout, Image, Image, Image]:
    """A layout and three images, each made from the one before."""
    layout, first = draw(layouts()), draw(made_up())
    second = draw(edited(first, layout))
    third = draw(st.one_of(edited(second, layout), st.just(first)))
    if draw(st.booleans()):
        second, third = draw(resized(second)), draw(resized(third))
    return layout, first, second, third


def same(one: Comparison, other: Comparison) -> bool:
    """Everything but the checksums' identity: maps bit for bit as they are kept, bytes, ranges."""
    return (
        [pack_map_delta(d) for d in one.deltas] == [pack_map_delta(d) for d in other.deltas]
        and [repr(d.summary) for d in one.deltas] == [repr(d.summary) for d in other.deltas]
        and one.unexplained == other.unexplained
        and one.checksums == other.checksums
        and one.checksums_before == other.checksums_before
        and one.changes.same_as(other.changes)
        and one.sentence == other.sentence
    )


def applying(chain: tuple[Layout, Image, Image, Image]) -> None:
    layout, first, second, _ = chain
    change = compare(first, second, layout)
    assert apply(first, change) == second
    assert apply(second, invert(change)) == first


def inverting(chain: tuple[Layout, Image, Image, Image]) -> None:
    layout, first, second, _ = chain
    change = compare(first, second, layout)
    assert same(invert(invert(change)), change)
    assert same(invert(change), compare(second, first, layout))


def composing(chain: tuple[Layout, Image, Image, Image]) -> None:
    layout, first, second, third = chain
    joined = compose(compare(first, second, layout), compare(second, third, layout), first)
    assert apply(first, joined) == third
    direct = compare(first, third, layout)
    assert joined.changes.addresses.tolist() == direct.changes.addresses.tolist()
    assert joined.changes.before.tolist() == direct.changes.before.tolist()
    assert joined.changes.after.tolist() == direct.changes.after.tolist()


@given(chains())
@COMMIT
def test_applying_a_change_gives_the_revision_byte_for_byte(chain: tuple[Layout, Image, Image, Image]) -> None:
    applying(chain)


@given(chains())
@COMMIT
def test_inverting_is_the_way_back_and_twice_is_nothing(chain: tuple[Layout, Image, Image, Image]) -> None:
    inverting(chain)


@given(chains())
@COMMIT
def test_two_changes_joined_are_the_change_from_first_to_last(chain: tuple[Layout, Image, Image, Image]) -> None:
    composing(chain)


@st.composite
def engines(draw: st.DrawFn) -> Image:
    return engine(
        speed=draw(st.sampled_from([(1000, 2000, 3000, 4000), (1000, 1500, 3000, 4000)])),
        spark=((10, draw(st.integers(-9, 30)), 30, 40), (12, 22, 32, 42), (14, 24, 34, draw(st.integers(0, 3)))),
        torque=(2000, draw(st.integers(2990, 3010)), 3500, 3000),
        limit=draw(st.sampled_from([250, 255])),
        label=draw(st.sampled_from([b"STOCK", b"TUNED"])),
        others=((0x81A0, draw(st.binary(min_size=3, max_size=3))), (0x81F0, draw(st.binary(min_size=2, max_size=2)))),
    )


@given(engines(), engines(), engines())
@settings(max_examples=200, deadline=None)
def test_joined_changes_report_the_maps_that_a_direct_comparison_reports(a: Image, b: Image, c: Image) -> None:
    assert same(compose(compare(a, b, ENGINE), compare(b, c, ENGINE), a), compare(a, c, ENGINE))


def test_a_change_is_refused_on_another_image() -> None:
    change = compare(engine(), engine(limit=255), ENGINE)
    with pytest.raises(BadInput, match="differs from 0x8150 on"):
        apply(engine(limit=200), change)
    with pytest.raises(BadInput, match="expects another byte at 0x8150"):
        change.changes.then(change.changes)


def test_bytes_added_twice_or_removed_where_none_are_is_refused() -> None:
    short = engine()
    longer = Image.of([*((s.address, s.data) for s in short.segments), (0x9000, b"abc")])
    with pytest.raises(BadInput, match="already holds bytes at 0x9000"):
        apply(longer, compare(short, longer, None))
    with pytest.raises(BadInput, match="removes at 0x9000"):
        apply(short, compare(longer, short, None))


@pytest.mark.release
@given(chains())
@RELEASE
def test_apply_invert_and_compose_at_length(chain: tuple[Layout, Image, Image, Image]) -> None:
    applying(chain)
    inverting(chain)
    composing(chain)
