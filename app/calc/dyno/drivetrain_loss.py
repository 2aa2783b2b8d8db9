"""Drivetrain loss: what is lacking between the rated figure and the wheels, and whether that is usual.

The difference between a rated power and a measured one is not a measurement of the drivetrain: the rating has its
own standard and tolerance, the dyno its own losses. Nothing here states an engine's power.
"""

from dataclasses import dataclass
from typing import Literal

from app.calc.number_text import plain
from app.errors import BadInput

DrivenAxles = Literal["front", "rear", "all"]
Judgement = Literal["usual", "lower than usual", "higher than usual", "above rated"]

# Common practice, no standard: several trade pages agree on these spans; one trade article measured 22 to 26 % on a
# rear-drive car, so a value outside says little by itself.
USUAL_LOSS = {
    ("two", "manual"): (0.10, 0.15),
    ("two", "automatic"): (0.15, 0.20),
    ("two", None): (0.10, 0.20),
    ("all", "manual"): (0.20, 0.25),
    ("all", "automatic"): (0.20, 0.25),
    ("all", None): (0.20, 0.25),
}
_REASONS: dict[Judgement, tuple[str, ...]] = {
    "usual": (),
    "lower than usual": (
        "the rating may be understated or have a tolerance",
        "an electric motor may assist at the wheels",
        "the rated figure and the dyno may use different correction standards",
        "the dyno may read high, or add an estimated loss by itself",
    ),
    "higher than usual": (
        "the engine may not have reached its rated power in this pull (heat, fuel, gear, limiter)",
        "tyre slip or strap load may take power",
        "the dyno may read low",
        "the rated figure and the dyno may use different correction standards",
    ),
    "above rated": (
        "the calibration or hardware may differ from stock",
        "an electric motor may assist at the wheels",
        "the dyno may add an estimated loss by itself, so that this is no wheel power",
    ),
}


@dataclass(frozen=True, slots=True)
class DrivetrainLoss:
    """The apparent loss as a fraction of the rated power, with the span that is usual for the driveline.

    `loss_uncertainty` is the half-width that follows from the wheel power's, None when that is not known.
    """

    loss: float
    loss_uncertainty: float | None
    usual: tuple[float, float]
    judgement: Judgement
    reasons: tuple[str, ...]
    sentence: str


def apparent_loss(
    wheel_power_kw: float,
    rated_power_kw: float,
    *,
    driven_axles: DrivenAxles,
    transmission: Literal["manual", "automatic"] | None = None,
    rated_standard: str | None = None,
    wheel_standard: str | None = None,
    wheel_uncertainty_kw: float | None = None,
) -> DrivetrainLoss:
    """1 − P_wheel / P_rated, named with both standards.

    >>> round(apparent_loss(170.0, 200.0, driven_axles="rear", transmission="manual").loss, 12)
    0.15
    """
    if not wheel_power_kw > 0 or not rated_power_kw > 0:
        raise BadInput("Wheel power and rated power must be above 0 kW.", field="rated_power_kw")
    loss = 1.0 - wheel_power_kw / rated_power_kw
    half = None if wheel_uncertainty_kw is None else wheel_uncertainty_kw / rated_power_kw
    usual = USUAL_LOSS["all" if driven_axles == "all" else "two", transmission]
    judgement = _judge(loss, half or 0.0, usual)
    reasons = _REASONS[judgement]
    spread = "" if half is None else f" ± {100 * half:.1f}"
    standards = (
        f"rated by {rated_standard or 'a standard not on record'}, wheel power {wheel_standard or 'as recorded'}"
    )
    sentence = (
        f"Apparent drivetrain loss {plain(100 * loss, 1)}{spread} % ({standards}); usual for this driveline by common "
        f"practice: {100 * usual[0]:.0f} to {100 * usual[1]:.0f} %. "
    )
    if judgement != "usual":
        sentence += f"This is {judgement}: {'; '.join(reasons)}. "
    sentence += "It is no statement of engine power."
    return DrivetrainLoss(loss, half, usual, judgement, reasons, sentence)


def engine_power_estimate_kw(wheel_power_kw: float, assumed_loss: float) -> float:
    """P_wheel / (1 − loss): an estimate that is only as good as the assumed loss. Not P_wheel × (1 + loss).

    >>> round(engine_power_estimate_kw(170.0, 0.15), 9)
    200.0
    """
    if not 0.0 <= assumed_loss < 0.6:
        raise BadInput("The assumed loss must be a fraction from 0 up to 0.6.", field="assumed_loss")
    return wheel_power_kw / (1.0 - assumed_loss)


def _judge(loss: float, half: float, usual: tuple[float, float]) -> Judgement:
    """A value counts as outside only when its whole interval is; the ends belong to the usual span."""
    slack = half + 1e-12
    if loss + slack < 0.0:
        return "above rated"
    if loss + slack < usual[0]:
        return "lower than usual"
    return "higher than usual" if loss - slack > usual[1] else "usual"
