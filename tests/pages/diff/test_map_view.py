"""The shop can rely on it that any map of any layout is shown, and that its charts are JSON by the letter."""

import json

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.calc.calibration.delta import compare
from app.calc.calibration.delta_export import comparison_csv
from app.calc.calibration.delta_warnings import CategoryRule, WarningRules, with_warnings
from app.calc.calibration.layout import CATEGORIES
from app.pages.diff.address import Address
from app.pages.diff.map_list import chosen, groups
from app.pages.diff.map_view import SHOWS, map_view
from tests.calc.calibration.layouts import layouts
from tests.calc.calibration.pairs import edited, made_up

EVERY_RULE = WarningRules(categories={one: CategoryRule(True, 0.1, 1.0, 1.5) for one in CATEGORIES})


@given(st.data())
@settings(max_examples=200, deadline=None, suppress_health_check=(HealthCheck.too_slow, HealthCheck.data_too_large))
def test_any_change_is_listed_shown_and_drawn(data: st.DataObject) -> None:
    layout, before = data.draw(layouts()), data.draw(made_up())
    found = with_warnings(compare(before, data.draw(edited(before, layout)), layout), EVERY_RULE)
    comparison_csv(found)
    for order in ("", "size", "name"):
        address = Address("stock-1", "r1", sort=order)
        listed = groups(chosen(found.deltas, address), address, "")
        assert sum(len(group.maps) for group in listed) == len(found.deltas)
    for delta in found.deltas:
        for show, _ in SHOWS:
            view = map_view(delta, show)
            assert view.sentence
            json.dumps([view.heatmap, view.section, view.surface], allow_nan=False)
