"""The shop can rely on it that it is warned of what it asked to be warned of, and of broken structure always."""

import pytest

from app.calc.calibration.checksum import recompute
from app.calc.calibration.delta import compare
from app.calc.calibration.delta_warnings import CategoryRule, WarningRules, with_warnings
from app.calc.calibration.manual_delta import comparison_by_hand, manual_delta
from app.errors import BadInput
from tests.calc.calibration.pairs import ENGINE, SUM, engine

STOCK = recompute(engine(), SUM)


def warnings(rules: WarningRules, **changes) -> tuple[str, ...]:
    after = engine(**changes)
    return with_warnings(compare(STOCK, recompute(after, SUM), ENGINE), rules).warnings


def test_without_rules_only_broken_structure_is_told() -> None:
    assert warnings(WarningRules(), limit=254, torque=(65534, 0, 65534, 1)) == (
        "torque limit: 1 changed cell at the smallest number that can be stored.",
    )
    assert warnings(WarningRules(), limit=255) == (
        "speed limit: 1 changed cell at the largest number that can be stored.",
    )
    assert warnings(WarningRules(at_raw_limit=False), limit=255) == ()


def test_a_checksum_that_does_not_hold_is_told() -> None:
    found = compare(STOCK, engine(limit=200), ENGINE)
    assert with_warnings(found, WarningRules()).warnings == ("The block checksum block sum does not hold.",)
    assert with_warnings(found, WarningRules(checksum=False)).warnings == ()


def test_breakpoints_that_no_longer_rise_are_told_once_broken() -> None:
    broken = {"speed": (1000, 2000, 2000, 4000)}
    assert warnings(WarningRules(), **broken) == (
        "spark advance: the breakpoints of engine speed no longer rise or fall throughout.",
        "torque limit: the breakpoints of engine speed no longer rise or fall throughout.",
    )
    already = compare(engine(**broken), engine(speed=(1000, 3000, 3000, 4000)), ENGINE)
    assert with_warnings(already, WarningRules(checksum=False)).warnings == ()


def test_a_limiter_raised_is_told_only_when_the_shop_wants_it() -> None:
    rules = WarningRules(categories={"limiter": CategoryRule(raised=True)})
    assert warnings(rules, limit=252) == ("speed limit is raised, by up to 2 km/h.",)
    assert warnings(rules, limit=248) == ()
    assert warnings(WarningRules(), limit=252) == ()
    assert warnings(rules, spark=((10, 20, 30, 41), (12, 22, 32, 42), (14, 24, 34, 44))) == ()


def test_limits_for_change_and_percent() -> None:
    rules = WarningRules(categories={"limiter": CategoryRule(change=10, percent=5)})
    assert warnings(rules, torque=(2000, 3100, 3500, 3000)) == ()
    # 15.1 of 300 N·m is 5.03 %.
    assert warnings(rules, torque=(2000, 2849, 3500, 3000)) == (
        "torque limit changes by −15.1 N·m; the rule is 10.0 N·m.",
        "torque limit changes by up to 5.0 %; the rule is 5 %.",
    )


def test_a_jump_is_held_against_the_largest_that_stock_has() -> None:
    """Stock torque steps by at most 100 N·m; 250 to 500 N·m is 2.5 times that."""
    rules = WarningRules(categories={"limiter": CategoryRule(jump_factor=2)})
    assert warnings(rules, torque=(2000, 4000, 4000, 4000)) == ()
    assert warnings(rules, torque=(2000, 2500, 5000, 5000)) == (
        "torque limit: neighbouring cells differ by 250.0 N·m from 2000 1/min on; in stock by at most 100.0 N·m.",
    )
    found = compare(STOCK, recompute(engine(torque=(2000, 2500, 5000, 5000)), SUM), ENGINE)
    wild = {"torque limit": compare(STOCK, engine(torque=(0, 2000, 0, 0)), ENGINE).deltas[0].after}
    assert with_warnings(found, rules, wild).warnings == ()


def test_a_jump_in_a_map_names_both_axes() -> None:
    rules = WarningRules(categories={"ignition": CategoryRule(jump_factor=2)})
    # Stock steps: 7.5 deg over speed, 1.5 deg over load.
    assert warnings(rules, spark=((10, 20, 30, 40), (12, 22, 32, 42), (14, 24, 34, 60))) == (
        "spark advance: neighbouring cells differ by 13.50 deg from 4000 1/min, 30.0 % on; "
        "in stock by at most 1.50 deg.",
        "spark advance: neighbouring cells differ by 19.50 deg from 3000 1/min, 50.0 % on; "
        "in stock by at most 7.50 deg.",
    )


def test_changes_by_hand_are_held_to_the_rules_too() -> None:
    rules = WarningRules(categories={"limiter": CategoryRule(raised=True)})
    found = comparison_by_hand(
        [manual_delta("rev limit", before=6500, after=6800, category="limiter", unit="1/min", decimals=0)]
    )
    assert with_warnings(found, rules).warnings == ("rev limit is raised, by up to 300 1/min.",)


def test_rules_come_back_from_json() -> None:
    rules = WarningRules(checksum=False, categories={"boost": CategoryRule(True, 0.2, 10.0, 3.0)})
    assert WarningRules.from_json(rules.to_json()) == rules
    assert WarningRules.from_json({}) == WarningRules()


@pytest.mark.parametrize(
    "plain",
    [
        {"other": True},
        {"categories": {"engine": {}}},
        {"categories": {"boost": {"change": 0}}},
        {"categories": {"boost": {"change": "much"}}},
        {"categories": {"boost": {"speed": 1}}},
        {"categories": 3},
    ],
)
def test_rules_that_are_none_are_refused(plain) -> None:
    with pytest.raises(BadInput):
        WarningRules.from_json(plain)
