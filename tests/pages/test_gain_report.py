"""A customer's sheet tells the gain that the record gives, and says what was and what was not verified."""

import datetime as dt
import re
from dataclasses import dataclass

import pytest
from sqlalchemy import Engine

from app.actions.add_read_back import add_read_back
from app.actions.decide_revision import decide_revision
from app.actions.set_limit import NewLimit, set_limit
from app.readers.image import read_image
from app.record import content, flashes, gains, people, revisions
from app.record.engine import transaction
from app.record.gain_report import report
from app.web.units_view import UnitsView
from tests.browser import Browser
from tests.dyno_car import START, Car, car_on_record, flashed, session_of


@dataclass
class Measured:
    car: Car
    before: int
    after: int


@pytest.fixture
def measured(tuner: Browser, sqlite_engine: Engine) -> Measured:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        car = car_on_record(session, person)
        before = session_of(session, person, car, 0)
        flashed(session, person, car, car.revision_ids[0], day=2)
        after = session_of(session, person, car, 3, gain=30.0)
    return Measured(car, before, after)


def sheet(browser: Browser, measured: Measured, query: str = "") -> str:
    answer = browser.get(f"/gains/report?from={measured.before}&to={measured.after}{query}")
    assert answer.status_code == 200
    return re.sub(r"[ \n]+", " ", answer.text)


def verified(page: str) -> tuple[str, str]:
    """(not verified, verified) as the sheet lists them."""
    told = page.split("<h2>Not verified</h2>")[1].split("<h2>Limits")[0]
    missing, _, held = told.partition("<h2>Verified</h2>")
    return missing, held


def test_the_sheet_tells_the_figures_of_the_comparison(
    front_desk: Browser, measured: Measured, sqlite_engine: Engine
) -> None:
    page = sheet(front_desk, measured)
    with transaction(sqlite_engine) as session:
        found = report(session, gains.compared(session, measured.before, measured.after))
    units = UnitsView()
    for one in found.read_offs:
        assert f"{one.speed_rpm:,.0f}" in page
        assert units.difference_text(one.gain_kw, "power", one.half_kw).removesuffix("\u202fkW") in page
        assert units.difference_text(one.gain_nm, "torque", one.half_nm).removesuffix("\u202fN·m") in page
    for band in found.bands:
        assert units.difference_text(band.gain_kw, "power", band.half_kw) in page
    before, after = found.power
    assert f"{units.text(before.at.value, 'power', before.half)} at " in page
    assert f"{units.text(after.at.value, 'power', after.half)} at " in page
    assert "30KLN3C67NB004711" in page and "Closed course only" in page
    assert "Every ± on this sheet is a 95 % statement" in page


def test_what_was_not_verified_is_listed_and_what_was_moves_over(
    tuner: Browser, measured: Measured, sqlite_engine: Engine
) -> None:
    missing, held = verified(sheet(tuner, measured))
    assert "It was not read back; that the write arrived whole is not verified." in missing
    assert "Not released: the workshop has not signed it off." in missing
    assert "It was not written back on record" in missing
    assert "Not known: no layout tells where they are." in missing
    assert (
        "Revision 1, from the flash log by time." in held and "Recorded: 13.5 V before, 13.2 V at the lowest." in held
    )
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        revision = revisions.revision(session, measured.car.revision_ids[0])
        (write,) = flashes.of_vehicle(session, measured.car.vehicle_id)
        data = content.fetch(session, str(revision.sha256))
        add_read_back(
            session,
            person=person,
            at=START + dt.timedelta(days=4),
            flash_id=write.flash.id,
            uploaded=data,
            file_name="read.bin",
            read=read_image(data, base_address=0),
        )
    missing, held = verified(sheet(tuner, measured))
    assert "read back" not in missing and "control unit read back after the write" in held


def test_pending_coding_stands_at_the_top(tuner: Browser, measured: Measured) -> None:
    page = sheet(tuner, measured)
    assert page.index("Do not start the engine: option coding has not been written back and verified") < page.index(
        "<h2>The figures</h2>"
    )


def test_limits_say_crossed_within_or_not_observed(tuner: Browser, measured: Measured, sqlite_engine: Engine) -> None:
    assert "No limit is set for this car: nothing here says that its channels are within bounds." in sheet(
        tuner, measured
    )
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        for channel, value in (("exhaust_temperature_c", 800.0), ("lambda_", 0.99), ("boost_hpa", 1500.0)):
            limit = NewLimit(channel=channel, bound="max", value=value)
            set_limit(session, person=person, at=START, vehicle_id=measured.car.vehicle_id, limit=limit)
    page = sheet(tuner, measured).split("<h2>Limits")[1]
    assert "1 of 3 limits crossed; 1 not observed" in page
    for word in ("crossed", "within", "not observed"):
        assert re.search(rf"<td[^>]*>{word}</td>", page)


def test_an_attribution_that_the_flash_log_contradicts_is_not_called_verified(
    tuner: Browser, measured: Measured, sqlite_engine: Engine
) -> None:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        flashed(session, person, measured.car, measured.car.revision_ids[1], day=2.5)
    missing, _ = verified(sheet(tuner, measured))
    assert "the flash log says that revision 2 was written last" in missing


def test_sessions_that_do_not_compare_give_no_sheet(tuner: Browser, measured: Measured, sqlite_engine: Engine) -> None:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        other = session_of(session, person, measured.car, 5, gear="5")
    answer = tuner.get(f"/gains/report?from={measured.before}&to={other}")
    assert answer.status_code == 409 and "different gears" in answer.text
    assert tuner.get(f"/gains/report?from={measured.before}&to=999").status_code == 404


def test_another_standard_is_said_with_both_factors(tuner: Browser, measured: Measured) -> None:
    page = sheet(tuner, measured, "&standard=sae_j1349")
    assert "Both sessions are computed anew from their raw pulls, corrected by SAE J1349 (1990 form)." in page
    assert page.count("SAE J1349 (1990 form), factor ") == 2
    assert "already compensates for the air" in page  # the car is boosted


def test_a_released_revision_names_who_signed(tuner: Browser, measured: Measured, sqlite_engine: Engine) -> None:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "tuner")
        assert person is not None
        decide_revision(session, person=person, at=START, revision_id=measured.car.revision_ids[0], decision="released")
    _, held = verified(sheet(tuner, measured))
    assert "Released and signed off by tuner." in held
