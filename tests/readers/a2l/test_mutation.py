"""Whatever is done to a file, reading it gives a layout or BadInput, and the layout decodes or says why not."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.calc.calibration.decode import decode, footprints, undecodable
from app.calc.calibration.image import Image
from app.calc.calibration.layout_check import check_layout
from app.calc.calibration.layout_json import layout_from_json, layout_to_json
from app.errors import BadInput
from app.readers.a2l import read_a2l

GOLDEN = Path(__file__).parents[2] / "golden" / "layouts"
REFERENCE = (GOLDEN / "reference.a2l").read_bytes()
SOUND = (GOLDEN / "sound.a2l").read_bytes()
IMAGE = Image.of([(0x1000, (GOLDEN / "reference.bin").read_bytes())])
WORDS = [w for w in {*REFERENCE.split(), *SOUND.split()} if w]
SPICE = [
    b"0",
    b"-1",
    b"65535",
    b"0xFFFFFFFF",
    b"1e308",
    b'"',
    b"/begin",
    b"/end",
    b"/*",
    b"*/",
    b"//",
    b"\\",
    b"\xff",
    b"\0",
]

edits = st.lists(
    st.tuples(
        st.integers(0, 10_000),
        st.integers(0, 40),
        st.one_of(st.sampled_from([b"", *SPICE]), st.sampled_from(WORDS), st.binary(max_size=6)),
    ),
    min_size=1,
    max_size=4,
)


def mutated(original: bytes, changes: list[tuple[int, int, bytes]]) -> bytes:
    """Replace stretches; the first edit works on words, so that the file often stays readable."""
    at, _, new = changes[0]
    words = original.split(b" ")
    words[at % len(words)] = new
    data = b" ".join(words)
    for at, length, new in changes[1:]:
        at %= len(data) + 1
        data = data[:at] + new + data[at + length :]
    return data


def hold(original: bytes, changes: list[tuple[int, int, bytes]]) -> None:
    try:
        found = read_a2l(mutated(original, changes), legacy_byte_order="standard")
    except BadInput:
        return
    check_layout(found.layout)
    tables = decode(IMAGE, found.layout)
    left_out = undecodable(IMAGE, found.layout)
    assert tables.keys().isdisjoint(name for name, _ in left_out)
    assert len(tables) + len(left_out) == len(found.layout.maps)
    assert footprints(IMAGE, found.layout).start.size >= len(tables)
    assert layout_from_json(layout_to_json(found.layout)) == found.layout


@settings(max_examples=2_500, deadline=None, suppress_health_check=list(HealthCheck))
@given(changes=edits)
def test_mutated_small_file_is_read_or_refused(changes: list[tuple[int, int, bytes]]) -> None:
    hold(SOUND, changes)


@settings(max_examples=2_500, deadline=None, suppress_health_check=list(HealthCheck))
@given(changes=edits)
def test_mutated_reference_is_read_or_refused(changes: list[tuple[int, int, bytes]]) -> None:
    hold(REFERENCE, changes)


@pytest.mark.release
@settings(max_examples=100_000, deadline=None, suppress_health_check=list(HealthCheck))
@given(changes=edits)
def test_mutated_file_is_read_or_refused_at_length(changes: list[tuple[int, int, bytes]]) -> None:
    hold(SOUND, changes)


@settings(max_examples=200, deadline=None)
@given(data=st.binary(max_size=200))
def test_any_bytes_are_refused(data: bytes) -> None:
    with pytest.raises(BadInput):
        read_a2l(data)


@settings(max_examples=200, deadline=None)
@given(at=st.integers(0, len(REFERENCE) - 12))
def test_cut_file_is_always_refused(at: int) -> None:
    with pytest.raises(BadInput):
        read_a2l(REFERENCE[:at])
