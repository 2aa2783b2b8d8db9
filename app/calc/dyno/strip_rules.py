"""Rules of thumb for the quarter mile, and whether a recorded run is plausible. Checks of a record, never results.

ET = c·(W/P)^⅓ and trap speed = k·(P/W)^⅓ with W in lb with driver, P peak net engine power in hp. Constant power
without losses gives c·k = 1350 exactly (1.5 × 402.336 m in mph·s); fitted constants lie above it.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from app.calc.units import convert
from app.errors import BadInput

QUARTER_MILE_M = 402.336


@dataclass(frozen=True, slots=True)
class Rule:
    """One pair of constants with its origin: `et` in s·(hp/lb)^⅓, `trap` in mph·(lb/hp)^⅓."""

    name: str
    et: float
    trap: float
    source: str


# The fitted constants are quoted by several public calculators; some pages swap the first two names.
RULES = (
    Rule("constant power, no losses", 4.80261, 281.0971, "mechanics"),
    Rule("Hale", 5.825, 234.0, "published fit, quoted by public quarter-mile calculators"),
    Rule("Huntington", 6.290, 224.0, "published fit (1958), quoted by public quarter-mile calculators"),
    Rule("Fox", 6.269, 230.0, "published fit (1973), quoted by public quarter-mile calculators"),
)


@dataclass(frozen=True, slots=True)
class RuleOfThumb:
    """What one rule gives for a mass and a power."""

    rule: Rule
    et_1320ft_s: float
    trap_1320ft_kmh: float


@dataclass(frozen=True, slots=True)
class Plausibility:
    """What speaks against a recorded run; `plausible` when nothing does. No finding is no proof."""

    plausible: bool
    findings: tuple[str, ...]
    sentence: str


def estimates(mass_kg: float, engine_power_kw: float) -> tuple[RuleOfThumb, ...]:
    """Every rule's elapsed time and trap speed, for a peak net engine power (not wheel power)."""
    _check(mass_kg, engine_power_kw)
    per_hp = (convert(mass_kg, "kg", "lb") / convert(engine_power_kw, "kW", "hp")) ** (1 / 3)
    return tuple(RuleOfThumb(r, r.et * per_hp, convert(r.trap / per_hp, "mph", "km/h")) for r in RULES)


def power_from_trap_kw(rule: Rule, mass_kg: float, trap_kmh: float) -> float:
    """Engine power that a rule reads out of a trap speed: an estimate, labelled by the rule."""
    _check(mass_kg, trap_kmh)
    mph = convert(trap_kmh, "km/h", "mph")
    return convert(convert(mass_kg, "kg", "lb") * (mph / rule.trap) ** 3, "hp", "kW")


def power_from_et_kw(rule: Rule, mass_kg: float, et_s: float) -> float:
    """Engine power that a rule reads out of an elapsed time: it takes grip and driver for granted."""
    _check(mass_kg, et_s)
    return convert(convert(mass_kg, "kg", "lb") * (rule.et / et_s) ** 3, "hp", "kW")


def plausibility(
    recorded: Mapping[str, float],
    *,
    mass_kg: float | None = None,
    wheel_power_kw: float | None = None,
    simulated: Mapping[str, float] | None = None,
) -> Plausibility:
    """Hold a recorded run against mechanics, the car's peak wheel power, and a computed run.

    recorded, simulated : figures by name as `StripResult` has them; what is missing is not checked.
    """
    findings = [*_product(recorded), *_power(recorded, mass_kg, wheel_power_kw)]
    if simulated is not None:
        findings += _against(recorded, simulated)
    if findings:
        sentence = f"The recorded run does not fit: {'; '.join(findings)}. Check slip, mass, wind and slope."
    else:
        sentence = "Nothing that was checked speaks against the recorded run."
    return Plausibility(not findings, tuple(findings), sentence)


def _product(recorded: Mapping[str, float]) -> list[str]:
    """t·v/x is 1.5 at constant power, 2 at constant force; drag and grip move it between, a slip of the pen beyond."""
    et, trap = recorded.get("et_1320ft_s"), recorded.get("trap_1320ft_kmh")
    if et is None or trap is None:
        return []
    product = et * trap / 3.6 / QUARTER_MILE_M
    if 1.3 <= product <= 2.0:
        return []
    return [f"elapsed time and trap speed do not belong together (t·v/x is {product:.2f}, ordinarily 1.4 to 1.8)"]


def _power(recorded: Mapping[str, float], mass_kg: float | None, wheel_power_kw: float | None) -> list[str]:
    """The mean power that went into speed alone cannot exceed the peak power at the wheels."""
    et, trap = recorded.get("et_1320ft_s"), recorded.get("trap_1320ft_kmh")
    if et is None or trap is None or mass_kg is None or wheel_power_kw is None:
        return []
    _check(mass_kg, wheel_power_kw)
    needed = mass_kg * (trap / 3.6) ** 2 / 2 / et / 1000
    if needed <= wheel_power_kw:
        return []
    return [f"the trap speed took {needed:.0f} kW on average, more than the {wheel_power_kw:.0f} kW at the wheels"]


# How far a careful computation and a clean run lie apart: common practice, no source.
_TOLERANCE = {"et": 0.06, "trap": 0.05}


def _against(recorded: Mapping[str, float], simulated: Mapping[str, float]) -> list[str]:
    found = []
    for name in ("et_60ft_s", "et_660ft_s", "et_1320ft_s", "trap_660ft_kmh", "trap_1320ft_kmh"):
        if name not in recorded or name not in simulated:
            continue
        kind, mark, unit = name.split("_")
        difference = recorded[name] / simulated[name] - 1
        # The first 60 ft are grip and driver; a slow start is no sign of a wrong record.
        allowed = 0.25 if mark == "60ft" else _TOLERANCE[kind]
        if abs(difference) <= allowed or (mark == "60ft" and difference > 0):
            continue
        what = "elapsed time" if kind == "et" else "trap speed"
        shown = "km/h" if unit == "kmh" else unit
        found.append(
            f"{what} at {mark.removesuffix('ft')} ft is {recorded[name]:.2f} {shown}, computed {simulated[name]:.2f}"
        )
    return found


def _check(*values: float) -> None:
    if not all(v > 0 for v in values):
        raise BadInput("Mass, power, time and speed must be above 0.", field="mass_kg")
