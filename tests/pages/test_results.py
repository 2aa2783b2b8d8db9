"""Strip runs and economy trials are typed as the slip has them, attributed by time, and checked against mechanics."""

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, text

from app.errors import BadInput
from app.record import people, results
from app.record.engine import reading, transaction
from app.web.moments import read_moment
from tests.browser import Browser
from tests.dyno_car import Car, car_on_record, flashed, session_of


@pytest.fixture
def car(app: FastAPI, sqlite_engine: Engine) -> Car:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        made = car_on_record(session, person)
        session_of(session, person, made, 0.5, purpose="baseline")
        flashed(session, person, made, made.revision_ids[0], day=1)
        session_of(session, person, made, 2, gain=40.0)
        return made


SLIP = {"et_60ft_s": "2.25", "et_1320ft_s": "14,9", "trap_1320ft_kmh": "155", "run_at": "2026-03-02T09:00"}


def page(car: Car) -> str:
    return f"/vehicles/{car.vehicle_id}/results"


def words_of(body: str) -> str:
    return re.sub(r"[ \n]+", " ", re.sub(r"<[^>]*>", " ", body))


def test_a_slip_in_mph_is_kept_in_metric_units_and_attributed_by_its_time(
    tuner: Browser, car: Car, sqlite_engine: Engine
) -> None:
    with transaction(sqlite_engine) as session:
        session.execute(text("""update person set preferences = '{"units": {"vehicle speed": "mph"}}'"""))
    early = tuner.submit(f"/vehicles/{car.vehicle_id}/strip-runs", SLIP | {"trap_1320ft_kmh": "96.31"})
    late = tuner.submit(f"/vehicles/{car.vehicle_id}/strip-runs", SLIP | {"run_at": "2026-03-05 10:30"})
    assert early.headers["location"] == late.headers["location"] == page(car) + "#strip"
    with reading(sqlite_engine) as session:
        rows = results.strip_runs(session, car.vehicle_id)
        # 96.31 mph = 96.31 · 1.609344 km/h by the international mile.
        assert rows[1].results["trap_1320ft_kmh"] == pytest.approx(96.31 * 1.609344)
        assert rows[1].results["et_1320ft_s"] == 14.9
        attributed = results.strip_attributions(session, [row.id for row in rows])
        assert attributed[rows[1].id][car.unit_id].revision_id is None
        assert attributed[rows[0].id][car.unit_id].revision_id == car.revision_ids[0]
    body = words_of(tuner.get(page(car)).text)
    assert "96.31\u202fmph" in body
    assert "engine revision 1" in body


def test_a_run_that_took_more_power_than_the_wheels_have_is_pointed_out(tuner: Browser, car: Car) -> None:
    tuner.submit(f"/vehicles/{car.vehicle_id}/strip-runs", SLIP)
    assert "Nothing speaks against it" in words_of(tuner.get(page(car)).text)
    # ½·1520 kg·(250/3.6 m/s)²/10.9 s = 336 kW on average, far above the wheel power on record.
    tuner.submit(f"/vehicles/{car.vehicle_id}/strip-runs", SLIP | {"et_1320ft_s": "10.9", "trap_1320ft_kmh": "250"})
    body = words_of(tuner.get(page(car)).text)
    assert "look at it" in body
    assert "the trap speed took 336 kW on average" in body


def test_rules_of_thumb_are_marked_as_common_practice(tuner: Browser, car: Car) -> None:
    tuner.submit(f"/vehicles/{car.vehicle_id}/strip-runs", SLIP)
    body = tuner.get(page(car)).text
    assert "Common practice: a check of the record, never a result." in body
    # Hale's published fit: trap = 234·(hp/lb)^⅓ mph, so 155 km/h at 1520 kg takes
    # 3351 lb·(96.31/234)³ = 233.6 hp = 174.2 kW.
    assert re.search(r"Hale</th>\s*<td[^>]*>174\u202fkW", body)


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"et_60ft_s": "fast"}, "et_60ft_s"),
        ({"et_60ft_s": "15.9"}, "et_1320ft_s"),
        ({"t_0_60mph_s": "6", "t_0_100kmh_s": "5.9"}, "t_0_100kmh_s"),
        ({"how": "by a stopwatch in the hand of whoever stood there"}, "how"),
        ({"run_at": "yesterday"}, "run_at"),
        ({"run_at": "2126-01-01T10:00"}, "run_at"),
        ({"et_60ft_s": "", "et_1320ft_s": "", "trap_1320ft_kmh": ""}, "et_60ft_s"),
    ],
)
def test_a_refused_slip_comes_back_as_typed(tuner: Browser, car: Car, changed: dict[str, str], field: str) -> None:
    answer = tuner.submit(f"/vehicles/{car.vehicle_id}/strip-runs", SLIP | {"place": "Old runway"} | changed)
    assert answer.status_code == 422
    assert f'id="{field}-error"' in answer.text
    assert 'value="Old runway"' in answer.text


def trial(tuner: Browser, car: Car, day: int, fuel: float) -> None:
    answer = tuner.submit(
        f"/vehicles/{car.vehicle_id}/economy-trials",
        {"distance": "400", "fuel": f"{fuel}", "conditions": "Ring road", "driven_at": f"2026-03-{day:02d}T07:00"},
    )
    assert answer.status_code == 303


def test_consumption_before_and_after_comes_with_its_interval(tuner: Browser, car: Car) -> None:
    # Driven before the flash on 3 March 08:00, then after it.
    for day, fuel in ((2, 30.0), (3, 30.4), (1, 29.6), (4, 28.0), (5, 28.4), (6, 28.2)):
        trial(tuner, car, day, fuel)
    body = words_of(tuner.get(page(car)).text)
    # Means 7.5 and 7.05 L/100 km; s² = 0.01 and 0.0025 (L/100 km)². Welch: se = √(0.01/3 + 0.0025/3) = 0.06455,
    # ν = 2.94, t = 3.219 (Welch, Biometrika 34 (1947) 28): −0.45 ± 0.2078 L/100 km = −6.0 ± 2.8 %.
    assert "Consumption is lower: −6.0 %, 95 % interval −8.8 to −3.2 %." in body
    assert "7.50 L/100 km" in body
    assert "Change −0.45 L/100 km, 95 % interval −0.66 to −0.24 L/100 km" in body
    # 235.215 / 7.5 = 31.36 mpg (US), and 235.215 / 7.2578 and / 6.8422 are 1.05 and 3.02 more.
    tuner.submit("/settings/preferences", {"fuel_consumption": "mpg (US)"})
    assert re.search(
        r"Change \+2\.0 mpg \(US\), 95 % interval \+1\.0 to \+3\.0 mpg", words_of(tuner.get(page(car)).text)
    )


def test_one_trial_each_gives_no_interval(tuner: Browser, car: Car) -> None:
    trial(tuner, car, 2, 30.0)
    trial(tuner, car, 5, 28.0)
    body = words_of(tuner.get(page(car)).text)
    assert "make at least two trials on each side" in body
    assert "interval" not in body.split("Fuel economy")[1].split("Compare")[0]


def test_consumption_in_distance_per_volume_is_converted_and_never_averaged_so(
    tuner: Browser, car: Car, sqlite_engine: Engine
) -> None:
    for day, fuel in ((1, 30.0), (2, 30.8), (4, 28.0), (5, 28.4)):
        trial(tuner, car, day, fuel)
    with transaction(sqlite_engine) as session:
        session.execute(text("""update person set preferences = '{"units": {"fuel consumption": "mpg (US)"}}'"""))
    body = words_of(tuner.get(page(car)).text)
    # 7.6 L/100 km = 235.214583/7.6 mpg (US), from the gallon of 231 in³ and the international mile.
    assert "30.9 mpg (US)" in body


def test_a_trial_of_impossible_consumption_is_refused_at_its_field(tuner: Browser, car: Car) -> None:
    answer = tuner.submit(f"/vehicles/{car.vehicle_id}/economy-trials", {"distance": "4", "fuel": "30"})
    assert answer.status_code == 422
    assert 'id="fuel-error"' in answer.text
    missing = tuner.submit(f"/vehicles/{car.vehicle_id}/economy-trials", {"distance": "", "fuel": "30"})
    assert 'id="distance-error"' in missing.text


@pytest.mark.parametrize("revision", ["", "²", "none", "7" * 5000])
def test_an_attribution_to_what_is_not_in_the_list_is_refused_and_never_taken_for_stock(
    tuner: Browser, car: Car, sqlite_engine: Engine, revision: str
) -> None:
    tuner.submit(f"/vehicles/{car.vehicle_id}/strip-runs", SLIP)
    sent = {"control_unit_id": str(car.unit_id), "revision": revision, "reason": "log of the laptop"}
    for path in ("/strip-runs/1/attribution", "/dyno-sessions/1/attribution"):
        answer = tuner.submit(path, sent)
        assert answer.status_code == 422
        assert "Choose stock or a revision" in answer.text
    with reading(sqlite_engine) as session:
        assert results.strip_attributions(session, [1])[1][car.unit_id].reason != "log of the laptop"


@pytest.mark.parametrize(
    "path", ["/strip-runs/1/attribution", "/economy-trials/1/attribution", "/dyno-sessions/1/attribution"]
)
def test_a_refused_correction_keeps_what_was_typed_in_its_own_form(tuner: Browser, car: Car, path: str) -> None:
    for _ in range(2):
        tuner.submit(f"/vehicles/{car.vehicle_id}/strip-runs", SLIP)
        trial(tuner, car, 5, 28.0)
    sent = {"control_unit_id": str(car.unit_id), "revision": "", "reason": "Log of <the> laptop"}
    body = tuner.submit(path, sent).text
    assert body.count('value="Log of &lt;the&gt; laptop"') == 1
    [form] = re.findall(rf'<form class="form form-row" method="post" action="{path}">.*?</form>', body, re.S)
    assert 'value="Log of &lt;the&gt; laptop"' in form and "Choose stock or a revision." in form
    place = f"{path}-revision-{car.unit_id}"
    assert f'href="#{place}"' in body and f'id="{place}"' in form
    # Every part that is folded up around the form is open.
    before = body[: body.index(form)]
    opened = re.findall(r"<details[^>]*>|</details>", before)
    folded = []
    for tag in opened:
        folded = folded[:-1] if tag == "</details>" else [*folded, tag]
    assert folded and all(tag.endswith(" open>") for tag in folded)
    assert not re.search(r"<details open><summary>Record a", body)
    chosen = tuner.submit(path, sent | {"revision": str(car.revision_ids[0]), "reason": "x"}).text
    assert re.search(rf'<option value="{car.revision_ids[0]}" selected>', chosen)
    assert chosen.count('value="x"') == 1


def test_no_correction_is_offered_with_an_answer_already_chosen(tuner: Browser, car: Car) -> None:
    """Stock was: who only typed a reason turned a tuned run into one of the stock car."""
    tuner.submit(f"/vehicles/{car.vehicle_id}/strip-runs", SLIP)
    for address in (f"/vehicles/{car.vehicle_id}/results", "/dyno-sessions/1"):
        body = tuner.get(address).text
        [choice] = re.findall(r'<select id="[^"]*" name="revision".*?</select>', body, re.S)
        assert '<option value="">Choose what it was</option>' in choice and "selected" not in choice


def test_an_attribution_is_corrected_with_a_reason(tuner: Browser, car: Car, sqlite_engine: Engine) -> None:
    tuner.submit(f"/vehicles/{car.vehicle_id}/strip-runs", SLIP)
    trial(tuner, car, 5, 28.0)
    for path in ("/strip-runs/1/attribution", "/economy-trials/1/attribution"):
        form = {"control_unit_id": str(car.unit_id), "revision": str(car.revision_ids[1]), "reason": "Written unlogged"}
        assert tuner.submit(path, form | {"reason": ""}).status_code == 422
        assert tuner.submit(path, form).status_code == 303
    with reading(sqlite_engine) as session:
        assert results.strip_attributions(session, [1])[1][car.unit_id].revision_id == car.revision_ids[1]
        assert results.economy_attributions(session, [1])[1][car.unit_id].revision_id == car.revision_ids[1]


def test_a_computed_run_is_faster_with_more_power_and_says_how_sure(tuner: Browser, car: Car) -> None:
    body = words_of(tuner.get(f"/vehicles/{car.vehicle_id}/computed-run?session=2&against=1").text)
    row = re.search(r"1/4 mile \(1320 ft\) ([\d.]+)\u202fs ([\d.]+)\u202fs −([\d.]+) ± ([\d.]+)\u202fs", body)
    assert row is not None
    before, after, change, half = (float(x) for x in row.groups())
    assert before - after == pytest.approx(change, abs=0.0011)
    assert 0 < half < change
    alone = words_of(tuner.get(f"/vehicles/{car.vehicle_id}/computed-run?session=1").text)
    assert f"1/4 mile (1320 ft) {before:.3f}\u202fs" in alone
    assert "No interval: these figures hang on what is taken for granted" in alone


def test_a_figure_that_grip_alone_decides_has_an_interval_that_is_not_written_as_none(tuner: Browser, car: Car) -> None:
    body = words_of(tuner.get(f"/vehicles/{car.vehicle_id}/computed-run?session=2&against=1&friction=0.2").text)
    assert re.search(r" 60 ft .*?0\.000 ± under 0\.001\u202fs not resolved", body)
    assert "± 0.000" not in body


@pytest.mark.parametrize(
    ("asked", "field", "says"),
    [
        ("session=2&against=2", "against", "drives the run already"),
        ("session=2&against=77", "against", "Choose a session of this car"),
        (
            "session=2&shift_speed=7000",
            "shift_speed",
            "known from 1,500\u202frpm to 6,500\u202frpm; change gear within",
        ),
        ("session=2&against=1&shift_speed=1200", "shift_speed", "change gear within that"),
    ],
)
def test_a_computed_run_is_refused_at_the_field_that_asks_too_much(
    tuner: Browser, car: Car, asked: str, field: str, says: str
) -> None:
    answer = tuner.get(f"/vehicles/{car.vehicle_id}/computed-run?{asked}")
    assert answer.status_code == 422
    assert says in answer.text
    assert f'id="{field}-error"' in answer.text


def test_a_computed_run_names_what_is_missing_or_out_of_range(tuner: Browser, car: Car, sqlite_engine: Engine) -> None:
    refused = tuner.get(f"/vehicles/{car.vehicle_id}/computed-run?session=1&cda=70")
    assert refused.status_code == 422
    assert 'id="cda-error"' in refused.text
    assert tuner.get(f"/vehicles/{car.vehicle_id}/computed-run?session=77").status_code == 422
    with transaction(sqlite_engine) as session:
        session.execute(text("update vehicle set final_drive = null"))
    missing = tuner.get(f"/vehicles/{car.vehicle_id}/computed-run?session=1")
    assert "not on record for this car: final drive" in missing.text


def test_the_front_desk_sees_results_and_records_none(front_desk: Browser, car: Car) -> None:
    body = front_desk.get(page(car)).text
    assert "Record a strip run" not in body
    assert front_desk.submit(f"/vehicles/{car.vehicle_id}/strip-runs", SLIP).status_code == 403


def test_moments_are_read_in_the_workshops_zone() -> None:
    now = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
    zone = ZoneInfo("America/New_York")
    found = read_moment("2026-11-24T14:03", zone, now=now, field="at", label="Time")
    assert found == datetime(2026, 11, 24, 19, 3, tzinfo=UTC)
    assert read_moment(" ", zone, now=now, field="at", label="Time") is None
    with pytest.raises(BadInput):
        read_moment("2026-11-25T08:00", zone, now=now, field="at", label="Time")


def test_whoever_reads_gallons_and_miles_fills_and_reads_no_litres(
    tuner: Browser, car: Car, sqlite_engine: Engine
) -> None:
    tuner.submit("/settings/preferences", {"fuel_consumption": "mpg (US)", "distance": "mi", "vehicle_speed": "mph"})
    # 250 miles on 10 US gallons are 25 mpg; 10 US gallons are 37.854 L (231 cubic inches each, NIST Handbook 44).
    tuner.submit(f"/vehicles/{car.vehicle_id}/economy-trials", {"distance": "250", "fuel": "10"})
    tuner.submit(f"/vehicles/{car.vehicle_id}/strip-runs", SLIP | {"trap_1320ft_kmh": "96.31"})
    with reading(sqlite_engine) as session:
        (trial,) = results.economy_trials(session, car.vehicle_id)
        assert trial.fuel_l == pytest.approx(37.854, abs=1e-3)
    body = words_of(tuner.get(page(car)).text)
    assert "10.00\u202fgal (US)" in body
    assert not re.search(r"\d\u202f(L|km|km/h)\b", body)
    history = words_of(tuner.get(f"/vehicles/{car.vehicle_id}?topic=measurements").text)
    assert "Economy trial: 25.0\u202fmpg (US) over 250\u202fmi." in history
    assert ", trap speed at 1320 ft 96.31\u202fmph" in history
