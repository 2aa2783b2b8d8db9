"""Guessing what a map is for. Common practice, no source: these are words any tuner would read the same way."""

import pytest

from app.calc.calibration.category import categorise


@pytest.mark.parametrize(
    ("name", "description", "groups", "category"),
    [
        ("KnockRetard", "", [], "ignition"),
        ("spark_base_hi", "", [], "ignition"),
        ("T_17", "wastegate duty", [], "boost"),
        ("T_17", "target lambda at full load", [], "fuel"),
        ("T_17", "accelerator pedal to torque", [], "driver demand"),
        ("T_17", "torque at the clutch", [], "transmission"),
        ("T_17", "indicated torque", [], "torque"),
        ("rpmMax", "", [], "limiter"),
        ("T_17", "upper torque limit", ["Ignition"], "limiter"),
        ("T_17", "spark", ["Boost control"], "boost"),
        ("T_17", "", ["Diagnosis", "Fuel injection"], "fuel"),
        ("T_17", "", ["Limits"], "other"),
        ("climax", "", [], "other"),
        ("", "", [], "other"),
    ],
)
def test_words_point_to_a_category(name: str, description: str, groups: list[str], category: str) -> None:
    assert categorise(name, description, groups) == category
