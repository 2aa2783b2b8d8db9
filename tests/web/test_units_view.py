"""Quantities that nobody chooses a unit for follow those that a person chose."""

import pytest

from app.web.units_view import UnitsView


def test_a_tyre_is_inflated_in_the_unit_that_goes_with_the_readers_pressure() -> None:
    view = UnitsView({"pressure": "psi"})
    assert view.symbol("tyre pressure") == "psi"
    # 1 psi = 6894.757 Pa (NIST SP 811, appendix B): 36 psi are 2.4821 bar.
    assert view.read(36.0, "tyre pressure") == pytest.approx(2.48211, abs=1e-5)
    assert UnitsView({"pressure": "hPa"}).symbol("tyre pressure") == "bar"
    assert UnitsView().text(2.5, "tyre pressure", decimals=1) == "2.5\u202fbar"
