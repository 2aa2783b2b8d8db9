"""A small tuned engine for worked examples, and made-up images with edits where the maps lie."""

from dataclasses import fields

import numpy as np
from hypothesis import strategies as st

from app.calc.calibration.byte_ranges import held
from app.calc.calibration.checksum import ChecksumDefinition
from app.calc.calibration.footprint import footprints
from app.calc.calibration.image import Image
from app.calc.calibration.layout import AxisDefinition, Layout, MapDefinition, VolatileRange
from app.calc.calibration.map_delta import MapDelta, MapState
from app.calc.calibration.scaling import Scaling, TextRange
from tests.calc.calibration.layouts import BASE, SIZE

START = 0x8000
RPM = Scaling.linear(1.0, unit="1/min")
LOAD = Scaling.linear(0.5, unit="%")
DEGREES = Scaling.linear(0.75, unit="deg")
SWITCH = Scaling(kind="text table", texts=(TextRange(0, 0, "off"), TextRange(1, 1, "on")))

SPEED_AXIS = AxisDefinition("engine speed", count=4, address=0x8100, data_type="uint16", scaling=RPM)
LOAD_AXIS = AxisDefinition("load", count=3, address=0x8110, scaling=LOAD)
SPARK = MapDefinition(
    "spark advance", "map", 0x8120, "ignition", data_type="int8", scaling=DEGREES, axes=(SPEED_AXIS, LOAD_AXIS)
)
TORQUE = MapDefinition(
    "torque limit", "curve", 0x8140, "limiter", data_type="uint16", scaling=Scaling.linear(0.1, unit="N·m"),
    axes=(SPEED_AXIS,),
)  # fmt: skip
SPEED_LIMIT = MapDefinition("speed limit", "value", 0x8150, "limiter", scaling=Scaling.linear(1.0, unit="km/h"))
LAUNCH = MapDefinition("launch control", "value", 0x8151, "torque", scaling=SWITCH, bit_mask=0x01)
LABEL = MapDefinition("label", "text", 0x8160, size=(8,))
SUM = ChecksumDefinition("block sum", "SUM-16/8-BIT", ((0x8000, 0x81F0),), 0x81F0)
ENGINE = Layout(
    "engine",
    maps=(SPARK, TORQUE, SPEED_LIMIT, LAUNCH, LABEL),
    checksums=(SUM,),
    volatile=(VolatileRange(0x8180, 0x8190, "learned idle values"),),
)


def engine(
    *,
    speed: tuple[int, ...] = (1000, 2000, 3000, 4000),
    load: tuple[int, ...] = (20, 60, 100),
    spark: tuple[tuple[int, ...], ...] = ((10, 20, 30, 40), (12, 22, 32, 42), (14, 24, 34, 44)),
    torque: tuple[int, ...] = (2000, 3000, 3500, 3000),
    limit: int = 250,
    launch: int = 0,
    label: bytes = b"STOCK",
    others: tuple[tuple[int, bytes], ...] = (),
) -> Image:
    """Raw numbers; the checksum is left as it is (0) unless `others` sets it."""
    image = Image.of([(START, bytes(0x200))])
    return image.patched(
        [
            (0x8100, np.array(speed, ">u2").tobytes()),
            (0x8110, bytes(load)),
            (0x8120, np.array(spark, "i1").tobytes()),
            (0x8140, np.array(torque, ">u2").tobytes()),
            (0x8150, bytes((limit, launch))),
            (0x8160, label.ljust(8, b"\0")),
            *others,
        ]
    )


@st.composite
def made_up(draw: st.DrawFn) -> Image:
    """An image of one or two segments where the made-up layouts of tests.calc.calibration.layouts look for maps."""
    seed = draw(st.integers(0, 2**32 - 1))
    data = np.random.default_rng(seed).integers(0, 256, SIZE, np.uint8).tobytes()
    cut = draw(st.sampled_from([SIZE, 1024, 3000]))
    return Image.of([(BASE, data[:cut]), (BASE + cut + draw(st.sampled_from([0, 7])), data[cut:])])


@st.composite
def edited(draw: st.DrawFn, image: Image, layout: Layout) -> Image:
    """The image with up to eight short edits, most of them inside maps."""
    prints = footprints(image, layout)
    anywhere = held(image).addresses()
    inside = prints.start.tolist() or [int(anywhere[0])]
    changes = []
    for _ in range(draw(st.integers(0, 8))):
        near = draw(st.sampled_from(inside)) + draw(st.integers(0, 8))
        address = near if draw(st.booleans()) else int(anywhere[draw(st.integers(0, anywhere.size - 1))])
        data = draw(st.binary(min_size=1, max_size=4))
        if image.covers(address, len(data)):
            changes.append((address, data))
    return image.patched(changes)


@st.composite
def resized(draw: st.DrawFn, image: Image) -> Image:
    """The image without its last bytes, or with a further segment."""
    parts = [(s.address, s.data) for s in image.segments]
    if draw(st.booleans()):
        address, data = parts[-1]
        parts[-1] = (address, data[: draw(st.integers(1, len(data)))])
    if draw(st.booleans()):
        parts.append((BASE + SIZE + 64, draw(st.binary(min_size=1, max_size=20))))
    return Image.of(parts)


def same_delta(one: MapDelta, other: MapDelta) -> bool:
    """True when subject, states and figures are the same; any two numbers that are none count as equal."""
    names = [f.name for f in fields(one.subject) if f.name != "entered_change"]
    given = (one.subject.entered_change, other.subject.entered_change)
    states = ((one.state_before, other.state_before), (one.state_after, other.state_after))
    return (
        all(getattr(one.subject, name) == getattr(other.subject, name) for name in names)
        and all(same_state(a, b) for a, b in states)
        and (given[0] is given[1] or np.array_equal(*given, equal_nan=True))
        and repr(one.summary) == repr(other.summary)
    )


def same_state(a: MapState, b: MapState) -> bool:
    if a.texts != b.texts or not np.array_equal(a.values, b.values, equal_nan=True) or len(a.axes) != len(b.axes):
        return False
    if (a.raw is None) != (b.raw is None):
        return False
    if a.raw is not None and b.raw is not None:
        floats = a.raw.dtype.kind == "f"
        if a.raw.dtype != b.raw.dtype or not np.array_equal(a.raw, b.raw, equal_nan=floats):
            return False
    return all(
        (x.name, x.unit, x.decimals) == (y.name, y.unit, y.decimals) and x.same_points(y)
        for x, y in zip(a.axes, b.axes, strict=True)
    )
