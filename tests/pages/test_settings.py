"""The workshop's tolerances are read and typed in the manager's units and kept in the record's."""

import re

import pytest
from sqlalchemy import Engine

from app.record.engine import reading
from app.record.settings import Shop, shop
from tests.browser import Browser


def kept(engine: Engine) -> Shop:
    with reading(engine) as session:
        return shop(session)


def as_shown(manager: Browser) -> dict[str, str]:
    """The fields of the workshop's form as the page fills them."""
    body = manager.get("/settings").text.split('action="/settings/shop"')[1]
    inputs = [one for one in re.findall(r"<input[^>]*>", body) if 'type="text"' in one]
    found = {re.search(r'name="([^"]+)"', one): re.search(r'value="([^"]*)"', one) for one in inputs}
    return {name[1]: value[1] for name, value in found.items() if name and value}


def test_tolerances_are_typed_in_the_managers_units(manager: Browser, sqlite_engine: Engine) -> None:
    manager.submit("/settings/preferences", {"temperature": "°F", "pressure": "psi"})
    before = kept(sqlite_engine)
    fields = as_shown(manager)
    # A difference of 1 K is one of 1.8 °F.
    assert float(fields["alike_temperature_c"]) == pytest.approx(before.alike_temperature_c * 1.8, rel=1e-3)
    assert manager.submit("/settings/shop", fields | {"alike_temperature_c": "9"}).status_code == 303
    after = kept(sqlite_engine)
    assert after.alike_temperature_c == pytest.approx(5.0)
    # What was left as it was shown stays as it was, whatever was rounded for showing it.
    assert (after.alike_pressure_hpa, after.alike_tyre_pressure_bar) == (
        before.alike_pressure_hpa,
        before.alike_tyre_pressure_bar,
    )


def test_a_refused_setting_comes_back_as_typed_with_the_sentence_at_its_field(
    manager: Browser, sqlite_engine: Engine
) -> None:
    before = kept(sqlite_engine)
    typed = as_shown(manager) | {"name": "Bay Three", "supply_minimum_v": "much", "alike_pressure_hpa": "17"}
    answer = manager.submit("/settings/shop", typed)
    assert answer.status_code == 422
    assert re.search(r'id="supply_minimum_v-error".*Lowest supply voltage: “much” is no number\.', answer.text)
    shown = re.findall(r'<input[^>]*name="(\w+)"[^>]*value="([^"]*)"', answer.text)
    assert {("name", "Bay Three"), ("supply_minimum_v", "much"), ("alike_pressure_hpa", "17")} <= set(shown)
    assert kept(sqlite_engine) == before
    assert manager.submit("/settings/shop", typed | {"supply_minimum_v": "12.6"}).status_code == 303
    assert kept(sqlite_engine).name == "Bay Three"
