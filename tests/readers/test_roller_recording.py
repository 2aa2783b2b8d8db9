"""The shop can rely on it that a roller's recording is read as it stands or refused with a sentence."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.errors import BadInput
from app.readers.roller_recording import read_roller_recording

TABLE = (
    b"time [s];roller speed [rpm];engine speed [rpm]\n0,0;100,0;1500\n0,1;110,0;1650\n0,2;121,0;1815\n0,3;133,0;1995\n"
)


def test_turns_a_minute_become_radians_a_second() -> None:
    found = read_roller_recording(TABLE, radius_m=0.3)
    assert np.allclose(found.time_s, [0, 0.1, 0.2, 0.3])
    assert np.allclose(found.omega_rad_s, np.array([100, 110, 121, 133]) * 2 * np.pi / 60)
    assert found.engine_speed_rpm is not None
    assert found.engine_speed_rpm.tolist() == [1500, 1650, 1815, 1995]


def test_a_road_speed_is_that_of_the_rollers_surface() -> None:
    table = b"time [s],road speed [mph]\n" + b"".join(b"%d,%d\n" % (k, 50 + k) for k in range(6))
    found = read_roller_recording(table, radius_m=0.5)
    # 1 mile is 1,609.344 m (international yard and pound agreement, 1959)
    assert found.omega_rad_s[0] == pytest.approx(50 * 1609.344 / 3600 / 0.5)
    assert found.engine_speed_rpm is None


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"engine speed [rpm],roller speed [rpm]\n1,2\n2,3\n3,4\n4,5\n", "No column of time"),
        (b"time [s],torque [Nm]\n1,2\n2,3\n3,4\n4,5\n", "No roller speed or road speed"),
        (b"", "empty"),
    ],
)
def test_what_is_missing_is_named(data: bytes, sentence: str) -> None:
    with pytest.raises(BadInput, match=sentence):
        read_roller_recording(data, radius_m=0.3)


def test_a_roller_without_a_radius_is_refused() -> None:
    with pytest.raises(BadInput, match="radius"):
        read_roller_recording(TABLE, radius_m=0.0)


@given(st.binary(max_size=40), st.integers(0, len(TABLE)), st.integers(0, 20))
@settings(max_examples=200)
def test_damaged_files_are_read_or_refused(part: bytes, at: int, cut: int) -> None:
    try:
        found = read_roller_recording(TABLE[:at] + part + TABLE[at + cut :], radius_m=0.3)
    except BadInput:
        return
    assert found.time_s.shape == found.omega_rad_s.shape
    assert np.isfinite(found.time_s).all()
    assert np.isfinite(found.omega_rad_s).all()
