"""The shop can rely on it that a revision's page tells what it is, and that decisions are signed and bounded."""

from collections.abc import Callable

import pytest
from sqlalchemy import Engine

from app.record import journal
from app.record.engine import reading
from tests.browser import Browser
from tests.calibration_car import RAISED, CalibrationCar, calibration_car, image_of, limit_torque, measured
from tests.pages.diff.test_compare import text_of


@pytest.fixture
def car(app: object, sqlite_engine: Engine) -> CalibrationCar:
    return calibration_car(sqlite_engine)


def decide(tuner: Browser, revision_id: int, decision: str, **fields: str) -> tuple[int, str]:
    answer = tuner.submit(f"/revisions/{revision_id}/decision", {"decision": decision, **fields})
    return answer.status_code, text_of(answer.text)


def test_the_page_adds_up_the_changed_bytes_and_leads_to_the_diff_view(tuner: Browser, car: CalibrationCar) -> None:
    page = tuner.get(f"/revisions/{car.second}")
    words = text_of(page.text)
    assert "No map changed, 12 bytes unexplained." in words
    assert "Bytes changed: 12: 0 in named maps, 0 in block checksums, 12 unexplained." in words
    assert f'href="/compare?from=r{car.first}&amp;to=r{car.second}#range-400"' in page.text
    first = tuner.get(f"/revisions/{car.first}").text
    assert f'href="/compare?from=stock-{car.stock_id}&amp;to=r{car.first}&amp;map=boost%20target"' in first


def test_the_image_leaves_in_three_formats_and_only_for_who_may_have_it(
    browser: Callable[[str | None], Browser], car: CalibrationCar
) -> None:
    got = browser("tuner").get(f"/revisions/{car.first}/image?format=bin")
    assert got.content == image_of(RAISED)
    assert browser("tuner").get(f"/revisions/{car.first}/image?format=hex").content.startswith(b":")
    assert browser("tuner").get(f"/revisions/{car.first}/image?format=srec").content.startswith(b"S1")
    assert browser("tuner").get(f"/revisions/{car.first}/image?format=zip").status_code == 422
    page = browser("front_desk").get(f"/revisions/{car.first}").text
    assert "/image?format" not in page and "Log a flash" not in page and "Withdraw" not in page


def test_a_release_needs_a_legal_basis_and_is_signed_by_name(
    tuner: Browser, car: CalibrationCar, sqlite_engine: Engine
) -> None:
    status, words = decide(tuner, car.first, "released", confirmed="yes")
    assert status == 422
    assert "State the legal basis before release" in words
    status, _ = decide(tuner, car.first, "released", legal_basis="closed course", confirmed="yes")
    assert status == 303
    words = text_of(tuner.get(f"/revisions/{car.first}").text)
    assert "released" in words and "by tuner" in words and "closed course" in words
    with reading(sqlite_engine) as session:
        assert journal.page(session, limit=1)[0].action == "released revision"


def test_a_broken_block_checksum_keeps_a_revision_from_release(tuner: Browser, car: CalibrationCar) -> None:
    status, words = decide(tuner, car.third, "released", legal_basis="closed course")
    assert status == 409
    assert "does not hold; it cannot be released" in words


def test_a_withdrawal_needs_its_reason_and_the_flash_form_offers_it_last_by_its_state(
    tuner: Browser, car: CalibrationCar
) -> None:
    assert decide(tuner, car.second, "withdrawn")[0] == 422
    assert decide(tuner, car.second, "withdrawn", reason="Knocks at 5,000.")[0] == 303
    assert "Knocks at 5,000." in text_of(tuner.get(f"/revisions/{car.second}").text)
    form = text_of(tuner.get(f"/control-units/{car.unit_id}/flashes/new").text)
    withdrawn = form.index("“And further” (withdrawn)")
    assert "“And further”" not in form[:withdrawn]
    assert all(form.index(word) < withdrawn for word in ("Stock", "Revision 1"))


def test_a_crossed_limit_asks_for_a_reason_before_release(
    tuner: Browser, car: CalibrationCar, sqlite_engine: Engine
) -> None:
    limit_torque(sqlite_engine, car, 250.0)
    measured(sqlite_engine, car, car.first, days=1)
    words = text_of(tuner.get(f"/revisions/{car.first}").text)
    assert "crossed a limit of this car" in words and "at most 250" in words
    status, refused = decide(tuner, car.first, "released", legal_basis="closed course")
    assert status == 422
    assert "Write why it is released all the same" in refused
    given = {"legal_basis": "closed course", "limits_reason": "The limit was set for the old clutch."}
    assert decide(tuner, car.first, "released", **given)[0] == 303
    assert "old clutch" in text_of(tuner.get(f"/revisions/{car.first}").text)


def test_sessions_measured_with_it_lead_to_the_gain(tuner: Browser, car: CalibrationCar, sqlite_engine: Engine) -> None:
    baseline = measured(sqlite_engine, car, None, days=1)
    after = measured(sqlite_engine, car, car.first, days=2)
    page = tuner.get(f"/revisions/{car.first}").text
    assert f'href="/gains?from={baseline}&amp;to={after}"' in page


def test_a_session_in_another_gear_is_not_what_a_gain_is_told_over(
    tuner: Browser, car: CalibrationCar, sqlite_engine: Engine
) -> None:
    fourth = measured(sqlite_engine, car, None, days=1, gear="4")
    fifth = measured(sqlite_engine, car, None, days=2, gear="5")
    after = measured(sqlite_engine, car, car.first, days=3, gear="4")
    page = tuner.get(f"/revisions/{car.first}").text
    assert f'href="/gains?from={fourth}&amp;to={after}"' in page
    assert f"/gains?from={fifth}" not in page


def test_comparing_again_under_the_same_layout_is_refused(tuner: Browser, car: CalibrationCar) -> None:
    answer = tuner.submit(f"/revisions/{car.first}/recompute", {"layout_id": str(car.layout_id)})
    assert answer.status_code == 409
    assert "compared with that layout version already" in text_of(answer.text)


def test_a_revision_that_is_not_on_record_is_not_found(tuner: Browser) -> None:
    assert tuner.get("/revisions/99").status_code == 404
