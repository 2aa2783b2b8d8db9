"""The figures of a strip run: their names on screens, in the order of the slip, and how they are written."""

from collections.abc import Mapping

from app.calc.number_text import NARROW_SPACE, plain
from app.web.units_view import UnitsView

LABELS = {
    "et_60ft_s": "60 ft",
    "et_330ft_s": "330 ft",
    "et_660ft_s": "1/8 mile (660 ft)",
    "trap_660ft_kmh": "Trap speed at 660 ft",
    "et_1000ft_s": "1000 ft",
    "et_1320ft_s": "1/4 mile (1320 ft)",
    "trap_1320ft_kmh": "Trap speed at 1320 ft",
    "t_0_60mph_s": "0 to 60 mph",
    "t_0_100kmh_s": "0 to 100 km/h",
}


def figure_text(name: str, value: float, units: UnitsView) -> str:
    """Times to a thousandth as a slip has them, speeds in the reader's unit."""
    if name.endswith("_kmh"):
        return units.text(value, "vehicle speed", decimals=2)
    return f"{plain(value, 3)}{NARROW_SPACE}s"


def difference_text(name: str, value: float, spread: float | None, units: UnitsView) -> str:
    if name.endswith("_kmh"):
        return units.difference_text(value, "vehicle speed", spread, decimals=2)
    more = "" if spread is None else " ± under 0.001" if spread < 0.0005 else f" ± {plain(spread, 3)}"
    return f"{plain(value, 3, sign=True)}{more}{NARROW_SPACE}s"


def listed(results: Mapping[str, float], units: UnitsView) -> str:
    """The slip's figures in one sentence: "60 ft 2.100 s, trap speed at 1320 ft 155.00 km/h"."""
    return ", ".join(f"{name[0].lower()}{name[1:]} {figure}" for name, figure in slip(results, units))


def slip(results: Mapping[str, float], units: UnitsView) -> tuple[tuple[str, str], ...]:
    """(name, figure) of what the slip has, in its order."""
    return tuple(
        (label, figure_text(name, float(results[name]), units)) for name, label in LABELS.items() if name in results
    )
