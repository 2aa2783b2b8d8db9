"""Places worth showing."""

import pytest

from app.calc.calibration.decimals import decimals_of
from app.calc.calibration.scaling import Scaling


@pytest.mark.parametrize(
    ("scaling", "data_type", "given", "places"),
    [
        (Scaling(), "uint8", None, 0),
        (Scaling.linear(0.25), "uint16", None, 2),
        (Scaling.linear(0.1), "uint16", None, 1),
        (Scaling.linear(50), "uint16", None, 0),
        (Scaling.linear(1 / 3), "uint16", None, 1),
        (Scaling.linear(1e-9), "uint16", None, 6),
        (Scaling.linear(0.25, decimals=1), "uint16", None, 1),
        (Scaling.linear(0.25, decimals=1), "uint16", 4, 4),
        (Scaling(kind="rational", coefficients=(0, 40, 0, 0, 0, 1)), "uint16", None, 3),
        (Scaling(), "float32", None, 3),
    ],
)
def test_one_step_of_the_stored_number_can_be_seen(
    scaling: Scaling, data_type: str, given: int | None, places: int
) -> None:
    assert decimals_of(scaling, data_type, given) == places  # type: ignore[arg-type]  # a data type of the table
