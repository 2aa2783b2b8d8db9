"""Logged channels against the limits that were set for a car: crossed, within as far as observed, or not observed.

Between samples every channel runs straight, over a missing value as over the time between two rows, so a crossing,
its duration and the worst value inside the region of engine speed and load follow exactly from the samples. A limit
is never "passed": what was not logged was not seen.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.channel_names import CHANNEL_NAMES, channel_label
from app.calc.number_text import counted, rpm
from app.calc.units import UNITS_OF
from app.errors import BadInput

Array = NDArray[np.float64]
State = Literal["crossed", "within", "not observed"]
ENGINE_SPEED = "engine_speed_rpm"
LOAD = "load_percent"
TIME = "time_s"


@dataclass(frozen=True, slots=True)
class Limit:
    """A bound on a channel, in the channel's unit, within a region; None leaves that end of the region open."""

    channel: str
    bound: Literal["max", "min"]
    value: float
    speed_lo_rpm: float | None = None
    speed_hi_rpm: float | None = None
    load_lo_percent: float | None = None
    load_hi_percent: float | None = None
    severity: str = "stop"

    def __post_init__(self) -> None:
        if self.bound not in ("max", "min"):
            raise BadInput("A limit is either a max or a min.", field="bound")
        regions = ((self.speed_lo_rpm, self.speed_hi_rpm), (self.load_lo_percent, self.load_hi_percent))
        if any(lo is not None and hi is not None and lo > hi for lo, hi in regions):
            raise BadInput("The region's lower end lies above its upper end.", field="speed_lo_rpm")

    @property
    def text(self) -> str:
        """The limit on one line, such as `Lambda max 0.88 λ from 3000 rpm`."""
        name = CHANNEL_NAMES.get(self.channel)
        unit = "" if name is None else f" {UNITS_OF[name.quantity][0]}"
        ends = [
            f"{word} {end:g} {unit}"
            for word, end, unit in (
                ("from", self.speed_lo_rpm, "rpm"),
                ("to", self.speed_hi_rpm, "rpm"),
                ("from", self.load_lo_percent, "% load"),
                ("to", self.load_hi_percent, "% load"),
            )
            if end is not None
        ]
        return " ".join([f"{channel_label(self.channel)} {self.bound} {self.value:g}{unit}", *ends])


@dataclass(frozen=True, slots=True)
class LimitFinding:
    """One limit on one pull.

    first_speed_rpm, first_time_s : where the bound is first crossed, between samples. duration_s : total time beyond
    the bound; None without a time channel. worst_value : the value nearest to or furthest beyond the bound.
    observed_lo_rpm, observed_hi_rpm : engine speeds at which the channel was seen inside the region.
    """

    pull: str
    limit: Limit
    state: State
    sentence: str
    first_speed_rpm: float | None = None
    first_time_s: float | None = None
    duration_s: float | None = None
    worst_value: float | None = None
    worst_speed_rpm: float | None = None
    observed_lo_rpm: float | None = None
    observed_hi_rpm: float | None = None


@dataclass(frozen=True, slots=True)
class LimitSummary:
    """One limit over all pulls: crossed when any pull crossed it, not observed when none showed it."""

    limit: Limit
    state: State
    findings: tuple[LimitFinding, ...]
    sentence: str


def check_limits(limits: Sequence[Limit], pulls: Sequence[tuple[str, Mapping[str, Array]]]) -> tuple[LimitSummary, ...]:
    """Check every limit on every pull, given as (label, channels of shape (n,)); crossed ones first, then unseen.

    Channels are named as in the pulls: `engine_speed_rpm`, `load_percent`, `time_s` and the limit's own.
    """
    summaries = []
    for limit in limits:
        findings = tuple(check_limit(limit, channels, pull=label) for label, channels in pulls)
        crossed = [f.pull for f in findings if f.state == "crossed"]
        seen = [f for f in findings if f.state != "not observed"]
        if crossed:
            state: State = "crossed"
            sentence = (
                f"{limit.text}: crossed in {len(crossed)} of {counted(len(findings), 'pull')} ({', '.join(crossed)})."
            )
        elif seen:
            state = "within"
            sentence = f"{limit.text}: not crossed where observed, in {len(seen)} of {counted(len(findings), 'pull')}."
        else:
            state, sentence = "not observed", f"{limit.text}: not observed in any pull."
        summaries.append(LimitSummary(limit, state, findings, sentence))
    order = {"crossed": 0, "not observed": 1, "within": 2}
    return tuple(sorted(summaries, key=lambda s: order[s.state]))


def check_limit(limit: Limit, channels: Mapping[str, Array], *, pull: str = "pull") -> LimitFinding:
    """Check one limit on one pull; missing channels, or none of them inside the region, is "not observed"."""
    missing = [name for name in _needed(limit) if name not in channels]
    if missing:
        return _unseen(limit, pull, f"the pull has no {', '.join(map(channel_label, missing))}")
    columns = _complete_rows(limit, channels, pull)
    inside = _spans(limit, columns)
    if not inside.any():
        return _unseen(limit, pull, "no sample lies inside its region")
    return _judged(limit, pull, columns, inside)


def _complete_rows(limit: Limit, channels: Mapping[str, Array], pull: str) -> dict[str, Array]:
    """The rows in which every needed channel has a value; a single one stands twice, as a stretch of no length."""
    names = _needed(limit)
    columns = {name: np.asarray(channels[name], float) for name in (*names, *([TIME] if TIME in channels else []))}
    if len({c.shape for c in columns.values()}) != 1 or columns[limit.channel].ndim != 1:
        raise BadInput(f"The channels of {pull} do not have the same number of samples.", field=limit.channel)
    rows = np.flatnonzero(np.logical_and.reduce([np.isfinite(c) for c in columns.values()]))
    return {name: column[np.repeat(rows, 2) if rows.size == 1 else rows] for name, column in columns.items()}


def _needed(limit: Limit) -> list[str]:
    loaded = limit.load_lo_percent is not None or limit.load_hi_percent is not None
    return [limit.channel, ENGINE_SPEED, *([LOAD] if loaded else [])]


def _unseen(limit: Limit, pull: str, why: str) -> LimitFinding:
    return LimitFinding(pull, limit, "not observed", f"{pull}: {limit.text} was not observed, {why}.")


@dataclass(frozen=True, slots=True, eq=False)
class _Spans:
    """Parts of the stretches between samples: of stretch k the shares from `start[k]` to `end[k]`, none if reversed."""

    start: Array
    end: Array

    def any(self) -> bool:
        return bool((self.end >= self.start).any())

    def cut(self, values: Array, low: float | None, high: float | None) -> "_Spans":
        """The part in which a straight line between neighbouring values lies within [low, high]."""
        start, end = self.start, self.end
        for bound, sign in ((low, 1.0), (high, -1.0)):
            if bound is None:
                continue
            a, b = sign * (values[:-1] - bound), sign * (values[1:] - bound)
            with np.errstate(divide="ignore", invalid="ignore"):
                cross = a / (a - b)
            start = np.maximum(start, np.where((a < 0) & (b >= 0), cross, 0.0))
            end = np.minimum(end, np.where((a >= 0) & (b < 0), cross, 1.0))
            end = np.where((a < 0) & (b < 0), -1.0, end)
        return _Spans(start, end)


def _spans(limit: Limit, columns: Mapping[str, Array]) -> _Spans:
    """Where the pull is inside the limit's region."""
    stretches = max(columns[limit.channel].size - 1, 0)
    spans = _Spans(np.zeros(stretches), np.ones(stretches))
    spans = spans.cut(columns[ENGINE_SPEED], limit.speed_lo_rpm, limit.speed_hi_rpm)
    if LOAD in columns:
        spans = spans.cut(columns[LOAD], limit.load_lo_percent, limit.load_hi_percent)
    return spans


def _judged(limit: Limit, pull: str, columns: Mapping[str, Array], inside: _Spans) -> LimitFinding:
    values, speed = columns[limit.channel], columns[ENGINE_SPEED]
    used = np.flatnonzero(inside.end >= inside.start)
    at, ends = np.concatenate((used, used)), np.concatenate((inside.start[used], inside.end[used]))
    sign = 1.0 if limit.bound == "max" else -1.0
    reached, speeds = _between(values, at, ends), _between(speed, at, ends)
    worst = int(np.argmax(sign * reached))
    within = LimitFinding(
        pull,
        limit,
        "within",
        f"{pull}: {limit.text} was not crossed, seen from {speeds.min():,.0f} to {rpm(float(speeds.max()))} "
        f"(nearest {reached[worst]:.4g} at {rpm(float(speeds[worst]))}).",
        worst_value=float(reached[worst]),
        worst_speed_rpm=float(speeds[worst]),
        observed_lo_rpm=float(speeds.min()),
        observed_hi_rpm=float(speeds.max()),
    )
    if sign * (reached[worst] - limit.value) <= 0:
        return within
    return _crossed(within, columns, inside, int(at[worst]))


def _crossed(finding: LimitFinding, columns: Mapping[str, Array], inside: _Spans, worst_at: int) -> LimitFinding:
    """The finding with where the bound is first crossed and for how long; `worst_at` is the worst value's stretch."""
    limit, time = finding.limit, columns.get(TIME)
    assert finding.worst_speed_rpm is not None
    values = columns[limit.channel]
    sign = 1.0 if limit.bound == "max" else -1.0
    excess = sign * (values - limit.value)
    low, high = (limit.value, None) if sign > 0 else (None, limit.value)
    beyond = inside.cut(values, low, high)
    # A stretch that only touches the bound is no crossing.
    touching = np.maximum(excess[:-1], excess[1:]) <= 0
    length = np.where(touching, 0.0, np.maximum(beyond.end - beyond.start, 0.0))
    at_start = _between(excess, np.arange(length.size), beyond.start) > 0
    # A stretch may lie in the region with a single point: that counts when the point itself is beyond the bound.
    counts = (beyond.end >= beyond.start) & ~touching & ((length > 0) | at_start)
    # Rounding can leave a crossing of no length out; then the worst point itself is the crossing.
    first = np.array([int(np.argmax(counts)) if counts.any() else worst_at])
    start = beyond.start[first]
    first_speed = float(_between(columns[ENGINE_SPEED], first, start)[0])
    duration = None if time is None else float((length * np.diff(time)).sum())
    lasted = "" if duration is None else f", for {duration:.2f} s"
    return replace(
        finding,
        state="crossed",
        sentence=f"{finding.pull}: {limit.text} was crossed at {rpm(first_speed)}{lasted}; "
        f"worst {finding.worst_value:.4g} at {rpm(finding.worst_speed_rpm)}.",
        first_speed_rpm=first_speed,
        first_time_s=None if time is None else float(_between(time, first, start)[0]),
        duration_s=duration,
    )


def _between(values: Array, at: NDArray[np.intp], share: Array) -> Array:
    return np.asarray(values[at] + share * (values[at + 1] - values[at]))
