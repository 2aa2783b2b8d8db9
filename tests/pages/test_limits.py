"""A tuner sets the bounds of a car's channels in the units he reads, and none of them is ever lost."""

import re

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, text

from app.calc.dyno.channel_names import CHANNEL_NAMES, LIMITABLE
from app.calc.units import UNITS_OF
from app.readers.dyno_words import CHANNELS
from app.record import people, vehicles
from app.record.engine import reading, transaction
from tests.browser import Browser
from tests.dyno_car import Car, car_on_record

LIMIT = {"channel": "exhaust_temperature_c", "bound": "max", "value": "950", "severity": "stop", "speed_lo": "3000"}


@pytest.fixture
def car(app: FastAPI, sqlite_engine: Engine) -> Car:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        return car_on_record(session, person)


def address(car: Car) -> str:
    return f"/vehicles/{car.vehicle_id}/limits"


def prefer(engine: Engine, units: str) -> None:
    with transaction(engine) as session:
        session.execute(text("update person set preferences = :p where name = 'tuner'"), {"p": units})


def test_every_channel_that_files_are_read_for_has_a_name_and_its_own_unit() -> None:
    for channel in CHANNELS:
        assert CHANNEL_NAMES[channel.name].quantity == channel.quantity, channel.name
        assert UNITS_OF[channel.quantity][0] == channel.kept_in, channel.name


def test_the_empty_page_leads_to_the_first_limit(tuner: Browser, car: Car) -> None:
    body = tuner.get(address(car)).text
    assert "No limit is set" in body
    assert all(f'value="{name}"' in body for name in LIMITABLE)


def test_a_limit_is_typed_and_read_in_the_persons_units_and_kept_in_celsius(
    tuner: Browser, car: Car, sqlite_engine: Engine
) -> None:
    prefer(sqlite_engine, '{"units": {"temperature": "°F"}}')
    answer = tuner.submit(address(car), LIMIT | {"value": "1700"})
    assert (answer.status_code, answer.headers["location"]) == (303, address(car))
    with reading(sqlite_engine) as session:
        (row,) = vehicles.limits(session, car.vehicle_id)
        # 1700 °F = (1700 − 32)·5/9 °C = 926.6667 °C by definition of the scale.
        assert row.value == pytest.approx(926.6666667)
        assert row.speed_lo_rpm == 3000
    body = tuner.get(address(car)).text
    assert "Exhaust temperature at most 1700.0\u202f°F" in body
    assert "from 3,000 rpm" in body


def test_a_replaced_limit_stays_in_the_history_and_the_form_starts_from_it(tuner: Browser, car: Car) -> None:
    tuner.submit(address(car), LIMIT)
    form = tuner.get(address(car) + "?replace=1").text
    assert 'name="supersedes_id" value="1"' in form
    assert re.search(r'name="value" value="950"', form)
    tuner.submit(address(car), LIMIT | {"value": "930", "supersedes_id": "1"})
    body = tuner.get(address(car)).text
    in_force, ended = body.split("Replaced and withdrawn limits")
    assert "930.0" in in_force
    assert "950.0" not in in_force.split("Set a limit")[0]
    assert "950.0" in ended
    again = tuner.submit(address(car), LIMIT | {"value": "910", "supersedes_id": "1"})
    assert again.status_code == 409


def test_a_limit_is_withdrawn_only_with_a_reason(tuner: Browser, car: Car, sqlite_engine: Engine) -> None:
    tuner.submit(address(car), LIMIT)
    refused = tuner.submit("/limits/1/withdraw", {"reason": " "})
    assert refused.status_code == 422
    assert "Write why the limit is withdrawn." in refused.text
    assert 'id="reason-1-error"' in refused.text
    short = tuner.submit("/limits/1/withdraw", {"reason": "ok"})
    assert short.status_code == 422
    assert re.search(r'<details class="entry" open>.*?id="reason-1" name="reason" value="ok"', short.text, re.S)
    assert tuner.submit("/limits/1/withdraw", {"reason": "Other manifold fitted"}).status_code == 303
    with reading(sqlite_engine) as session:
        assert vehicles.limits(session, car.vehicle_id) == []
        told = session.scalars(text("select body from journal_entry where action = 'set limit' order by seq")).all()
    assert "Limit set: Exhaust temperature max 950 °C." in told[0]
    assert "Limit withdrawn: Exhaust temperature max 950 °C." in told[1]
    assert "withdrawn" in tuner.get(address(car)).text
    again = tuner.submit("/limits/1/withdraw", {"reason": "Other manifold fitted again"})
    assert again.status_code == 409
    assert "field-error" not in again.text


def test_a_withdrawal_by_mistake_is_taken_back_where_it_is_confirmed_and_where_it_is_listed(
    tuner: Browser, front_desk: Browser, car: Car, sqlite_engine: Engine
) -> None:
    def in_force() -> list[tuple[str, float, float | None, str]]:
        with reading(sqlite_engine) as session:
            rows = vehicles.limits(session, car.vehicle_id)
            return [(row.channel, row.value, row.speed_lo_rpm, row.note) for row in rows]

    tuner.submit(address(car), LIMIT | {"note": "Cast manifold"})
    before = in_force()
    gone = tuner.submit("/limits/1/withdraw", {"reason": "Other manifold fitted"})
    confirmed = tuner.get(gone.headers["location"]).text
    assert "Withdrawn: Exhaust temperature at most 950.0\u202f°C, from 3,000 rpm." in confirmed
    assert confirmed.count('action="/limits/1/reinstate"') == 2
    listed = tuner.get(address(car)).text
    assert listed.count('action="/limits/1/reinstate"') == 1
    assert "withdrawn: Other manifold fitted" in listed
    assert "/limits/1/reinstate" not in front_desk.get(gone.headers["location"]).text
    back = tuner.submit("/limits/1/reinstate", {})
    assert back.status_code == 303
    assert in_force() == before
    told = tuner.get(back.headers["location"]).text
    assert "In force: Exhaust temperature at most 950.0\u202f°C, from 3,000 rpm." in told
    assert "/limits/1/reinstate" not in told
    assert "back in force: Other manifold fitted" in told
    again = tuner.submit("/limits/1/reinstate", {})
    assert (again.status_code, "in force again already" in again.text) == (409, True)
    history = tuner.get(f"/vehicles/{car.vehicle_id}").text
    assert "Limit withdrawn: Exhaust temperature at most 950.0\u202f°C, from 3,000 rpm." in history
    assert "Limit back in force: Exhaust temperature at most 950.0\u202f°C, from 3,000 rpm." in history


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"channel": ""}, "channel"),
        ({"value": ""}, "value"),
        ({"value": "hot"}, "value"),
        ({"value": "1,050"}, "value"),
        ({"speed_hi": "2500"}, "speed_hi"),
        ({"load_lo": "120", "load_hi": "80"}, "load_hi"),
        ({"speed_lo": "-5"}, "speed_lo"),
    ],
)
def test_a_refused_limit_comes_back_as_typed_with_the_sentence_at_its_field(
    tuner: Browser, car: Car, changed: dict[str, str], field: str
) -> None:
    answer = tuner.submit(address(car), LIMIT | changed)
    assert answer.status_code == 422
    assert f'id="{field}-error"' in answer.text
    typed = (LIMIT | changed)["value"]
    assert f'value="{typed}"' in answer.text


def test_the_front_desk_sees_limits_and_sets_none(front_desk: Browser, car: Car) -> None:
    answer = front_desk.get(address(car))
    assert answer.status_code == 200
    assert "Set a limit" not in answer.text
    assert front_desk.submit(address(car), LIMIT).status_code == 403
