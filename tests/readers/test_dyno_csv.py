"""The shop can rely on it that a dyno's file means the same here as it meant on the dyno, whoever wrote it."""

import contextlib
import io
import math
import random
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.calc.units import convert
from app.errors import BadInput, TooLarge
from app.readers.dyno_columns import ColumnChoice, ColumnProfile, recognise_columns
from app.readers.dyno_csv import read_dyno_csv

GOLDEN = Path(__file__).parents[1] / "golden" / "dyno"

# The sweep that every golden file holds, by definition of power and not by the reader.
SPEED = 1800.0 + 200.0 * np.arange(25)
TORQUE = 310.0 - ((SPEED - 4000.0) / 420.0) ** 2
POWER = TORQUE * SPEED * math.pi / 30000.0


def _golden(name: str) -> bytes:
    return (GOLDEN / name).read_bytes()


@pytest.mark.parametrize(
    "name",
    [
        "german_units_row.csv",
        "english_imperial.csv",
        "french_tab_utf16.txt",
        "metric_power_headed_hp.csv",
        "no_units.csv",
    ],
)
def test_files_of_five_dialects_hold_the_same_pull(name: str) -> None:
    channels = read_dyno_csv(_golden(name)).channels
    assert np.allclose(channels["engine_speed_rpm"], SPEED)
    assert np.allclose(channels["torque_nm"], TORQUE, atol=0.006)
    assert np.allclose(channels["power_kw"], POWER, atol=0.006)


def test_remarks_above_the_table_are_kept() -> None:
    found = read_dyno_csv(_golden("german_units_row.csv"))
    assert "Luftdruck;1003,2 hPa" in found.preamble
    assert (found.delimiter, found.decimal, found.encoding) == (";", ",", "cp1252")
    assert found.channels["lambda_"] == pytest.approx(0.88)


def test_a_gauge_pressure_in_psi_arrives_in_hpa() -> None:
    assert read_dyno_csv(_golden("english_imperial.csv")).channels["boost_hpa"] == pytest.approx(979.06, abs=0.01)


def test_several_pulls_in_one_file_are_told_apart() -> None:
    beside = read_dyno_csv(_golden("side_by_side.csv")).pulls
    assert [pull.label for pull in beside] == ["Run 1", "Run 2", "Run 3"]
    assert np.allclose(beside[2].channels["torque_nm"], TORQUE + 2.0, atol=0.006)
    assert np.allclose(beside[2].channels["engine_speed_rpm"], SPEED + 6.0)
    stacked = read_dyno_csv(_golden("stacked_by_run.csv")).pulls
    assert [pull.label for pull in stacked] == ["pull 1", "pull 2", "pull 3"]
    assert np.allclose(stacked[1].channels["power_kw"], POWER + 2.0, atol=0.001)
    assert stacked[1].derived == ("torque_nm",)
    repeated = read_dyno_csv(_golden("repeated_header.txt")).pulls
    assert [pull.label for pull in repeated] == ["first", "second"]
    assert np.allclose(repeated[1].channels["torque_nm"], TORQUE + 2.0, atol=0.006)


def test_a_typing_slip_is_pointed_out_with_its_line_and_what_was_meant() -> None:
    (slip,) = read_dyno_csv(_golden("typing_slip.csv")).slips
    assert slip.line == 12
    assert slip.slip.value == 410.0
    assert slip.slip.instead == 310.0


def test_a_damaged_line_is_named_and_left_out() -> None:
    found = read_dyno_csv(_golden("damaged_line.csv"))
    assert found.pulls[0].lines.size == 24
    assert any("Line 9 " in note for note in found.notes)


def test_metric_power_headed_hp_is_said_aloud() -> None:
    found = read_dyno_csv(_golden("metric_power_headed_hp.csv"))
    assert any("only PS fits" in note for note in found.notes)
    assert next(c for c in found.columns if c.quantity == "power_kw").confidence == "deduced"


def test_mechanical_power_headed_hp_stays_what_it_is() -> None:
    found = read_dyno_csv(_golden("english_imperial.csv"))
    assert next(c for c in found.columns if c.quantity == "power_kw").unit == "hp"
    assert not found.notes


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("binary.csv", "line 1"),
        ("empty.csv", None),
        ("no_names.csv", "line 1"),
        ("only_words.csv", None),
        ("two_rows.csv", None),
        ("open_quote.csv", "line 2"),
    ],
)
def test_files_that_hold_no_pull_are_refused_in_a_sentence(name: str, line: str | None) -> None:
    with pytest.raises(BadInput) as caught:
        read_dyno_csv(_golden(name))
    assert caught.value.where == line
    assert caught.value.sentence.endswith((".", "?"))


def test_a_person_can_say_what_the_columns_are() -> None:
    profile = ColumnProfile(
        {"column 1": ColumnChoice("engine_speed_rpm", "rpm"), "column 2": ColumnChoice("torque_nm", "N·m")}
    )
    found = read_dyno_csv(_golden("no_names.csv"), profile=profile)
    assert np.allclose(found.channels["torque_nm"], TORQUE, atol=0.006)
    assert {c.confidence for c in found.columns} == {"chosen"}


def test_the_profile_of_a_file_reads_the_next_one_alike() -> None:
    first = read_dyno_csv(_golden("no_units.csv"))
    kept = ColumnProfile.from_json(first.profile.to_json())
    again = read_dyno_csv(_golden("no_units.csv"), profile=kept)
    assert np.array_equal(again.channels["power_kw"], first.channels["power_kw"])


def test_a_column_can_be_left_out() -> None:
    profile = ColumnProfile({"Boost (psi)": ColumnChoice("ignore")})
    assert "boost_hpa" not in read_dyno_csv(_golden("english_imperial.csv"), profile=profile).channels


@pytest.mark.parametrize("choice", [ColumnChoice("colour"), ColumnChoice("power_kw", "N·m")])
def test_a_profile_that_makes_no_sense_is_refused(choice: ColumnChoice) -> None:
    with pytest.raises(BadInput):
        ColumnProfile({"x": choice})


def test_power_and_torque_from_different_places_are_said_once() -> None:
    rows = "\n".join(f"{n},{t:.2f},{p * 1.08:.2f}" for n, t, p in zip(SPEED, TORQUE, POWER, strict=True))
    found = read_dyno_csv(f"rpm,Torque [Nm],Power [kW]\n{rows}".encode())
    assert not found.slips
    assert any("+8.0 % off" in note for note in found.notes)


def test_one_row_that_breaks_power_against_torque_is_named() -> None:
    power = POWER.copy()
    power[12] += 40.0
    rows = "\n".join(f"{n},{t:.2f},{p:.2f}" for n, t, p in zip(SPEED, TORQUE, power, strict=True))
    (slip,) = read_dyno_csv(f"rpm,Torque [Nm],Power [kW]\n{rows}".encode()).slips
    assert (slip.line, slip.slip.quantity) == (14, "power_kw")
    assert slip.slip.expected == pytest.approx(POWER[12], abs=0.5)


def test_of_corrected_and_uncorrected_power_the_uncorrected_is_taken() -> None:
    rows = "\n".join(f"{n},{p * 1.03:.3f},{p:.3f}" for n, p in zip(SPEED, POWER, strict=True))
    found = read_dyno_csv(f"rpm,Corrected wheel power [kW],Uncorrected wheel power [kW]\n{rows}".encode())
    assert np.allclose(found.channels["power_kw"], POWER, atol=0.001)
    assert any("Corrected wheel power" in note for note in found.notes)


# Header words as written in trade papers of these languages; common practice, no source.
WORDS = [
    ("Engine speed", "Power", "Torque"),
    ("Drehzahl", "Leistung", "Drehmoment"),
    ("Régime moteur", "Puissance", "Couple"),
    ("Régimen", "Potencia", "Par motor"),
    ("Giri motore", "Potenza", "Coppia"),
    ("Varvtal", "Effekt", "Vridmoment"),
    ("Toerental", "Vermogen", "Koppel"),
    ("Obroty", "Moc", "Moment obrotowy"),
    ("Обороты", "Мощность", "Крутящий момент"),
]
POWER_UNITS = {"kW": "kW", "hp": "hp", "PS": "PS", "ch": "PS", "CV": "PS"}
TORQUE_UNITS = {"Nm": "N·m", "lb-ft": "lbf·ft", "ft·lbf": "lbf·ft", "kgm": "kgf·m"}


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_any_dialect_gives_the_same_numbers(data: st.DataObject) -> None:
    draw = data.draw
    delimiter = draw(st.sampled_from([";", ",", "\t", "|"]))
    decimal = draw(st.sampled_from([".", ","])) if delimiter != "," else "."
    names = draw(st.sampled_from(WORDS))
    power_unit, torque_unit = draw(st.sampled_from(sorted(POWER_UNITS))), draw(st.sampled_from(sorted(TORQUE_UNITS)))
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16"] + ([] if names[0] == "Обороты" else ["cp1252"])))
    names = tuple(n.replace("λ", "") for n in names)
    torque = TORQUE + draw(st.floats(-100.0, 400.0))
    power = torque * SPEED * math.pi / 30000.0
    shown = [
        SPEED,
        convert(power, "kW", POWER_UNITS[power_unit]),
        convert(torque, "N·m", TORQUE_UNITS[torque_unit]),
    ]
    order = draw(st.permutations(range(3)))
    units = ["1/min", power_unit, torque_unit]
    text = io.StringIO()
    for line in draw(st.lists(st.sampled_from(["Remark", "Operator: A. Example", "Date: 2026-03-04", ""]), max_size=4)):
        text.write(line + "\r\n")
    if draw(st.booleans()):
        text.write(delimiter.join(names[i] for i in order) + "\r\n" + delimiter.join(units[i] for i in order) + "\r\n")
    else:
        text.write(delimiter.join(f"{names[i]} [{units[i]}]" for i in order) + "\r\n")
    for row in range(SPEED.size):
        text.write(delimiter.join(f"{shown[i][row]:.4f}".replace(".", decimal) for i in order) + "\r\n")
    found = read_dyno_csv(text.getvalue().encode(encoding))
    assert len(found.pulls) == 1
    assert np.allclose(found.channels["engine_speed_rpm"], SPEED)
    assert np.allclose(found.channels["torque_nm"], torque, atol=0.002)
    assert np.allclose(found.channels["power_kw"], power, atol=0.001)


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=400))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    with contextlib.suppress(BadInput):
        assert read_dyno_csv(data).pulls


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(sorted(path.name for path in GOLDEN.iterdir())), st.data())
def test_damaged_files_are_read_or_refused(name: str, data: st.DataObject) -> None:
    content = bytearray(_golden(name))
    for _ in range(data.draw(st.integers(1, 6))):
        if content:
            place = data.draw(st.integers(0, len(content) - 1))
            content[place] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(0, len(content)))
    try:
        found = read_dyno_csv(bytes(content[:cut]))
    except BadInput:
        return
    for pull in found.pulls:
        assert len({values.size for values in pull.channels.values()}) == 1


def _mutated(draw: random.Random, content: bytes) -> bytes:
    damaged = bytearray(content)
    for _ in range(draw.randint(1, 8)):
        if not damaged:
            break
        place = draw.randrange(len(damaged))
        kind = draw.randrange(4)
        if kind == 0:
            damaged[place] = draw.randrange(256)
        elif kind == 1:
            del damaged[place : place + draw.randint(1, 40)]
        elif kind == 2:
            damaged[place:place] = damaged[place : place + draw.randint(1, 40)]
        else:
            damaged[place:place] = draw.choice(
                [b";", b",", b'"', b"\t", b"\r\n", b"1e999", b"-", b"nan", b"\x00", b"\xff"]
            )
    return bytes(damaged)


@pytest.mark.release
def test_a_hundred_thousand_damaged_files_are_read_or_refused() -> None:
    draw = random.Random(1)
    contents = [path.read_bytes() for path in sorted(GOLDEN.iterdir())]
    slowest = 0.0
    for _ in range(100_000):
        begin = time.thread_time()
        with contextlib.suppress(BadInput):
            assert read_dyno_csv(_mutated(draw, draw.choice(contents))).pulls
        slowest = max(slowest, time.thread_time() - begin)
    assert slowest < 1.0


def test_sizes_that_no_pull_has_are_refused_quickly() -> None:
    with pytest.raises(TooLarge):
        read_dyno_csv(b"1," * 3000 + b"\n")
    with pytest.raises(TooLarge):
        read_dyno_csv(b" " * (16 * 2**20 + 1))
    with pytest.raises(TooLarge):
        read_dyno_csv(b"1;2\n" * 600_000)
    with pytest.raises(BadInput):
        read_dyno_csv(b";" * 4_000_000)
    many = "rpm;" + "Nm;" * 300 + "\n" + ("2000;" + "100;" * 300 + "\n") * 5
    with pytest.raises(TooLarge):
        read_dyno_csv(many.encode())


@pytest.mark.parametrize(
    ("header", "quantity", "unit"),
    [
        ("WHP", "power_kw", "hp"),
        ("Öltemperatur °C", "oil_temperature_c", "°C"),
        ("EngineRPM", "engine_speed_rpm", "rpm"),
        ("Verlustleistung [kW]", "loss_power_kw", "kW"),
        ("MAP (kPa)", "manifold_pressure_hpa", "kPa"),
        ("Speed mph", "vehicle_speed_kmh", "mph"),
        ("Roller speed (rpm)", "roller_speed_rpm", "rpm"),
        ("Temperatura aria [°C]", "air_temperature_c", "°C"),
        ("Moc [KM]", "power_kw", "PS"),
        ("Engine load [%]", "load_percent", "%"),
        ("Calculated load value (%)", "load_percent", "%"),
        ("Motorlast [%]", "load_percent", "%"),
        ("Charge moteur (%)", "load_percent", "%"),
        ("Carga del motor (%)", "load_percent", "%"),
        ("Carico motore [%]", "load_percent", "%"),
        ("Motorbelastning %", "load_percent", "%"),
        ("Obciążenie silnika [%]", "load_percent", "%"),
        ("Нагрузка двигателя [%]", "load_percent", "%"),
        ("Load", "load_percent", "%"),
        ("Accélérateur [%]", "throttle_percent", "%"),
        ("State of charge [%]", "state_of_charge_percent", "%"),
        ("Roller load [%]", None, None),
        ("Load cell [N]", None, None),
        ("Load [g/rev]", None, None),
        ("Boost target kPa", None, None),
        ("Torque limit [Nm]", None, None),
        ("Colour", None, None),
    ],
)
def test_single_headers(header: str, quantity: str | None, unit: str | None) -> None:
    (column,) = recognise_columns([header], [""], [""], None)
    assert (column.quantity, column.unit) == (quantity, unit)
