"""The shop can rely on it that a table of edits is read as it stands there, or refused with the line at fault."""

import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.errors import BadInput
from app.readers.delta_csv import read_delta_csv

MAP = """map,x,y,before,after,unit,category,x axis,x unit,y axis,y unit
spark advance,2000,60,16.5,18.0,deg,ignition,engine speed,1/min,load,%
spark advance,3000,60,24.0,25.5,deg,,,,,
spark advance,2000,100,18.0,19.5,deg,,,,,
rev limit,,,6500,6800,1/min,limiter,,,,
"""


def test_cells_of_a_map_are_put_together_on_their_breakpoints() -> None:
    spark, limit = read_delta_csv(MAP.encode())
    assert (spark.name, spark.kind, spark.category, spark.unit, spark.decimals) == (
        "spark advance",
        "map",
        "ignition",
        "deg",
        1,
    )
    assert [(a.name, a.unit, a.values.tolist(), a.decimals) for a in spark.axes_after] == [
        ("engine speed", "1/min", [2000, 3000], 0),
        ("load", "%", [60, 100], 0),
    ]
    assert np.array_equal(spark.before, [[16.5, 24.0], [18.0, np.nan]], equal_nan=True)
    assert np.array_equal(spark.after, [[18.0, 25.5], [19.5, np.nan]], equal_nan=True)
    assert (spark.summary.changed, spark.summary.mean) == (3, 1.5)
    assert (limit.kind, limit.category, float(limit.before), float(limit.after)) == ("value", "limiter", 6500, 6800)


@pytest.mark.parametrize(
    ("line", "change", "unit"),
    [
        ("spark,+2,deg", 2.0, "deg"),
        ("spark,-0.75,deg", -0.75, "deg"),
        ("spark,+5 %,deg", 5.0, "%"),
        ("spark,5%,", 5.0, "%"),
    ],
)
def test_every_cell_by_so_much(line: str, change: float, unit: str) -> None:
    (delta,) = read_delta_csv(f"map,change,unit\n{line}\n".encode())
    assert delta.grid is not None
    assert (float(delta.grid.change), delta.unit, delta.summary.compared) == (change, unit, "as entered")
    assert np.isnan(delta.before)


def test_before_and_a_change_give_the_value_after() -> None:
    (delta,) = read_delta_csv(b"map,x,before,change,unit\ntorque,1000,200,+10,N.m\ntorque,2000,300,+5 %,N.m\n")
    assert delta.after.tolist() == [210.0, 315.0]
    assert delta.unit == "N.m"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("separator", [";", "\t", ","])
def test_spreadsheet_habits_do_not_matter(separator: str, encoding: str) -> None:
    comma = separator != ","
    text = "Map;X;Before;After;Unit\nZündung;1000;10,5;12,25;°\n# a remark;;;;\n;;;;\n"
    text = text.replace(";", separator) if comma else text.replace(",", ".").replace(";", ",")
    (delta,) = read_delta_csv(text.encode(encoding))
    assert (delta.name, delta.before.tolist(), delta.after.tolist(), delta.unit) == ("Zündung", [10.5], [12.25], "°")


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("", None),
        ("map,before,after\n", "line 2"),
        ("name,before,after\nm,1,2\n", "line 1"),
        ("map,map\nm,1\n", "line 1"),
        ("x,before,after\n1,1,2\n", "line 1"),
        ("map,before,after\n,1,2\n", 'line 2, column "map"'),
        ("map,before,after\nm,one,2\n", 'line 2, column "before"'),
        ("map,before,after\nm,1,\n", 'line 2, column "after"'),
        ("map,before,after\nm,,\n", 'line 2, column "before"'),
        ("map,before,after,change\nm,1,2,1\n", 'line 2, column "change"'),
        ("map,x,before,after\nm,1,1,2\nm,1,1,3\n", 'line 3, column "x"'),
        ("map,x,before,after\nm,1,1,2\nm,,1,3\n", 'line 3, column "x"'),
        ("map,y,before,after\nm,1,1,2\n", 'line 2, column "x"'),
        ("map,x,before,after,change\nm,1,1,2,\nm,2,,,1\n", 'line 3, column "change"'),
        ("map,x,before,after,unit\nm,1,1,2,deg\nm,2,1,2,rad\n", 'line 3, column "unit"'),
        ("map,before,after,category\nm,1,2,engine\n", 'line 2, column "category"'),
        ("map,before,after\nm,1,2,3\n", "line 2"),
        ('map,before,after\n"m,1,2\n', "line 2"),
    ],
)
def test_what_cannot_be_used_is_refused_by_line_and_column(text: str, where: str | None) -> None:
    with pytest.raises(BadInput) as refusal:
        read_delta_csv(text.encode())
    assert refusal.value.where == where


def test_lines_that_span_too_many_cells_are_refused() -> None:
    lines = "".join(f"m,{k},{k},1,2\n" for k in range(1000))
    with pytest.raises(BadInput, match="1000000 cells"):
        read_delta_csv(f"map,x,y,before,after\n{lines}".encode())


@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda t: t.encode()))
@settings(max_examples=200)
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    try:
        read_delta_csv(data)
    except BadInput as refusal:
        assert refusal.sentence


def mutated(count: int) -> None:
    rng = random.Random(3)
    read = 0
    for _ in range(count):
        data = bytearray(MAP.encode())
        for _ in range(rng.randrange(1, 4)):
            at = rng.randrange(len(data))
            data[at : at + rng.randrange(3)] = rng.choice([b"", b",", b"\n", b'"', b"9", b";", b"\xff", b"-", b"e9"])
        try:
            read += bool(read_delta_csv(bytes(data)))
        except BadInput:
            continue
    assert 0 < read < count


def test_damaged_tables_are_read_or_refused() -> None:
    mutated(2_000)


@pytest.mark.release
def test_damaged_tables_are_read_or_refused_at_length() -> None:
    mutated(100_000)
