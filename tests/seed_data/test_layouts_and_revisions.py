"""The shop can rely on it that descriptions fit the images, and that revisions change what their purpose says."""

from collections.abc import Callable

import numpy as np
import pytest

from app.calc.calibration.checksum import evaluate_all
from app.calc.calibration.decode import decode, undecodable
from app.calc.calibration.image import Image
from app.calc.calibration.layout import Layout
from app.readers.a2l.reader import read_a2l
from app.readers.layout_csv import read_layout_csv
from seed_data import catalogue, revisions
from seed_data.a2l_text import a2l
from seed_data.editing import Calibration
from seed_data.image_build import ImageMaker
from seed_data.images import maker_of
from seed_data.layout_text import layout_csv
from seed_data.software import Software
from seed_data.tables import Content, stock_content

DESCRIBED = (catalogue.astrel_engine, catalogue.lanner_engine, catalogue.warder_engine)
LISTED = (catalogue.hauler_engine, catalogue.sirrus_engine, catalogue.warder_transmission)

# What such quantities can be in a car, by unit; common practice, no source.
BELIEVABLE = {
    "N·m": (-150.0, 700.0),
    "hPa": (500.0, 3000.0),
    "°CA": (-20.0, 60.0),
    "1/min": (400.0, 8000.0),
    "%": (0.0, 250.0),
    "bar": (0.5, 2500.0),
    "°C": (-40.0, 1000.0),
    "kPa": (200.0, 2500.0),
    "km/h": (0.0, 330.0),
    "mg": (0.0, 900.0),
    "ms": (0.05, 500.0),
}


def layout_of(software: Software) -> Layout:
    if any(make() is software for make in DESCRIBED):
        return read_a2l(a2l(software, "TEST")).layout
    return read_layout_csv(layout_csv(software))


@pytest.mark.parametrize("make", [*DESCRIBED, *LISTED], ids=lambda make: make.__name__)
def test_a_description_finds_every_table_with_the_values_that_were_drawn(make: Callable[[], Software]) -> None:
    software = make()
    image, layout = Image.of([(software.base, ImageMaker(software).stock)]), layout_of(make())
    assert undecodable(image, layout) == ()
    decoded = decode(image, layout)
    assert set(decoded) == {table.name for table in software.tables}
    for table in software.tables:
        found = decoded[table.name]
        drawn = np.array(stock_content(table).cells).reshape(found.physical.shape)
        # Half a step of the cell's scale is what rounding costs.
        assert np.abs(found.physical - drawn).max() <= 0.5001 * table.scale.factor, table.name
        for axis, own in zip(found.axes, (table.x, table.y), strict=False):
            assert own is not None
            assert np.allclose(axis.values, own.points, atol=0.5001 * own.scale.factor)
            assert (np.diff(axis.values) > 0).all()


@pytest.mark.parametrize("make", [*DESCRIBED, *LISTED], ids=lambda make: make.__name__)
def test_physical_values_are_believable(make: Callable[[], Software]) -> None:
    for table in make().tables:
        low, high = BELIEVABLE.get(table.scale.unit, (-np.inf, np.inf))
        cells = np.array(stock_content(table).cells)
        assert low <= cells.min(), table.name
        assert cells.max() <= high, table.name


@pytest.mark.parametrize("make", LISTED, ids=lambda make: make.__name__)
def test_the_checksums_of_a_listed_software_hold(make: Callable[[], Software]) -> None:
    software = make()
    image = Image.of([(software.base, ImageMaker(software).stock)])
    results = evaluate_all(image, layout_of(software).checksums_in_image)
    assert [result.state for result in results] == ["holds"] * 3


def changed_tables(calibration: Calibration, parent: Calibration) -> set[str]:
    names = {table.name for table in calibration.software.tables}
    return {name for name in names if calibration.content(name) != parent.content(name)}


def test_each_revision_changes_the_tables_of_its_purpose() -> None:
    stock = Calibration(catalogue.astrel_engine())
    first, second, third = revisions.astrel_first(), revisions.astrel_second(), revisions.astrel_third()
    fourth, fifth = revisions.astrel_fourth(), revisions.astrel_fifth()
    assert "boost_target" in changed_tables(first, stock)
    assert len(changed_tables(first, stock)) == 9
    assert changed_tables(second, first) == {"ignition_base", "ignition_cool_fuel", "ignition_intake_correction"}
    assert changed_tables(third, first) == {"boost_target", "boost_wastegate", "boost_fault_threshold"}
    assert "limiter_engine_speed_hard" in changed_tables(fourth, second)
    assert changed_tables(fifth, fourth) == {"ignition_base", "fuel_lambda_full_load"}


def test_one_revision_moves_a_breakpoint_and_one_fills_a_cell_to_its_end() -> None:
    before, after = revisions.astrel_second(), revisions.astrel_fourth()
    assert before.content("boost_wastegate").y[-1] == 2.6
    assert after.content("boost_wastegate").y[-1] == 2.75
    table = catalogue.warder_engine().table("limiter_vehicle_speed")
    content: Content = revisions.warder_engine_first().content("limiter_vehicle_speed")
    assert table.scale.to_raw(content.cells[0][0]) == table.scale.raw_range[1]


def test_one_revision_changes_bytes_that_no_table_explains() -> None:
    software = catalogue.astrel_engine()
    maker = maker_of(software)
    second, fourth = revisions.astrel_second(), revisions.astrel_fourth()
    before = maker.image(second.contents, second.hidden_cells)
    after = maker.image(fourth.contents, fourth.hidden_cells)
    image = [Image.of([(software.base, raw)]) for raw in (before, after)]
    layout = layout_of(software)
    tables = [decode(one, layout) for one in image]
    named: set[int] = {block.stored_at + k for block in software.sums for k in range(4)}
    for found in tables[1].values():
        for axis in found.axes:
            assert axis.addresses is not None
            named |= {int(a) + k for a in axis.addresses.ravel() for k in range(axis.itemsize)}
        named |= {int(a) + k for a in found.addresses.ravel() for k in range(found.itemsize)}
    unexplained = [k for k, (a, b) in enumerate(zip(before, after, strict=True)) if a != b and k not in named]
    start = software.places["hidden 4"] + 2 * 41
    assert unexplained
    assert start <= unexplained[0]
    assert unexplained[-1] < start + 12
