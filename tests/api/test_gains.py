"""A program gets the same gain as the page, with every figure's unit in its name, and no comparison that is none."""

import numpy as np
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.actions.set_limit import NewLimit, set_limit
from app.record import people
from app.record.engine import transaction
from tests.api.caller import Caller
from tests.dyno_car import START, MeasuredCar


@pytest.fixture
def shop(app: FastAPI, sqlite_engine: Engine) -> MeasuredCar:
    return MeasuredCar(sqlite_engine)


@pytest.fixture
def caller(app: FastAPI, sqlite_engine: Engine, shop: MeasuredCar) -> Caller:
    return Caller(app, sqlite_engine, "front_desk")


def test_the_gain_comes_with_its_band_and_read_offs(caller: Caller, shop: MeasuredCar) -> None:
    answer = caller.get("/gains", **{"from": shop.before, "to": shop.after, "at_rpm": "3000,5000", "band": "4000-6000"})
    assert answer.status_code == 200, answer.text
    found = answer.json()
    curve = found["curve"]
    lengths = {len(values) for values in curve.values()}
    assert len(lengths) == 1
    difference = np.array(curve["after_power_kw"]) - np.array(curve["before_power_kw"])
    assert np.allclose(difference, curve["gain_power_kw"], atol=2e-3)
    at = {one["speed_rpm"]: one for one in found["read_offs"]}
    assert list(at) == [3000.0, 5000.0]
    # Drawn with 30 N·m more at 5,000 1/min and none at 3,000.
    assert abs(at[5000.0]["gain_torque_nm"] - 30.0) < at[5000.0]["half_torque_nm"]
    assert abs(at[3000.0]["gain_torque_nm"]) < at[3000.0]["half_torque_nm"]
    # P = T·ω.
    assert at[5000.0]["gain_power_kw"] == pytest.approx(at[5000.0]["gain_torque_nm"] * 5000 * np.pi / 30000, rel=2e-3)
    (band,) = found["band_averages"]
    inside = [g for n, g in zip(curve["speed_rpm"], curve["gain_power_kw"], strict=True) if 4000 <= n <= 6000]
    assert band["gain_power_kw"] == pytest.approx(np.mean(inside), rel=1e-3)
    assert sum(found["shares"].values()) == pytest.approx(1.0)
    assert found["drivetrain_loss"]["sentence"].endswith("It is no statement of engine power.")


def test_sessions_under_other_standards_are_a_conflict_that_says_what_helps(caller: Caller, shop: MeasuredCar) -> None:
    corrected = shop.further(2.5, gain=30.0, correction_standard="sae_j1349")
    answer = caller.get("/gains", **{"from": shop.before, "to": corrected})
    assert answer.status_code == 409
    assert answer.headers["content-type"] == "application/problem+json"
    assert "standard= one of none, sae_j1349" in answer.json()["details"][0]
    again = caller.get("/gains", **{"from": shop.before, "to": corrected, "standard": "sae_j1349"}).json()
    assert again["converted"] is True
    assert again["before"]["correction_factor"] == pytest.approx(0.9832, abs=5e-4)


def test_the_words_of_the_pages_form_mean_the_same_here(caller: Caller, shop: MeasuredCar) -> None:
    sides = {"from": shop.before, "to": shop.after}
    form = {"at_rpm": "", "band": "", "standard": "", "quantity": "torque"}
    assert caller.get("/gains", **sides, **form).json() == caller.get("/gains", **sides).json()


def test_a_session_without_the_air_is_not_converted(caller: Caller, shop: MeasuredCar) -> None:
    airless = shop.further(2.5, gain=30.0, pressure_hpa=None)
    answer = caller.get("/gains", **{"from": shop.before, "to": airless, "standard": "sae_j1349"})
    assert answer.status_code == 409
    assert "was not recorded, so it cannot be corrected" in answer.json()["detail"]


@pytest.mark.parametrize(
    "query", [{"at_rpm": "x"}, {"at_rpm": "100"}, {"band": "9"}, {"band": "7000-9000"}, {"standard": "own"}]
)
def test_what_cannot_be_answered_is_refused(caller: Caller, shop: MeasuredCar, query: dict[str, str]) -> None:
    answer = caller.get("/gains", **({"from": shop.before, "to": shop.after} | query))
    assert answer.status_code == 422
    assert answer.json()["field"] == next(iter(query))


def test_a_session_tells_its_mean_curve_repeatability_and_limits(caller: Caller, shop: MeasuredCar) -> None:
    with transaction(shop.engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        for limit in (NewLimit("exhaust_temperature_c", "max", 800.0), NewLimit("boost_hpa", "max", 1500.0)):
            set_limit(session, person=person, at=START, vehicle_id=shop.car.vehicle_id, limit=limit)
    found = caller.get(f"/dyno-sessions/{shop.after}").json()["measured"]
    assert len(found["curve"]["speed_rpm"]) == len(found["curve"]["half_power_kw"])
    # ISO 5725-6: r = 2.8 s_r.
    assert found["repeatability"]["r_kw"] == pytest.approx(2.8 * found["repeatability"]["s_r_kw"])
    assert {one["limit"]: one["state"] for one in found["limits"]} == {
        "Exhaust temperature max 800 °C": "crossed",
        "Boost max 1500 hPa": "not observed",
    }
    assert found["history_sessions"] == 1


def test_a_session_without_pulls_says_why_there_is_no_curve(caller: Caller, shop: MeasuredCar) -> None:
    found = caller.get(f"/dyno-sessions/{shop.further(4, seeds=())}").json()["measured"]
    assert found["curve"] is None
    assert "No pull of the dyno session counts" in found["refusal"]
    assert found["correction_factor"] == 1.0


def test_every_step_of_a_control_unit_is_told_over_what_it_was_made_from(caller: Caller, shop: MeasuredCar) -> None:
    first, second = caller.get(f"/control-units/{shop.car.unit_id}/gains").json()
    assert (first["base_revision_id"], first["before_session_id"]) == (None, shop.before)
    # Drawn with 30 N·m more: P = T·ω at the speed where the power after peaks.
    drawn = 30 * first["speed_rpm"] * np.pi / 30000
    assert abs(first["gain_power_kw"] - drawn) < first["half_power_kw"]
    assert (second["base_revision_id"], second["gain_power_kw"]) == (shop.car.revision_ids[0], None)
    assert second["refusal"] == "not measured yet"


def test_peaks_are_those_of_each_sessions_own_whole_curve(caller: Caller, shop: MeasuredCar) -> None:
    """The drawn power rises up to 6,500 rpm, where the pulls after end; those before end at 5,500 rpm."""
    short = shop.further(0.7, purpose="baseline", up_to=5500.0)
    whole = caller.get("/gains", **{"from": shop.before, "to": shop.after}).json()["peaks"]["after_power_kw"]
    peaks = caller.get("/gains", **{"from": short, "to": shop.after}).json()["peaks"]
    alone = peaks["after_power_kw"]
    assert (alone["value"], alone["speed_rpm"]) == (whole["value"], whole["speed_rpm"])
    assert alone["speed_rpm"] == 6500
    assert (whole["shared"], alone["shared"]) == (True, False)
    assert (peaks["before_power_kw"]["at_end"], peaks["before_power_kw"]["shared"]) == (True, True)
