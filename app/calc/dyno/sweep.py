"""The full-load sweep inside a recording: from where the speed rises in earnest to the lift-off."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.number_text import counted
from app.errors import BadInput

Values = NDArray[np.float64]

SHORTEST_RPM = 500.0
FEWEST_SAMPLES = 8
# A recording is looked at in this many steps at most: averages of samples, so that noise does not hide the rise.
MOST_STEPS = 400
# So many slow steps in a row end a rise; fewer are noise or a gear that settles.
PATIENCE = 3
# The rate of a step is told from the mean of the steps this far to both sides.
REACH = 2
LIFT_RPM = 150.0


@dataclass(frozen=True, slots=True)
class Sweep:
    """The samples of a recording that count: [first, last), and what was cut in words."""

    first: int
    last: int
    cut: str


def find_sweep(speed_rpm: Values, torque_nm: Values) -> Sweep:
    """The full-load sweep: the rise over the widest range of speeds, without the start and the lift-off.

    The start is cut until the speed rises at 30 % of the rise's median rate; the end where the rate falls below that.
    Where the torque drops below 60 % of what it was 150 rpm earlier (lift-off), the end is cut back to where it began
    to drop (90 %). Common practice, no source.
    Raises BadInput when no rise spans 500 rpm and eight samples.
    """
    size = max(1, len(speed_rpm) // MOST_STEPS)
    steps = len(speed_rpm) // size
    if steps < FEWEST_SAMPLES:
        raise BadInput("No pull was found in this recording: it holds fewer than eight samples of speed and torque.")
    speed = speed_rpm[: steps * size].reshape(steps, size).mean(axis=1)
    torque = torque_nm[: steps * size].reshape(steps, size).mean(axis=1)
    rises = _rises(speed, torque)
    if not rises:
        raise BadInput(
            "No pull was found in this recording: the engine speed never rises by 500 rpm in one go. "
            "Check that the file holds a full-load sweep."
        )
    begin, end = max(rises, key=lambda rise: speed[rise[1] - 1] - speed[rise[0]])
    first, last = begin * size, len(speed_rpm) if end == steps else end * size
    cut = _left_out(first, len(speed_rpm) - last)
    if len(rises) > 1:
        cut += f"; of {len(rises)} sweeps in this recording the one over the widest range of speeds was taken"
    return Sweep(first, last, cut)


def _left_out(before: int, after: int) -> str:
    if not before + after:
        return "no sample is left out"
    if before + after == 1:
        return f"1 sample {'before' if before else 'after'} the sweep is left out"
    return f"{counted(before, 'sample')} before and {after:,} after the sweep are left out"


def _rises(speed: Values, torque: Values) -> list[tuple[int, int]]:
    """Every stretch [begin, end) that counts as a sweep, its ends cut, in order."""
    smooth = np.convolve(np.pad(speed, REACH, mode="edge"), np.full(2 * REACH + 1, 1 / (2 * REACH + 1)), mode="valid")
    rate = np.gradient(smooth)
    found = []
    for begin, end in _stretches(rate > 0):
        if speed[end - 1] - speed[begin] < SHORTEST_RPM:
            continue
        enough = 0.3 * float(np.median(rate[begin:end]))
        for first, last in _stretches(rate[begin:end] >= enough):
            part = _without_lift_off(speed, torque, *_inner(begin + first, begin + last, len(speed)))
            if part[1] - part[0] >= FEWEST_SAMPLES and speed[part[1] - 1] - speed[part[0]] >= SHORTEST_RPM:
                found.append(part)
    return found


def _stretches(holds: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Stretches [begin, end) of True; fewer than three steps of False within one are passed over."""
    places = np.flatnonzero(holds)
    if places.size == 0:
        return []
    breaks = np.flatnonzero(np.diff(places) > PATIENCE)
    firsts = places[np.concatenate([[0], breaks + 1])]
    lasts = places[np.concatenate([breaks, [places.size - 1]])]
    return [(int(a), int(b) + 1) for a, b in zip(firsts, lasts, strict=True)]


def _inner(begin: int, end: int, steps: int) -> tuple[int, int]:
    """Without the steps at a cut end whose rate was smoothed together with what lies beyond it."""
    return begin + REACH if begin > 0 else 0, end - REACH if end < steps else end


def _without_lift_off(speed: Values, torque: Values, begin: int, end: int) -> tuple[int, int]:
    """The speed still rises for a moment when the torque is going already, so a little is looked at beyond the end."""
    if end - begin < FEWEST_SAMPLES:
        return begin, end
    beyond = min(len(speed), end + REACH + PATIENCE)
    reached = np.maximum.accumulate(speed[begin:beyond])
    earlier = np.minimum(np.searchsorted(reached, speed[begin:beyond] - LIFT_RPM), np.arange(beyond - begin))
    before, here = torque[begin + earlier], torque[begin:beyond]
    # Products, not a quotient: a torque next to nothing must not overflow.
    gone, going = ((before <= 0) | (here < share * before) for share in (0.6, 0.9))
    last = end - begin
    while last > FEWEST_SAMPLES and gone[last - 1]:
        last -= 1
    if gone[last:].any():
        while last > FEWEST_SAMPLES and going[last - 1]:
            last -= 1
    return begin, begin + last
