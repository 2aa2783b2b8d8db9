"""The shop can rely on it that a limit crossed between two samples is seen, and an unlogged one is never called passed.

No standard sets these limits: every bound is the tuner's own. Crossings, durations and worst values are worked by hand
on straight lines, and held against a dense resampling of random pulls.
"""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.dyno.limits import Limit, check_limit, check_limits
from app.errors import BadInput

SPEED = np.array([2000.0, 3000.0, 4000.0, 5000.0, 6000.0])
TIME = np.array([0.0, 1.0, 2.0, 3.0, 4.0])


def pull(boost: list[float], **more: list[float]) -> dict[str, Any]:
    channels = {"boost_hpa": np.array(boost), "engine_speed_rpm": SPEED, "time_s": TIME}
    return channels | {name: np.array(values) for name, values in more.items()}


BOOST = Limit("boost_hpa", "max", 1000.0)


def test_a_crossing_between_samples_is_placed() -> None:
    # From 900 at 3000 rpm to 1100 at 4000 rpm: 1000 is crossed at 3500 rpm, 1.5 s; back at 5500 rpm, 3.5 s.
    found = check_limit(BOOST, pull([500, 900, 1100, 1100, 900]))
    assert found.state == "crossed"
    assert found.first_speed_rpm == pytest.approx(3500.0)
    assert found.first_time_s == pytest.approx(1.5)
    assert found.duration_s == pytest.approx(2.0)
    assert (found.worst_value, found.worst_speed_rpm) == (1100.0, 4000.0)
    assert found.sentence == (
        "pull: Boost max 1000 hPa was crossed at 3,500\u202frpm, for 2.00 s; worst 1100 at 4,000\u202frpm."
    )


def test_a_min_is_the_mirror_of_a_max() -> None:
    found = check_limit(Limit("boost_hpa", "min", -1000.0), pull([-500, -900, -1100, -1100, -900]))
    assert found.first_speed_rpm == pytest.approx(3500.0)
    assert found.duration_s == pytest.approx(2.0)
    assert found.worst_value == -1100.0


def test_touching_the_bound_is_not_crossing_it() -> None:
    found = check_limit(BOOST, pull([500, 1000, 1000, 1000, 900]))
    assert found.state == "within"
    assert found.worst_value == 1000.0


def test_only_the_region_counts_and_its_edges_are_interpolated() -> None:
    # Inside 3500 to 4500 rpm: 1000 at 3500, 1100 at 4000, then level.
    region = Limit("boost_hpa", "max", 1050.0, speed_lo_rpm=3500.0, speed_hi_rpm=4500.0)
    found = check_limit(region, pull([2000, 900, 1100, 1100, 2000]))
    assert found.first_speed_rpm == pytest.approx(3750.0)
    assert found.duration_s == pytest.approx(0.75)
    assert found.worst_value == pytest.approx(1100.0)
    assert (found.observed_lo_rpm, found.observed_hi_rpm) == pytest.approx((3500.0, 4500.0))


def test_a_crossing_outside_the_region_does_not_count() -> None:
    found = check_limit(Limit("boost_hpa", "max", 1000.0, speed_lo_rpm=5500.0), pull([2000, 2000, 2000, 900, 900]))
    assert found.state == "within"
    assert "seen from 5,500 to 6,000\u202frpm" in found.sentence


def test_a_region_of_load() -> None:
    part = Limit("boost_hpa", "max", 800.0, load_lo_percent=80.0)
    channels = pull([900, 900, 900, 900, 900], load_percent=[0, 40, 80, 120, 40])
    found = check_limit(part, channels)
    assert found.first_speed_rpm == pytest.approx(4000.0)
    # Load is at least 80 % from 2 s to 3.5 s.
    assert found.duration_s == pytest.approx(1.5)
    assert check_limit(part, pull([900] * 5)).state == "not observed"


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        (Limit("lambda_", "max", 0.9), "the pull has no Lambda"),
        (Limit("boost_hpa", "max", 1000.0, speed_lo_rpm=7000.0), "no sample lies inside its region"),
        (Limit("boost_hpa", "max", 1000.0, load_hi_percent=50.0), "the pull has no Engine load"),
    ],
)
def test_what_was_not_logged_was_not_observed(limit: Limit, words: str) -> None:
    found = check_limit(limit, pull([500, 900, 1100, 1100, 900]))
    assert found.state == "not observed"
    assert words in found.sentence
    assert "passed" not in found.sentence


NAN = float("nan")


def test_a_channel_without_any_value_was_not_observed() -> None:
    assert check_limit(BOOST, pull([NAN] * 5)).state == "not observed"


def test_a_missing_value_is_bridged() -> None:
    found = check_limit(BOOST, pull([500, 900, NAN, 1100, 900]))
    assert found.first_time_s == pytest.approx(2.0)
    assert (found.observed_lo_rpm, found.observed_hi_rpm) == (2000.0, 6000.0)


@pytest.mark.parametrize("values", [[NAN, 1200, NAN, NAN, NAN], [500, NAN, 1200, NAN, 500], [NAN, NAN, NAN, NAN, 1200]])
def test_a_lone_value_among_missing_ones_is_still_seen(values: list[float]) -> None:
    assert check_limit(BOOST, pull(values)).state == "crossed"


def test_without_time_there_is_no_duration() -> None:
    channels = pull([500, 900, 1100, 1100, 900])
    del channels["time_s"]
    found = check_limit(BOOST, channels)
    assert (found.state, found.first_time_s, found.duration_s) == ("crossed", None, None)
    assert found.first_speed_rpm == pytest.approx(3500.0)


def test_a_fall_in_engine_speed_is_followed_in_time() -> None:
    channels = pull([900, 1100, 1100, 1100, 1100], engine_speed_rpm=[3000, 4000, 5000, 4000, 3000])
    found = check_limit(Limit("boost_hpa", "max", 1000.0, speed_hi_rpm=4000.0), channels)
    # Up to 1 s from the crossing at 0.5 s, and again from 3 s on.
    assert found.duration_s == pytest.approx(1.5)


def test_summary_over_pulls() -> None:
    pulls = [("1", pull([500] * 5)), ("2", pull([1500] * 5)), ("3", {"engine_speed_rpm": SPEED})]
    limits = [Limit("boost_hpa", "max", 2000.0), Limit("lambda_", "max", 0.9), BOOST]
    found = check_limits(limits, pulls)
    assert [(s.limit, s.state) for s in found] == [
        (BOOST, "crossed"),
        (limits[1], "not observed"),
        (limits[0], "within"),
    ]
    assert found[0].sentence == "Boost max 1000 hPa: crossed in 1 of 3 pulls (2)."
    assert found[2].sentence.endswith("not crossed where observed, in 2 of 3 pulls.")
    assert [f.state for f in found[0].findings] == ["within", "crossed", "not observed"]


@pytest.mark.parametrize(("size", "state"), [(0, "not observed"), (1, "crossed")])
def test_very_few_samples(size: int, state: str) -> None:
    channels = {"boost_hpa": np.full(size, 9000.0), "engine_speed_rpm": np.full(size, 3000.0)}
    assert check_limit(BOOST, channels).state == state


def test_channels_of_different_length_are_refused() -> None:
    with pytest.raises(BadInput, match="same number of samples"):
        check_limit(BOOST, pull([1.0, 2.0]))


@pytest.mark.parametrize("bad", [{"bound": "about"}, {"bound": "max", "speed_lo_rpm": 2.0, "speed_hi_rpm": 1.0}])
def test_impossible_limits_are_refused(bad: dict[str, Any]) -> None:
    with pytest.raises(BadInput):
        Limit("boost_hpa", value=1.0, **bad)


numbers = st.integers(-4, 4).map(float)


@given(
    st.lists(st.tuples(numbers, numbers, st.integers(1, 3)), min_size=2, max_size=8),
    st.sampled_from(["max", "min"]),
    numbers,
    st.none() | numbers,
    st.none() | numbers,
)
def test_agrees_with_a_dense_resampling(
    rows: list[tuple[float, float, int]], bound: Any, value: float, lo: float | None, hi: float | None
) -> None:
    if lo is not None and hi is not None and lo > hi:
        lo, hi = hi, lo
    values, speed = np.array([r[0] for r in rows]), np.array([r[1] for r in rows])
    time = np.cumsum([float(r[2]) for r in rows])
    limit = Limit("x", bound, value, speed_lo_rpm=lo, speed_hi_rpm=hi)
    found = check_limit(limit, {"x": values, "engine_speed_rpm": speed, "time_s": time})
    fine = np.linspace(time[0], time[-1], 20_001)
    x, n = np.interp(fine, time, values), np.interp(fine, time, speed)
    inside = (n >= (-np.inf if lo is None else lo)) & (n <= (np.inf if hi is None else hi))
    beyond = inside & (x > value if bound == "max" else x < value)
    step = fine[1] - fine[0]
    if found.state == "crossed":
        assert found.duration_s is not None
        assert found.duration_s == pytest.approx(beyond.sum() * step, abs=2 * step * len(rows))
        assert found.first_time_s is not None
        assert found.first_speed_rpm is not None
        # A grid may step over a crossing of a single point, never the other way round.
        if beyond.any():
            assert found.first_time_s <= fine[np.argmax(beyond)] + 1e-9
        there = np.interp(found.first_time_s, time, values)
        assert there >= value - 1e-9 if bound == "max" else there <= value + 1e-9
        assert (lo is None or found.first_speed_rpm >= lo - 1e-9) and (hi is None or found.first_speed_rpm <= hi + 1e-9)
    else:
        assert beyond.sum() <= len(rows)
    if found.state != "not observed" and inside.any():
        # Values and speeds move by at most 8 a second; a region may be a single point, which a grid steps over.
        reach = 8 * step
        near = (n >= (-np.inf if lo is None else lo - reach)) & (n <= (np.inf if hi is None else hi + reach))
        sign = 1 if bound == "max" else -1
        assert found.worst_value is not None
        assert (sign * x[inside]).max() - reach <= sign * found.worst_value <= (sign * x[near]).max() + reach
    if found.state == "not observed":
        assert not inside.any()
