"""What a change did is told with its uncertainty, in the reader's units, and never across what cannot be compared."""

import csv
import io
import json
import re

import numpy as np
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, text

from app.actions.decide_run import decide_run
from app.record import dyno, people
from app.record.engine import transaction
from tests.browser import Browser
from tests.dyno_car import SPEEDS, MeasuredCar, car_on_record, session_of, torque_nm


@pytest.fixture
def shop(app: FastAPI, sqlite_engine: Engine) -> MeasuredCar:
    return MeasuredCar(sqlite_engine)


def chart_of(body: str) -> dict[str, object]:
    block = re.search(r'<pre id="gain-chart-data" hidden>(.*?)</pre>', body, re.S)
    assert block is not None
    found: dict[str, object] = json.loads(block[1].replace("&#34;", '"'))
    return found


def test_the_sentence_comes_first_and_the_gain_is_found_within_its_band(tuner: Browser, shop: MeasuredCar) -> None:
    body = tuner.get(f"/gains?from={shop.before}&to={shop.after}&at_rpm=5000").text
    heading = re.search(r"<h1>(.*?)</h1>", body)
    assert heading is not None
    assert heading[1].startswith("More power over")
    row = re.search(r"5,000\u202frpm.*?<td[^>]*>(.*?)</td>\s*<td[^>]*>(.*?)</td>\s*<td[^>]*>(.*?)<", body, re.S)
    assert row is not None
    gain, half = re.findall(r"[\d.]+", row[3])[:2]
    # The pulls were drawn with 30 N·m more at 5,000 1/min: P = T·ω = 30 · 5000 · π/30 W = 15.708 kW.
    assert abs(float(gain) - 15.708) < float(half)
    assert 0 < float(half) < 15


def test_the_chart_holds_every_pull_thin_and_the_gain_with_its_band(tuner: Browser, shop: MeasuredCar) -> None:
    chart = chart_of(tuner.get(f"/gains?from={shop.before}&to={shop.after}").text)
    series = chart["series"]
    assert isinstance(series, list)
    assert [one.get("role") for one in series] == ["pull"] * 6 + ["before", "after"]
    below = chart["gain"]["series"][0]  # type: ignore[index]  # JSON
    assert all(low < y < high for low, y, high in zip(below["low"], below["y"], below["high"], strict=True))
    assert all(len(one["x"]) == len(one["y"]) <= 2000 for one in series)


def test_the_mean_of_the_exported_curves_is_that_of_the_pulls_drawn(tuner: Browser, shop: MeasuredCar) -> None:
    answer = tuner.get(f"/gains/curves.csv?from={shop.before}&to={shop.after}")
    assert answer.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    speed = np.array([float(row["engine_speed_rpm"]) for row in rows])
    before = np.array([float(row["before_torque_nm"]) for row in rows])
    # The mean of three pulls drawn with 0.4 % of level and 0.2 % of shape scatter lies within 1.5 % of their torque.
    assert np.abs(before / np.interp(speed, SPEEDS, torque_nm()) - 1).max() < 0.015
    pulls = [float(rows[10][f"before_pull_{k}_torque_nm"]) for k in (1, 2, 3)]
    assert np.mean(pulls) == pytest.approx(float(rows[10]["before_torque_nm"]), rel=1e-5)
    assert all(float(row["half_width_power_kw"]) > 0 for row in rows)


def test_under_torque_the_gain_in_figures_is_that_at_the_torque_peak(tuner: Browser, shop: MeasuredCar) -> None:
    address = f"/gains?from={shop.before}&to={shop.after}"
    assert "Gain at the power peak, " in tuner.get(address).text
    body = tuner.get(address + "&quantity=torque").text
    assert "at the power peak" not in body
    said = re.search(r"Gain at the torque peak, ([\d,]+)\u202frpm", body)
    assert said is not None
    # The torque is drawn highest between 3,500 rpm, where its gain is whole, and 5,500 rpm.
    assert 3500 <= int(said[1].replace(",", "")) <= 5500


def test_figures_are_in_the_readers_units(tuner: Browser, shop: MeasuredCar, sqlite_engine: Engine) -> None:
    address = f"/gains?from={shop.before}&to={shop.after}"
    metric = chart_of(tuner.get(address).text)
    with transaction(sqlite_engine) as session:
        units = '{"units": {"power": "hp", "torque": "lbf·ft", "pressure": "inHg", "temperature": "°F"}}'
        session.execute(text("update person set preferences = :p where name = 'tuner'"), {"p": units})
    answer = tuner.get(address).text
    imperial = chart_of(answer)
    assert imperial["y"]["unit"] == "hp"  # type: ignore[index]  # JSON
    # 1 hp = 550 ft·lbf/s = 0.745699872 kW (NIST SP 811, appendix B).
    ratio = metric["series"][6]["y"][50] / imperial["series"][6]["y"][50]  # type: ignore[index]  # JSON
    assert ratio == pytest.approx(0.745699872, rel=1e-4)
    assert "\u202fhp at" in answer
    assert "66.2\u202f°F" in answer  # 19 °C
    assert "29.65\u202finHg" in answer  # 1004 hPa
    torque = chart_of(tuner.get(address + "&quantity=torque").text)
    assert torque["gain"]["unit"] == "lbf·ft"  # type: ignore[index]  # JSON


def test_other_standards_are_never_compared_as_they_stand_and_both_can_be_converted(
    tuner: Browser, shop: MeasuredCar
) -> None:
    corrected = shop.further(2.5, gain=30.0, correction_standard="sae_j1349")
    address = f"/gains?from={shop.before}&to={corrected}"
    body = tuner.get(address).text
    assert "These sessions give no gain as they stand" in body
    assert "gain-chart" not in body
    for standard in ("none", "sae_j1349", "iso_1585"):
        assert f"{address.replace('&', '&amp;')}&amp;standard={standard}" in body
    converted = tuner.get(address + "&standard=sae_j1349").text
    assert "computed again from the raw pulls" in converted
    raw = chart_of(tuner.get(address + "&standard=none").text)
    by_sae = chart_of(converted)
    # SAE J1349 JUN90 at 1004 hPa, 19 °C, 45 %: pv = 0.45·21.98 hPa, pd = 994.1 hPa,
    # 1.18·(990/994.1)·√(292/298) − 0.18 = 0.9832.
    ratio = by_sae["series"][0]["y"][40] / raw["series"][0]["y"][40]  # type: ignore[index]  # JSON
    assert ratio == pytest.approx(0.9832, abs=5e-4)


def test_another_dyno_or_gear_gives_no_gain(tuner: Browser, shop: MeasuredCar) -> None:
    other_gear = shop.further(2.5, gain=30.0, gear="5")
    body = tuner.get(f"/gains?from={shop.before}&to={other_gear}").text
    assert "They were measured in different gears." in body
    assert "gain-chart" not in body
    assert tuner.get(f"/gains/curves.csv?from={shop.before}&to={other_gear}").status_code == 409


def test_differences_of_conditions_are_listed_one_by_one(tuner: Browser, shop: MeasuredCar) -> None:
    warm = shop.further(2.5, gain=30.0, temperature_c=34.0, fuel="95 RON", tyre_pressure_bar=None)
    body = tuner.get(f"/gains?from={shop.before}&to={warm}").text
    assert "Comparable with care" in body
    for name, verdict in (("Fuel", "differs"), ("Ambient temperature", "differs"), ("Tyre pressure", "not recorded")):
        assert re.search(rf'<th scope="row">{name}</th>.*?<span>{verdict}</span>', body, re.S), name


def test_an_excluded_pull_is_named_with_its_reason_and_not_counted(tuner: Browser, shop: MeasuredCar) -> None:
    with transaction(shop.engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        run = dyno.runs_of(session, [shop.after])[shop.after][1].run
        decide_run(session, person=person, at=run.at, run_id=run.id, included=False, reason="Strap slipped")
    body = tuner.get(f"/gains?from={shop.before}&to={shop.after}").text
    assert "Pull 2 left out: Strap slipped" in body
    names = [one["name"] for one in chart_of(body)["series"] if one.get("role") == "pull"]  # type: ignore[attr-defined]
    assert len(names) == 5
    assert sum(name.endswith("pull 2") for name in names) == 1


def test_earlier_sessions_on_the_dyno_narrow_the_band_and_later_ones_do_not_change_it(
    tuner: Browser, shop: MeasuredCar
) -> None:
    before, after = shop.further(0.2, level=0.0), shop.further(0.3, gain=30.0, level=0.0)
    address = f"/gains?from={before}&to={after}"

    def half(body: str) -> float:
        series = chart_of(body)["gain"]["series"][0]  # type: ignore[index]  # JSON
        return float(series["high"][60] - series["y"][60])

    alone = tuner.get(address).text
    assert "earlier sessions on this dyno" not in alone
    for k in range(4):
        shop.further(10 + k)
    assert half(tuner.get(address).text) == half(alone)
    for k in range(6):
        shop.further(0.1 + k / 100, level=0.0)
    narrowed = tuner.get(address).text
    assert "earlier sessions on this dyno" in narrowed
    assert half(narrowed) < 0.95 * half(alone)


def test_three_pulls_that_differ_as_wholes_do_not_lean_on_the_history_and_say_why(
    tuner: Browser, shop: MeasuredCar
) -> None:
    for k in range(6):
        shop.further(0.1 + k / 100)
    body = tuner.get(f"/gains?from={shop.before}&to={shop.after}").text
    assert "earlier sessions on this dyno" not in body
    assert "its history is left out" in body


def test_one_pull_each_without_history_says_that_nothing_is_known(tuner: Browser, shop: MeasuredCar) -> None:
    with transaction(shop.engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        lonely = car_on_record(session, person, vin="30KLN3C65NB004710", dyno="Bay 2")
        ids = [session_of(session, person, lonely, day, gain=g, seeds=(1,)) for day, g in ((3, 0.0), (4, 30.0))]
    body = tuner.get(f"/gains?from={ids[0]}&to={ids[1]}").text
    assert "how sure that is, is not known" in body
    assert "proven" not in re.sub(r"<[^>]*>", "", body.split("</h1>")[0].split("<h1>")[1])


def test_a_third_session_is_told_against_the_same_before(tuner: Browser, shop: MeasuredCar) -> None:
    third = shop.further(3.5, gain=45.0)
    body = tuner.get(f"/gains?from={shop.before}&to={shop.after}&with={third}").text
    chart = chart_of(body)
    assert len(chart["gain"]["series"]) == 2  # type: ignore[index]  # JSON
    assert chart["gain"]["series"][1]["pen"] == chart["series"][-1]["pen"]  # type: ignore[index]  # JSON
    assert "Take it out" in body


@pytest.mark.parametrize(
    ("more", "field"),
    [("at_rpm=fast", "at_rpm"), ("at_rpm=200", "at_rpm"), ("band=5000-3000", "at_rpm"), ("band=3000", "at_rpm")],
)
def test_speeds_that_cannot_be_read_come_back_with_a_sentence(
    tuner: Browser, shop: MeasuredCar, more: str, field: str
) -> None:
    answer = tuner.get(f"/gains?from={shop.before}&to={shop.after}&{more}")
    assert answer.status_code == 422
    assert f'href="#{field}"' in answer.text
    assert more.split("=")[1] in answer.text


def test_sessions_of_two_cars_are_refused(tuner: Browser, shop: MeasuredCar) -> None:
    with transaction(shop.engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        other = car_on_record(session, person, vin="30KLN3C65NB004710", dyno="Bay 2")
        foreign = session_of(session, person, other, 1)
    assert tuner.get(f"/gains?from={shop.before}&to={foreign}").status_code == 409
    assert tuner.get(f"/gains?from={shop.before}&to=999").status_code == 404
    assert tuner.get(f"/gains?from={shop.before}&to={shop.before}").status_code == 422
    assert tuner.get(f"/gains?from={shop.before}&to={shop.after}&standard=own").status_code == 422


def test_drivetrain_loss_is_told_on_stock_and_claims_no_engine_power(tuner: Browser, shop: MeasuredCar) -> None:
    body = tuner.get(f"/gains?from={shop.before}&to={shop.after}").text
    assert "Apparent drivetrain loss" in body
    assert "It is no statement of engine power." in body
    back = tuner.get(f"/gains?from={shop.after}&to={shop.before}").text
    assert "told for pulls on stock only" in back


def test_the_shop_sets_how_far_sessions_may_differ(tuner: Browser, manager: Browser, shop: MeasuredCar) -> None:
    warmer = shop.further(2.5, gain=30.0, temperature_c=24.0)
    address = f"/gains?from={shop.before}&to={warmer}"
    assert "Comparable: every recorded condition agrees" in tuner.get(address).text
    settings = {
        "name": "Workshop",
        "supply_minimum_v": "12.5",
        "supply_maximum_v": "15",
        "equivalence_margin_percent": "3",
        "alike_temperature_c": "2",
    }
    assert 'name="alike_temperature_c" value="10"' in manager.get("/settings").text
    assert manager.submit("/settings/shop", settings).status_code == 303
    assert "Comparable with care: Ambient temperature differ" in tuner.get(address).text
    assert manager.submit("/settings/shop", settings | {"alike_temperature_c": "-1"}).status_code == 422


def test_a_peak_that_the_other_session_does_not_reach_is_told_at_its_own_speed_and_no_gain_with_it(
    tuner: Browser, shop: MeasuredCar
) -> None:
    """The drawn power rises up to 6,500 rpm, where the pulls after end; those before end at 5,500 rpm."""
    short = shop.further(0.7, purpose="baseline", up_to=5500.0)
    body = tuner.get(f"/gains?from={short}&to={shop.after}").text
    assert "Gain at 5,500\u202frpm, an end of what both cover" in body
    assert re.search(
        r"at 6,500\u202frpm, an end of the curve: the peak may lie beyond; the other session does not cover", body
    )
    assert "no gain can be told at the power peak after, 6,500\u202frpm" in body
    sheet = tuner.get(f"/gains/report?from={short}&to={shop.after}").text
    assert "is not covered by the other session, so no gain can be told there" in sheet


def test_humidity_that_was_not_recorded_is_no_part_of_the_band_and_is_said(tuner: Browser, shop: MeasuredCar) -> None:
    """At 30 °C saturation is 42.5 hPa (IAPWS SR1-86); on 1004 hPa the factor is known to about 2.6 % of itself only."""
    open_air = {"correction_standard": "sae_j1349", "temperature_c": 30.0}
    dry = shop.further(20, relative_humidity_percent=None, **open_air)
    known = [shop.further(20 + k / 10, gain=30.0, relative_humidity_percent=45.0, **open_air) for k in (1, 2)]
    body = tuner.get(f"/gains?from={dry}&to={known[0]}").text
    said = re.search(r"the correction may be wrong before by up to (\d\.\d) % of the power", body)
    assert said is not None
    assert float(said[1]) == pytest.approx(2.6, abs=0.2)
    assert "Humidity was not recorded" not in tuner.get(f"/gains?from={known[0]}&to={known[1]}").text
