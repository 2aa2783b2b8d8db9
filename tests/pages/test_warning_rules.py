"""The shop can rely on it that it is warned by its own rules, set by a manager, and by no figure of anybody else's."""

from collections.abc import Callable

import pytest
from sqlalchemy import Engine

from app.record import journal, warning_rules
from app.record.engine import reading
from tests.browser import Browser
from tests.calibration_car import CalibrationCar, calibration_car
from tests.pages.diff.test_compare import text_of


@pytest.fixture
def car(app: object, sqlite_engine: Engine) -> CalibrationCar:
    return calibration_car(sqlite_engine)


STRUCTURAL = {"at_raw_limit": "yes", "checksum": "yes", "axis_not_monotonic": "yes"}


def test_rules_set_on_screen_warn_in_the_diff_view(
    browser: Callable[[str | None], Browser], car: CalibrationCar, sqlite_engine: Engine
) -> None:
    address = f"/compare?from=stock-{car.stock_id}&to=r{car.first}"
    assert "Warnings" not in text_of(browser("tuner").get(address).text)
    rules = STRUCTURAL | {"boost.raised": "yes", "boost.percent": "7,5", "boost.change": ""}
    answer = browser("manager").submit("/settings/warnings", rules)
    assert answer.status_code == 303
    words = text_of(browser("tuner").get(address).text)
    # 1.800 became 1.980 bar, the largest change; 1.400 became 1.500, 1.500 became 1.650, 1.700 became 1.870.
    assert "boost target is raised, by up to 0.180 bar." in words
    assert "boost target changes by up to 10.0 %; the rule is 7.5 %." in words
    page = browser("manager").get("/settings/warnings").text
    assert 'name="boost.percent" value="7.5"' in page
    with reading(sqlite_engine) as session:
        assert journal.page(session, limit=1)[0].action == "change warning rules"


def test_a_rule_can_be_turned_off(
    browser: Callable[[str | None], Browser], car: CalibrationCar, sqlite_engine: Engine
) -> None:
    address = f"/compare?from=stock-{car.stock_id}&to=r{car.third}"
    assert "The block checksum block does not hold." in text_of(browser("tuner").get(address).text)
    browser("manager").submit("/settings/warnings", {"at_raw_limit": "yes"})
    assert "Warnings" not in text_of(browser("tuner").get(address).text)
    with reading(sqlite_engine) as session:
        assert warning_rules.rules(session).checksum is False


@pytest.mark.parametrize("typed", ["x", "-1", "0", "1,234"])
def test_a_figure_that_is_none_is_refused_and_shown_again(manager: Browser, typed: str) -> None:
    page = manager.submit("/settings/warnings", STRUCTURAL | {"fuel.percent": typed})
    assert page.status_code == 422
    assert f'name="fuel.percent" value="{typed}"' in page.text


def test_the_same_rules_again_are_nothing_new(manager: Browser) -> None:
    assert manager.submit("/settings/warnings", STRUCTURAL).status_code == 409
