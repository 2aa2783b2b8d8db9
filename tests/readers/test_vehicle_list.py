"""Lists of cars as other programs write them: what can be read is read, what cannot is refused line by line."""

import csv
import io

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from app.calc.csv_text import csv_text
from app.errors import BadInput
from app.readers.vehicle_list import COLUMNS, read_vehicle_list, vehicle_list_template

VIN = "UU9KLN3C60NB00451"


def one(text: str) -> dict[str, object]:
    (row,) = read_vehicle_list(text.encode()).rows
    assert row.refused == ""
    return dict(row.fields)


def test_columns_are_told_by_their_headings_in_any_order() -> None:
    assert one(f"Model;Licence plate;VIN;Make\nLanner;EB 18 LNR;{VIN};Tarkess\n") == {
        "model": "Lanner",
        "plate": "EB 18 LNR",
        "vin": VIN,
        "make": "Tarkess",
    }


@pytest.mark.parametrize(
    ("heading", "cell", "field", "value"),
    [
        # 1 hp = 0.745 699 872 kW (550 ft·lbf/s), 1 PS = 0.735 498 75 kW, 1 lbf·ft = 1.355 817 948 N·m, 1 lb =
        # 0.453 592 37 kg: NIST Special Publication 811, appendix B.8.
        ("rated power hp", "300", "rated_power_kw", 223.7099615),
        ("Rated power (PS)", "231", "rated_power_kw", 169.90021),
        ("rated_torque_lbf_ft", "258,5", "rated_torque_nm", 350.47894),
        ("test mass lb", "3300", "test_mass_kg", 1496.854821),
    ],
)
def test_figures_come_in_the_unit_of_their_heading(heading: str, cell: str, field: str, value: float) -> None:
    found = one(f"vin;make;model;{heading}\n{VIN};Tarkess;Lanner;{cell}\n")
    assert found[field] == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "field", "value"),
    [
        ("boosted\nyes", "boosted", True),
        ("loses coding\n0", "loses_coding", False),
        ("driven_axles\nAWD", "driven_axles", "all"),
        ("fuel\nGasoline", "fuel", "petrol"),
        ("gear ratios\n3.6 2.1 1.4", "gear_ratios", (3.6, 2.1, 1.4)),
        ("Model Year\n2019", "year", 2019),
    ],
)
def test_words_of_the_trade_are_understood(text: str, field: str, value: object) -> None:
    heading, cell = text.split("\n")
    assert one(f"vin\tmake\tmodel\t{heading}\n{VIN}\tTarkess\tLanner\t{cell}\n")[field] == value


@pytest.mark.parametrize(
    ("heading", "cell", "sentence"),
    [
        ("test_mass_kg", "1,480", "can be read in two ways"),
        ("test_mass_kg", "heavy", "is no number"),
        ("year", "2019.5", "no whole number"),
        ("fuel", "steam", "not known here"),
        ("boosted", "maybe", "not known here"),
        ("test_mass_kg", "1e999", "is no number"),
        ("test_mass_kg", "١٤٨٠", "is no number"),
    ],
)
def test_a_cell_that_cannot_be_used_refuses_its_own_line_only(heading: str, cell: str, sentence: str) -> None:
    good = "1M8GDM9AXKP042788;Corvane;Astrel;\n"
    rows = read_vehicle_list(f"vin;make;model;{heading}\n{VIN};Tarkess;Lanner;{cell}\n{good}".encode()).rows
    assert sentence in rows[0].refused
    assert (rows[0].line, rows[0].vin) == (2, VIN)
    assert (rows[1].line, rows[1].refused) == (3, "")


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "is empty"),
        (b"\xef\xbb\xbf\n# nothing\n", "is empty"),
        (b"vin,make,model\n", "no cars"),
        (b"vin,make\nx,y\n", "needs a column headed .model"),
        (b"vin,make,model,plate,registration\n", "Two columns say"),
        (b'vin,make,model\nA,"B"x,C\n', "is damaged here"),
        (b"PK\x03\x04\x00\x00", "not a text file"),
    ],
)
def test_a_file_that_is_no_list_is_refused_with_what_to_do(data: bytes, sentence: str) -> None:
    with pytest.raises(BadInput, match=sentence):
        read_vehicle_list(data)


def test_a_line_number_is_that_of_the_file() -> None:
    text = f'sep=;\n# from the old program\n\nvin;make;model;engine\n{VIN};T;L;"two\nlines"\n\nX;Y;Z;\n'
    assert [(row.line, row.vin) for row in read_vehicle_list(text.encode()).rows] == [(5, VIN), (8, "X")]


def test_too_many_cells_refuse_the_line() -> None:
    (row,) = read_vehicle_list(f"vin,make,model\n{VIN},Tarkess,Lanner 3,6\n".encode()).rows
    assert "4 cells under 3 headings" in row.refused


def test_headings_that_no_field_belongs_to_are_named() -> None:
    assert read_vehicle_list(f"vin,make,model,Colour,\n{VIN},T,L,red,\n".encode()).unused == ("Colour",)


def test_the_template_is_taken_once_its_example_is_no_comment() -> None:
    filled = vehicle_list_template().replace(b"\r\n# ", b"\r\n")
    (row,) = read_vehicle_list(filled).rows
    assert row.refused == ""
    assert set(row.fields) == set(COLUMNS)
    assert row.fields["gear_ratios"] == (3.6, 2.1, 1.4, 1.0, 0.8)


texts = st.text(st.characters(codec="utf-8", exclude_categories=["Cc"]), max_size=20).map(str.strip)


@given(st.lists(st.tuples(texts, texts, texts), min_size=1, max_size=5), st.sampled_from([",", ";", "\t"]))
@example([("=1+1", "@x", "'-")], ",")
def test_what_leaves_as_csv_comes_back_letter_by_letter(cars: list[tuple[str, str, str]], separator: str) -> None:
    rows = [(VIN, make, model, engine) for make, model, engine in cars]
    text = csv_text(("vin", "make", "model", "engine"), rows)
    if separator != ",":
        out = io.StringIO()
        csv.writer(out, delimiter=separator).writerows(csv.reader(io.StringIO(text, newline="")))
        text = out.getvalue()
    found = read_vehicle_list(text.encode("utf-8-sig")).rows
    assert [tuple(row.fields.get(name, "") for name in ("make", "model", "engine")) for row in found] == cars


@settings(max_examples=300)
@given(st.one_of(st.binary(max_size=300), st.text(max_size=300).map(lambda t: ("vin,make,model\n" + t).encode())))
def test_whatever_the_bytes_the_reader_answers_or_refuses(data: bytes) -> None:
    try:
        found = read_vehicle_list(data)
    except BadInput:
        return
    assert found.rows
    assert all(row.refused or row.fields for row in found.rows)
