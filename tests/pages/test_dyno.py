"""A session tells how well its pulls repeat, what they resolve, and which limits they crossed or never showed."""

import csv
import io
import json
import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from app.actions.add_dyno import add_dyno
from app.actions.set_limit import NewLimit, set_limit
from app.record import dyno, people
from app.record.engine import reading, transaction
from app.record.verify import verify
from tests.browser import Browser
from tests.dyno_car import START, Car, car_on_record, pull_csv, session_of

Made = Callable[..., int]


@pytest.fixture
def car(app: FastAPI, sqlite_engine: Engine) -> Car:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        return car_on_record(session, person)


@pytest.fixture
def made(sqlite_engine: Engine, car: Car) -> Made:
    def make(day: float = 1, **more: object) -> int:
        with transaction(sqlite_engine) as session:
            person = people.by_name(session, "tuner")
            assert person is not None
            return session_of(session, person, car, day, **more)  # type: ignore[arg-type]  # conditions of mixed types

    return make


@pytest.fixture
def limited(sqlite_engine: Engine, car: Car) -> Callable[[NewLimit], None]:
    def set_one(limit: NewLimit) -> None:
        with transaction(sqlite_engine) as session:
            person = people.by_name(session, "tuner")
            assert person is not None
            set_limit(session, person=person, at=START, vehicle_id=car.vehicle_id, limit=limit)

    return set_one


def chart_of(body: str, name: str) -> dict[str, object]:
    block = re.search(rf'<pre id="{name}-data" hidden>(.*?)</pre>', body, re.S)
    assert block is not None, name
    found: dict[str, object] = json.loads(block[1].replace("&#34;", '"'))
    return found


def words_of(body: str) -> str:
    """The page's text without its markup."""
    return re.sub(r"[ \n]+", " ", re.sub(r"<[^>]*>", " ", body))


def test_a_session_without_pulls_says_what_comes_first(tuner: Browser, made: Made) -> None:
    body = tuner.get(f"/dyno-sessions/{made(seeds=())}").text
    assert "No pulls yet" in body
    assert "curve-chart" not in body
    assert tuner.get("/dyno-sessions/1/curves.csv").status_code == 409


def test_the_mean_curve_carries_a_band_and_every_pull(tuner: Browser, made: Made) -> None:
    chart = chart_of(tuner.get(f"/dyno-sessions/{made()}").text, "curve-chart")
    series = chart["series"]
    assert isinstance(series, list)
    assert [one.get("role") for one in series] == ["pull", "pull", "pull", "after", None]
    mean = series[3]
    assert all(low < y < high for low, y, high in zip(mean["low"], mean["y"], mean["high"], strict=True))
    assert series[4]["axis"] == "y2"


def test_repeatability_is_that_of_the_pulls_by_iso_5725(tuner: Browser, made: Made) -> None:
    session_id = made()
    rows = list(
        csv.DictReader(io.StringIO(tuner.get(f"/dyno-sessions/{session_id}/curves.csv").content.decode("utf-8-sig")))
    )
    pulls = np.array([[float(row[f"pull_{k}_power_kw"]) for row in rows] for k in (1, 2, 3)])
    levels = (pulls / pulls.mean(axis=0)).mean(axis=1)
    # ISO 5725-6: r = 2.8 s_r; here s_r is the standard deviation of the pulls' levels at the mean peak.
    r = 2.8 * levels.std(ddof=1) * pulls.mean(axis=0).max()
    assert f"repeat to r = {r:.1f}\u202fkW at the peak" in tuner.get(f"/dyno-sessions/{session_id}").text


def test_how_many_pulls_a_wanted_gain_takes_falls_with_its_size(tuner: Browser, made: Made) -> None:
    session_id = made()

    def needed(kw: str) -> int:
        words = words_of(tuner.get(f"/dyno-sessions/{session_id}?resolve={kw}").text)
        found = re.search(r"(\d+) pulls before and \d+ after prove", words)
        return 51 if found is None else int(found[1])

    assert needed("0,5") > needed("2") >= needed("20") == 2
    body = tuner.get(f"/dyno-sessions/{session_id}?resolve=-3").text
    assert "must be above zero" in body
    assert 'id="resolve-error"' in body


def test_falling_pulls_are_pointed_out_as_heat_soak(tuner: Browser, car: Car, made: Made) -> None:
    session_id = made(seeds=())
    for k in range(4):
        lines = pull_csv(40 + k, channels=False, level=0.0).decode().splitlines()
        hotter = [lines[0]] + [f"{n};{float(t) * (1 - 0.02 * k):.3f}" for n, t in (x.split(";") for x in lines[1:])]
        data = "\n".join(hotter).encode()
        answer = tuner.submit(
            f"/dyno-sessions/{session_id}/runs",
            {"start_coolant": str(85 + 5 * k)},
            files={"files": (f"{k}.csv", data)},
        )
        assert answer.status_code == 303
    words = words_of(tuner.get(f"/dyno-sessions/{session_id}").text)
    found = re.search(r"The pulls fall by (\d\.\d\d) % from one to the next: heat soak", words)
    assert found is not None
    assert float(found[1]) == pytest.approx(2.06, abs=0.15)  # 2 % of the first, over the mean of all four
    assert re.search(r"Power falls with the coolant at start by 0\.4\d % per °C", words)


def test_a_crossed_limit_says_where_first_how_far_and_in_which_pulls(
    tuner: Browser, made: Made, limited: Callable[[NewLimit], None]
) -> None:
    limited(NewLimit("exhaust_temperature_c", "max", 800.0, speed_lo_rpm=3000.0))
    body = tuner.get(f"/dyno-sessions/{made()}").text
    words = words_of(body.split('id="limits"')[1])
    # 620 + 0.045·(n − 1500) °C crosses 800 °C at n = 5500 and reaches 845 °C at 6500 1/min.
    assert "1 of 1 limit crossed" in words
    assert "5,500\u202frpm in pull 1" in words
    assert re.search(r"84[45]\.\d\u202f°C at 6,[45]\d\d\u202frpm in pull", words)
    assert "crossed in 1, 2, 3; seen in 3 of 3" in words
    chart = chart_of(body, "limit-exhaust-temperature-c")
    assert chart["series"][-1]["role"] == "limit"  # type: ignore[index]  # JSON
    assert chart["series"][-1]["name"] == "At most 800.0\u202f°C"  # type: ignore[index]  # JSON
    assert chart["series"][-1]["x"][0] == 3000  # type: ignore[index]  # JSON


def test_a_channel_that_no_pull_carries_is_not_observed_and_never_passed(
    tuner: Browser, made: Made, limited: Callable[[NewLimit], None]
) -> None:
    limited(NewLimit("knock_retard_deg", "max", 3.0))
    body = tuner.get(f"/dyno-sessions/{made()}").text
    words = words_of(body.split('id="limits"')[1].split('id="pulls"')[0])
    assert "not observed" in words
    assert "seen in 3" not in words
    assert "passed" not in words
    assert 'data-state="ok"' not in body.split('id="limits"')[1].split("</section>")[0]


def test_a_limit_by_load_is_judged_where_the_logged_load_lies_in_its_region(
    tuner: Browser, made: Made, limited: Callable[[NewLimit], None]
) -> None:
    session_id = made(seeds=())
    head, *rows = pull_csv(5).decode().splitlines()
    # Full load to 5000 1/min, eased above: the exhaust passes 800 °C at 5500 1/min, at 80 % load.
    loads = ["96.0" if float(row.split(";")[0]) <= 5000 else "80.0" for row in rows]
    data = "\n".join([head + ";Motorlast [%]", *(f"{row};{load}" for row, load in zip(rows, loads, strict=True))])
    assert (
        tuner.submit(f"/dyno-sessions/{session_id}/runs", files={"files": ("a.csv", data.encode())}).status_code == 303
    )
    limited(NewLimit("exhaust_temperature_c", "max", 800.0, load_lo_percent=90.0))
    limited(NewLimit("exhaust_temperature_c", "max", 800.0, load_hi_percent=85.0))
    words = words_of(tuner.get(f"/dyno-sessions/{session_id}").text.split('id="limits"')[1].split('id="pulls"')[0])
    assert "1 of 2 limits crossed" in words
    assert "not observed" not in words
    assert re.search(r"to 85.% load crossed 5,500\u202frpm in pull 1", words)


def test_a_limit_by_load_is_drawn_only_where_the_logged_load_lies_in_its_region(
    tuner: Browser, car: Car, made: Made, limited: Callable[[NewLimit], None]
) -> None:
    """Load rises by 20 % per 1000 rpm: 80 % is reached at 4000 rpm (by construction), and there the line begins."""
    limited(NewLimit("lambda_", "max", 0.97, load_lo_percent=80.0))
    session_id = made(seeds=())
    rows = [f"{n};{200 + 0.001 * n:.1f};0.90;{0.02 * n:.2f}" for n in range(1500, 6001, 20)]
    table = "\n".join(["Engine speed [1/min];Torque [Nm];Lambda;Engine load [%]", *rows]).encode()
    sent = tuner.submit(f"/dyno-sessions/{session_id}/runs", files={"files": ("loaded.csv", table)})
    assert sent.status_code == 303
    series = chart_of(tuner.get(f"/dyno-sessions/{session_id}").text, "limit-lambda")["series"]
    line = series[-1]  # type: ignore[index]  # JSON
    drawn = [x for x, y in zip(line["x"], line["y"], strict=True) if y is not None]
    assert line["role"] == "limit"
    assert drawn[0] == pytest.approx(4000, abs=25)
    assert drawn[-1] == pytest.approx(6000, abs=25)


def test_what_was_cut_from_a_pull_is_said_and_drawn(tuner: Browser, made: Made) -> None:
    session_id = made(seeds=())
    head, *rows = pull_csv(5, channels=False).decode().splitlines()
    start = [f"1500;{20 + k % 2}" for k in range(30)]
    lift_off = [f"{6500 - 60 * k};-40" for k in range(1, 25)]
    data = "\n".join([head, *start, *rows, *lift_off]).encode()
    assert tuner.submit(f"/dyno-sessions/{session_id}/runs", files={"files": ("a.csv", data)}).status_code == 303
    body = tuner.get(f"/dyno-sessions/{session_id}").text
    found = re.search(r"made from (\d,\d+) to (\d,\d+).rpm: (\d+) samples before and (\d+) after", words_of(body))
    assert found is not None
    low, high, before, after = (int(text.replace(",", "")) for text in found.groups())
    assert 1500 <= low <= 1700 and 6300 <= high <= 6500
    assert 30 <= before <= 34 and 24 <= after <= 28
    series = chart_of(body, "pulls-chart")["series"]
    assert [one["name"] for one in series] == ["Pull 1", "Left out of the curves"]  # type: ignore[attr-defined]  # JSON
    assert min(series[0]["x"]) == low and max(series[0]["x"]) == high  # type: ignore[index]  # JSON


def test_what_was_recognised_stands_with_each_pull(tuner: Browser, made: Made) -> None:
    body = tuner.get(f"/dyno-sessions/{made()}").text
    assert re.search(r"Torque \[Nm\]</th>\s*<td[^>]*>Torque \[N·m\]</td>\s*<td[^>]*>certain", body)


def test_the_way_to_the_gain_leads_to_the_baseline(tuner: Browser, made: Made) -> None:
    baseline = made(1, purpose="baseline")
    later = made(3)
    assert f"/gains?from={baseline}&amp;to={later}" in tuner.get(f"/dyno-sessions/{later}").text


def test_a_baseline_of_another_dyno_or_gear_is_not_offered_and_the_page_says_why(
    tuner: Browser, made: Made, car: Car, sqlite_engine: Engine
) -> None:
    baseline = made(1, purpose="baseline")
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        other = add_dyno(session, person=person, at=START, name="Bay 2")
        elsewhere = session_of(session, person, replace(car, dyno_id=other.id), 2)
    body = tuner.get(f"/dyno-sessions/{elsewhere}").text
    assert f"/gains?from={baseline}" not in body
    assert "they were measured on different dynos. Begin with baseline pulls on Bay 2 in gear 4." in words_of(body)
    body = tuner.get(f"/dyno-sessions/{made(3, gear='5')}").text
    assert f"/gains?from={baseline}" not in body
    assert "they were measured in different gears. Begin with baseline pulls on Bay 1 in gear 5." in words_of(body)
    # Another correction standard is no hindrance: both can be computed under one. An older baseline serves too.
    made(4, purpose="baseline", gear="5")
    later = tuner.get(f"/dyno-sessions/{made(5, correction_standard='sae_j1349')}").text
    assert f"/gains?from={baseline}&amp;" in later
    assert "Begin with baseline pulls" not in later


def test_the_list_proposes_a_gain_over_the_baseline_of_the_same_dyno(
    tuner: Browser, made: Made, car: Car, sqlite_engine: Engine
) -> None:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        other = add_dyno(session, person=person, at=START, name="Bay 2")
        session_of(session, person, replace(car, dyno_id=other.id), 1)
    baseline = made(2, purpose="baseline")
    made(3)
    later = made(4)
    page = tuner.get(f"/vehicles/{car.vehicle_id}/dyno-sessions").text
    assert re.findall(r'<option value="(\d+)" selected>', page) == [str(baseline), str(later)]


def test_a_file_that_cannot_be_read_names_the_columns_that_were_seen(tuner: Browser, made: Made) -> None:
    session_id = made(seeds=())
    data = b"alpha;beta\n" + b"\n".join(f"{k};{k * k}".encode() for k in range(30))
    answer = tuner.submit(f"/dyno-sessions/{session_id}/runs", files={"files": ("odd.csv", data)})
    assert answer.status_code == 422
    assert "alpha: not recognised" in answer.text


def test_confirmed_columns_read_what_could_not_be_read_before(
    tuner: Browser, car: Car, made: Made, sqlite_engine: Engine
) -> None:
    session_id = made(seeds=())
    rows = [line.split(";") for line in pull_csv(9, channels=False).decode().splitlines()[1:]]
    data = b"alpha;beta\n" + "\n".join(f"{n};{t}" for n, t in rows).encode()
    assert tuner.submit(f"/dyno-sessions/{session_id}/runs", files={"files": ("odd.csv", data)}).status_code == 422
    sample = tuner.submit(f"/dynos/{car.dyno_id}/sample", files={"file": ("odd.csv", data)})
    assert sample.status_code == 200
    assert 'name="header" value="alpha"' in sample.text
    confirmed = tuner.submit(
        f"/dynos/{car.dyno_id}/columns",
        {"header": ["alpha", "beta"], "choice": ["engine_speed_rpm rpm", "torque_nm lbf·ft"]},
    )
    assert confirmed.status_code == 303
    assert tuner.submit(f"/dyno-sessions/{session_id}/runs", files={"files": ("odd.csv", data)}).status_code == 303
    with reading(sqlite_engine) as session:
        (run,) = dyno.runs_of(session, [session_id])[session_id]
        quantities = {c["header"]: (c["quantity"], c["confidence"]) for c in run.run.columns}
    assert quantities == {"alpha": ("engine_speed_rpm", "chosen"), "beta": ("torque_nm", "chosen")}


def test_a_column_cannot_be_confirmed_as_what_does_not_exist(tuner: Browser, car: Car) -> None:
    answer = tuner.submit(f"/dynos/{car.dyno_id}/columns", {"header": ["alpha"], "choice": ["torque_nm rpm"]})
    assert answer.status_code == 422
    assert "Choose what the column “alpha” holds." in answer.text


def test_a_dyno_that_drifts_is_seen_on_a_car_measured_again_and_again(tuner: Browser, car: Car, made: Made) -> None:
    for k in range(9):
        made(1 + 30 * k)
    steady = tuner.get(f"/dynos/{car.dyno_id}").text
    assert re.search(r"From \d+ pulls in each session on, a gain leans on that history\.", words_of(steady))
    assert chart_of(steady, "level-chart")["outside"] == [] and "Nothing shows that it drifts." in steady
    made(300, gain=60.0)
    drifted = tuner.get(f"/dynos/{car.dyno_id}").text
    chart = chart_of(drifted, "level-chart")
    assert chart["outside"] == [9]
    assert "outside the control limits" in drifted
    assert "It may be drifting: a car&#39;s power left the control limits" in drifted
    scatter = chart_of(drifted, "scatter-chart")
    assert len(scatter["series"][0]["y"]) == 10  # type: ignore[index]  # JSON


def test_a_dyno_without_sessions_leads_to_the_first(tuner: Browser, car: Car) -> None:
    body = tuner.get(f"/dynos/{car.dyno_id}").text
    assert "No session on this dyno" in body
    assert "Not known yet" in body
    assert "its repeatability is not known" in body
    assert tuner.get("/dynos/99").status_code == 404


def test_the_front_desk_sees_a_session_without_forms(front_desk: Browser, made: Made, car: Car) -> None:
    for address in (f"/dyno-sessions/{made()}", f"/dynos/{car.dyno_id}", "/inbox", "/dynos"):
        body = front_desk.get(address).text
        actions = set(re.findall(r'<form[^>]*method="post"[^>]*action="([^"]*)"', body))
        assert actions <= {"/theme", "/sign-out"}, address


def test_inbox_files_are_taken_into_a_session_with_the_dynos_columns(tuner: Browser, made: Made) -> None:
    session_id = made(seeds=())
    tuner.submit("/inbox", files={"files": ("loose.csv", pull_csv(3))})
    body = tuner.get("/inbox").text
    assert "Exhaust temperature" in body
    refused = tuner.submit("/inbox/1/take", {"session_id": ""})
    assert refused.status_code == 422
    assert "Choose the session" in refused.text
    taken = tuner.submit("/inbox/1/take", {"session_id": str(session_id)})
    assert taken.headers["location"] == f"/dyno-sessions/{session_id}#pulls"
    assert 'id="item-1"' not in tuner.get("/inbox").text


def test_a_file_given_to_the_wrong_session_is_put_back_and_given_to_another(
    tuner: Browser, front_desk: Browser, made: Made, sqlite_engine: Engine
) -> None:
    wrong, right = made(seeds=()), made(2, seeds=())
    tuner.submit("/inbox", files={"files": ("loose.csv", pull_csv(3))})
    assert tuner.submit("/inbox/1/put-back").status_code == 409
    tuner.submit("/inbox/1/take", {"session_id": str(wrong)})
    assert 'action="/inbox/1/put-back"' in tuner.get("/inbox").text
    assert "loose.csv" in front_desk.get("/inbox").text
    back = tuner.submit("/inbox/1/put-back")
    assert (back.status_code, back.headers["location"]) == (303, "/inbox#item-1")
    page = tuner.get("/inbox").text
    assert 'action="/inbox/1/take"' in page
    assert 'action="/inbox/1/put-back"' not in page
    refused = tuner.submit("/inbox/1/take", {"session_id": str(wrong)})
    assert refused.status_code == 409
    assert 'id="session-1-error"' in refused.text
    assert re.search(rf'<option value="{wrong}" selected>', refused.text)
    assert tuner.submit("/inbox/1/take", {"session_id": str(right)}).status_code == 303
    with reading(sqlite_engine) as session:
        runs = dyno.runs_of(session, [wrong, right])
        assert [one.included for one in runs[wrong]] == [False] * len(runs[wrong])
        assert [one.included for one in runs[right]] == [True] * len(runs[wrong])
        assert runs[right]
        assert verify(session).clean
    assert "the file is back in the inbox" in tuner.get("/journal").text


def test_a_pull_taken_in_again_takes_its_file_out_of_the_inbox(tuner: Browser, made: Made) -> None:
    session_id = made(seeds=())
    tuner.submit("/inbox", files={"files": ("loose.csv", pull_csv(3))})
    tuner.submit("/inbox/1/take", {"session_id": str(session_id)})
    tuner.submit("/inbox/1/put-back")
    assert 'action="/inbox/1/take"' in tuner.get("/inbox").text
    tuner.submit("/runs/1/decision", {"included": "yes", "reason": "It was the right session."})
    assert 'action="/inbox/1/take"' not in tuner.get("/inbox").text
    tuner.submit("/runs/1/decision", {"included": "no", "reason": "Wheel spin."})
    assert 'action="/inbox/1/take"' not in tuner.get("/inbox").text


def test_a_refused_dyno_comes_back_as_typed_with_the_sentence_at_its_name(tuner: Browser, car: Car) -> None:
    refused = tuner.submit("/dynos", {"name": "", "note": "Hub dyno, bay 3"})
    assert refused.status_code == 422
    assert 'id="name-error"' in refused.text
    assert 'value="Hub dyno, bay 3"' in refused.text
    assert tuner.submit("/dynos", {"name": "Bay 3", "note": "Hub dyno"}).status_code == 303
    again = tuner.submit("/dynos", {"name": "Bay 3", "note": "the other one"})
    assert again.status_code == 409
    assert 'value="Bay 3"' in again.text
    assert 'value="the other one"' in again.text
    assert "on record already" in again.text
