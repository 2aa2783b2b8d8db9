"""The part of a recorded pull that its curve is made from, as JSON."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from app.api.model import ApiOut
from app.calc.dyno.curve import sweep_rows
from app.errors import BadInput

RULE = (
    "The rise of engine speed over the widest range: from where the speed rises at 30 % of the rise's median rate to "
    "where it falls below that, or to where the torque began to drop before it was below 60 % of what it was 150 rpm "
    "earlier."
)


class SweepOut(ApiOut):
    """Samples [first_sample, last_sample] of the channels, counted from 0, are the full-load sweep; `cut` tells in
    words what is left out, by which `rule`. Times are null when none were recorded. Without a sweep all figures are
    null and `refusal` says why."""

    rule: str
    first_sample: int | None = None
    last_sample: int | None = None
    speed_low_rpm: float | None = None
    speed_high_rpm: float | None = None
    time_from_s: float | None = None
    time_to_s: float | None = None
    cut: str | None = None
    refusal: str | None = None


def sweep_out(data: Mapping[str, NDArray[np.float64]]) -> SweepOut:
    try:
        kept, cut = sweep_rows(data)
    except BadInput as error:
        return SweepOut(rule=RULE, refusal=error.sentence)
    speed, time = data["engine_speed_rpm"][kept], data.get("time_s")
    return SweepOut(
        rule=RULE,
        first_sample=kept.start,
        last_sample=kept.stop - 1,
        speed_low_rpm=float(np.nanmin(speed)),
        speed_high_rpm=float(np.nanmax(speed)),
        time_from_s=None if time is None else _known(time[kept.start]),
        time_to_s=None if time is None else _known(time[kept.stop - 1]),
        cut=cut,
    )


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
