"""Sister cars on their page, and a change followed from car to car in the reader's units."""

import re

import pytest
from sqlalchemy import Engine

from app.record.engine import transaction
from tests.browser import Browser
from tests.record.test_fleet import TUNED, pulls, sister
from tests.shop import Shop


@pytest.fixture
def revision_id(app: object, sqlite_engine: Engine) -> int:
    with transaction(sqlite_engine) as session:
        shop = Shop(session)
        dyno, found = shop.dyno(), 0
        for factor in (1.06, 1.08, 1.075):
            car, unit = sister(shop)
            revision = shop.revision(unit, TUNED)
            pulls(shop, car, unit, dyno, None, 1.0)
            pulls(shop, car, unit, dyno, revision, factor)
            found = revision.id
        return found


def test_nothing_shared_says_how_it_comes_about(front_desk: Browser) -> None:
    page = front_desk.get("/fleet").text
    assert "No two cars share a stock calibration yet" in page
    assert "No change on more than one car yet" in page


def test_families_and_changes_lead_to_their_cars(front_desk: Browser, revision_id: int) -> None:
    page = front_desk.get("/fleet").text
    assert len(set(re.findall(r'href="(/vehicles/\d+)"', page))) == 3
    address = re.search(r'href="(/fleet/changes/\d+)"', page)
    assert address is not None
    assert front_desk.get(address[1]).text.count("Revision 1 “Stage one”") == 3


def test_the_expectation_is_told_in_the_readers_units(front_desk: Browser, revision_id: int) -> None:
    address = f"/fleet/changes/{revision_id}"
    told = front_desk.get(f"/api/v1{address}").json()
    said = told["prediction"]
    page = front_desk.get(address).text
    assert f"expected between +{said['low_kw']:.1f} and +{said['high_kw']:.1f} kW" in page
    front_desk.submit("/settings/preferences", {"power": "hp"})
    # NIST Special Publication 811, appendix B.8: 1 hp (550 ft·lbf/s) = 0.745 699 9 kW.
    low, high = (f"+{said[key] / 0.7456999:.1f}" for key in ("low_kw", "high_kw"))
    assert f"expected between {low} and {high} hp" in front_desk.get(address).text
    assert told["against"] == "stock"
    assert len(told["cars"]) == 3
    assert f"/gains?from={told['cars'][0]['before_session_id']}" in page
