"""The figures of a gain in words, in the reader's units."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.gain import BandAverage, Gain, ReadOff, shares
from app.calc.dyno.peaks import CurvePeak
from app.calc.number_text import rpm
from app.web.units_view import UnitsView

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Quantity:
    """Power or torque: which columns of a gain it reads, and how it is written."""

    name: str
    label: str
    units: UnitsView

    @property
    def unit(self) -> str:
        return self.units.symbol(self.name)

    def curve(self, result: Gain) -> tuple[Values, Values | None]:
        """(gain, half width or None) in SI."""
        return (result.gain_kw, result.half_kw) if self.name == "power" else (result.gain_nm, result.half_nm)

    def means(self, result: Gain) -> tuple[Values, Values]:
        """The mean curves before and after in SI."""
        if self.name == "power":
            return result.before.power_kw, result.after.power_kw
        return result.before.torque_nm, result.after.torque_nm

    def shown(self, values: Values) -> list[float]:
        """A curve in the reader's unit, for a chart."""
        factor = self.units.show(1.0, self.name)
        return [round(float(value) * factor, 3) for value in values]

    def text(self, value: float, spread: float | None = None) -> str:
        return self.units.text(value, self.name, spread)

    def difference(self, value: float, spread: float | None = None) -> str:
        return self.units.difference_text(value, self.name, spread)


def verdict_words(result: Gain, quantity: Quantity) -> str:
    """One sentence on the whole curve: what is proven, and the largest change."""
    change, half = quantity.curve(result)
    at = int(np.argmax(np.abs(change)))
    where = rpm(float(result.speed_rpm[at]))
    found = shares(result)
    if found is None or half is None:
        return (
            f"The curves differ by up to {quantity.difference(float(change[at]))} at {where}; how sure that is, is not "
            "known."
        )
    figure = f"{quantity.difference(float(change[at]), float(half[at]))} at {where}"
    what = "power" if quantity.name == "power" else "torque"
    if found.better == 0 and found.worse == 0:
        return f"No change is proven: the largest difference, {figure}, is within what these pulls repeat to."
    if found.better and found.worse:
        return (
            f"More {what} over {_percent(found.better)} of the range and less over {_percent(found.worse)}, both "
            f"proven; the largest change is {figure}."
        )
    direction, share = ("More", found.better) if found.better else ("Less", found.worse)
    over = "the whole range" if share > 0.995 else f"{_percent(share)} of the range"
    return f"{direction} {what} over {over}, proven; the largest change is {figure}."


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= 0.005 else "less than 1 %"


def peak_words(one: CurvePeak, quantity: Quantity) -> str:
    """ "214.3 ± 1.9 kW at 5,300 rpm (between 5,150 and 5,450 rpm)"; at an end of the curve it is no peak, and where the
    other session does not get there no gain is told."""
    at = one.at
    alone = "" if one.shared else "; the other session does not cover this speed, so no gain can be told there"
    if one.at_end:
        return (
            f"{quantity.text(at.value, one.half)} at {rpm(at.speed_rpm)}, an end of the curve: the peak may lie "
            f"beyond{alone}"
        )
    spread = (
        ""
        if at.speed_low_rpm == at.speed_high_rpm
        else f" (between {at.speed_low_rpm:,.0f} and {rpm(at.speed_high_rpm)})"
    )
    return f"{quantity.text(at.value, one.half)} at {rpm(at.speed_rpm)}{spread}{alone}"


def read_off_of(one: ReadOff, name: str) -> tuple[float, float, float, float | None]:
    """(before, after, gain, half width) of power or torque."""
    if name == "power":
        return one.before_kw, one.after_kw, one.gain_kw, one.half_kw
    return one.before_nm, one.after_nm, one.gain_nm, one.half_nm


def average_of(one: BandAverage, name: str) -> tuple[float, float | None]:
    """(gain, half width) of power or torque."""
    return (one.gain_kw, one.half_kw) if name == "power" else (one.gain_nm, one.half_nm)


def judged(change: float, half: float | None) -> tuple[str, str]:
    """(state, word) of a gain against its band."""
    if half is None or not np.isfinite(half):
        return "unknown", "not known"
    if abs(change) <= half:
        return "unknown", "not proven"
    return ("ok", "more") if change > 0 else ("attention", "less")
