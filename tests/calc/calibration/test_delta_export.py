"""The shop can rely on it that an exported table says what the comparison says, and runs nothing in a spreadsheet."""

import csv
import io
import json
from dataclasses import replace

from app.calc.calibration.delta import compare
from app.calc.calibration.delta_export import HEADER, comparison_csv, comparison_json
from app.calc.calibration.delta_json import comparison_from_json
from app.calc.calibration.layout import Layout
from app.calc.calibration.manual_delta import comparison_by_hand, manual_delta
from tests.calc.calibration.pairs import ENGINE, LABEL, SPEED_LIMIT, engine, same_delta


def rows(text: str) -> list[dict[str, str]]:
    table = list(csv.reader(io.StringIO(text)))
    assert tuple(table[0]) == HEADER
    return [{k: v for k, v in zip(table[0], row, strict=True) if v} for row in table[1:]]


def test_every_changed_cell_is_a_line_with_its_place() -> None:
    spark = ((10, 20, 30, 40), (12, 24, 32, 42), (14, 24, 34, 44))
    after = engine(spark=spark, limit=200, label=b"TUNED", others=((0x81A0, b"\x07"),))
    found = rows(comparison_csv(compare(engine(), after, ENGINE)))
    assert found[0] == {
        "what": "cell",
        "name": "spark advance",
        "category": "ignition",
        "unit": "deg",
        "x": "2000.0",
        "x unit": "1/min",
        "y": "30.0",
        "y unit": "%",
        "before": "16.5",
        "after": "18.0",
        "change": "1.5",
        "percent": "9.09090909091",
    }
    assert found[1]["name"] == "speed limit" and found[1]["percent"] == "-20.0" and "x" not in found[1]
    assert found[2] == {"what": "text", "name": "label", "category": "other", "before": "STOCK", "after": "TUNED"}
    assert found[3] == {"what": "unexplained", "address": "0x81A0", "bytes before": "00", "bytes after": "07"}
    assert found[4] == {"what": "checksum", "name": "block sum", "note": "does not hold"}
    assert len(found) == 5


def test_moved_breakpoints_and_points_that_one_map_lacks_are_told() -> None:
    found = rows(comparison_csv(compare(engine(), engine(speed=(1000, 2000, 3000, 5000)), ENGINE)))
    torque = [row for row in found if row.get("name") == "torque limit"]
    assert torque[0]["what"] == "breakpoint"
    assert (torque[0]["before"], torque[0]["after"], torque[0]["note"]) == (
        "4000.0",
        "5000.0",
        "breakpoint 4 of engine speed",
    )
    assert [(r["x"], r["change"]) for r in torque[1:]] == [("4000.0", "25.0"), ("5000.0", "0.0")]
    assert torque[2]["note"] == "only one of the two maps covers this point"


def test_no_cell_is_taken_for_a_formula() -> None:
    risky = replace(SPEED_LIMIT, name='=HYPERLINK("x")'), replace(LABEL, name="@label")
    text = comparison_csv(compare(engine(label=b"-1+1"), engine(label=b"=cmd|x", limit=3), Layout("l", maps=risky)))
    for line in csv.reader(io.StringIO(text)):
        for cell in line:
            assert not cell.startswith(("=", "@", "+")) and (not cell.startswith("-") or float(cell) < 0)
    assert "'=cmd|x" in text


def test_cells_without_axes_are_counted_and_unknown_numbers_left_empty() -> None:
    found = rows(comparison_csv(comparison_by_hand([manual_delta("m", change=[0.0, 2.0], unit="deg")])))
    assert found == [
        {"what": "cell", "name": "m", "category": "other", "unit": "deg", "x": "2", "x unit": "cell", "change": "2.0"}
    ]


def test_the_json_file_is_the_comparison() -> None:
    found = compare(engine(), engine(limit=200), ENGINE)
    back = comparison_from_json(json.loads(comparison_json(found)))
    assert back.sentence == found.sentence
    assert same_delta(back.deltas[0], found.deltas[0])
