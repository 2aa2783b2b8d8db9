"""What a shop wants to be warned about when a calibration changes.

Only the structural rules are on by themselves: a cell at the limit of what it can store, a block checksum that does
not hold, breakpoints that no longer rise or fall. Everything else is set by the shop, for each category; none of the
figures is built in, because none is safe for every engine.
"""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np

from app.calc.calibration.comparison import Comparison
from app.calc.calibration.layout import CATEGORIES, Category
from app.calc.calibration.map_delta import DeltaAxis, Floats, MapDelta
from app.calc.number_text import plain, with_unit
from app.errors import BadInput


@dataclass(frozen=True, slots=True)
class CategoryRule:
    """Limits for the maps of one category; None or False is off.

    raised : warn when any cell is raised.
    change : warn when a cell changes by more than this, in the map's unit. percent : likewise, in percent of before.
    jump_factor : warn when neighbouring cells differ by more than this factor of the largest jump that stock has.
    """

    raised: bool = False
    change: float | None = None
    percent: float | None = None
    jump_factor: float | None = None


@dataclass(frozen=True, slots=True)
class WarningRules:
    """All rules of a shop; categories without an entry have none."""

    at_raw_limit: bool = True
    checksum: bool = True
    axis_not_monotonic: bool = True
    categories: Mapping[Category, CategoryRule] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "at_raw_limit": self.at_raw_limit,
            "checksum": self.checksum,
            "axis_not_monotonic": self.axis_not_monotonic,
            "categories": {name: asdict(rule) for name, rule in self.categories.items()},
        }

    @classmethod
    def from_json(cls, plain: Mapping[str, Any]) -> "WarningRules":
        """The rules that `to_json` wrote; BadInput for anything else."""
        try:
            rules = {name: CategoryRule(**rule) for name, rule in plain.get("categories", {}).items()}
            made = cls(**{**plain, "categories": rules})
        except (TypeError, AttributeError) as problem:
            raise BadInput("These are not warning rules as they were written.", details=[str(problem)]) from problem
        for name, rule in rules.items():
            _check(name, rule)
        return made


def _check(name: str, rule: CategoryRule) -> None:
    if name not in CATEGORIES:
        raise BadInput(f"{name!r} is no category; choose one of {', '.join(CATEGORIES)}.", field="category")
    for key in ("change", "percent", "jump_factor"):
        value = getattr(rule, key)
        if value is not None and not (isinstance(value, int | float) and np.isfinite(value) and value > 0):
            raise BadInput(f"The {key.replace('_', ' ')} for {name} must be a number above 0, or empty.", field=key)


def with_warnings(comparison: Comparison, rules: WarningRules, stock: Mapping[str, Floats] | None = None) -> Comparison:
    """The comparison with the sentences that the rules give.

    `stock` are the physical values of maps in stock by name; a map that is not there is held against the values
    before the change.
    """
    sentences = [s for delta in comparison.deltas for s in _of_map(delta, rules, (stock or {}).get(delta.name))]
    if rules.checksum:
        sentences += [
            f"The block checksum {result.name} does not hold."
            for result in comparison.checksums
            if result.state == "does not hold"
        ]
    return replace(comparison, warnings=tuple(sentences))


def _of_map(delta: MapDelta, rules: WarningRules, stock: Floats | None) -> Iterable[str]:
    if rules.at_raw_limit:
        yield from _at_limit(delta)
    if rules.axis_not_monotonic:
        yield from _not_monotonic(delta)
    rule = rules.categories.get(delta.category)
    if rule is None:
        return
    summary, largest = delta.summary, delta.summary.largest
    if rule.raised and summary.maximum is not None and summary.maximum > 0:
        yield f"{delta.name} is raised, by up to {_amount(delta, summary.maximum)}."
    if rule.change is not None and largest is not None and abs(largest.change) > rule.change:
        yield f"{delta.name} changes by {_amount(delta, largest.change)}; the rule is {_amount(delta, rule.change)}."
    if rule.percent is not None:
        percent = max((abs(p) for p in (summary.percent_minimum, summary.percent_maximum) if p is not None), default=0)
        if percent > rule.percent:
            yield f"{delta.name} changes by up to {percent:.1f} %; the rule is {rule.percent:g} %."
    if rule.jump_factor is not None:
        yield from _jumps(delta, rule.jump_factor, delta.before if stock is None else stock)


def _amount(delta: MapDelta, value: float) -> str:
    return with_unit(plain(value, delta.decimals), delta.unit)


def _at_limit(delta: MapDelta) -> Iterable[str]:
    for count, which in ((delta.summary.at_raw_minimum, "smallest"), (delta.summary.at_raw_maximum, "largest")):
        if count and delta.kind != "text" and not (delta.subject.scaling and delta.subject.scaling.texts):
            cells = "1 changed cell" if count == 1 else f"{count} changed cells"
            yield f"{delta.name}: {cells} at the {which} number that can be stored."


def _not_monotonic(delta: MapDelta) -> Iterable[str]:
    """Only what the change broke: an axis that never rose or fell strictly is the layout's business."""
    for before, after in zip(delta.axes_before, delta.axes_after, strict=False):
        if before is not after and _strict(before) and not _strict(after):
            yield f"{delta.name}: the breakpoints of {after.name or 'an axis'} no longer rise or fall throughout."


def _strict(axis: DeltaAxis) -> bool:
    with np.errstate(all="ignore"):  # float breakpoints may hold any bits
        steps = np.diff(axis.values)
    return bool((steps > 0).all() or (steps < 0).all())


def _jumps(delta: MapDelta, factor: float, stock: Floats) -> Iterable[str]:
    """Along each axis, the largest step between neighbours against the largest that stock has."""
    after = delta.after
    if after.ndim == 0 or stock.ndim != after.ndim or delta.kind == "text":
        return
    for dimension in range(after.ndim):
        steps, usual = _steps(after, dimension), _steps(stock, dimension)
        if np.isnan(steps).all() or np.isnan(usual).all():
            continue
        largest, bound = float(np.nanmax(steps)), float(np.nanmax(usual))
        if largest > factor * bound:
            row, *column = np.unravel_index(int(np.nanargmax(steps)), steps.shape)
            yield (
                f"{delta.name}: neighbouring cells differ by {_amount(delta, largest)}"
                f"{_where(delta, (int(row), *map(int, column)))}; in stock by at most {_amount(delta, bound)}."
            )


def _steps(cells: Floats, dimension: int) -> Floats:
    """Sizes of the steps between neighbours; NaN beside a cell that holds no finite number."""
    with np.errstate(all="ignore"):
        steps = np.abs(np.diff(cells, axis=dimension))
    return np.where(np.isfinite(steps), steps, np.nan)


def _where(delta: MapDelta, index: tuple[int, ...]) -> str:
    places = [
        with_unit(plain(axis.values[k], axis.decimals), axis.unit)
        for axis, k in zip(delta.axes_after, reversed(index), strict=False)
        if np.isfinite(axis.values[k])
    ]
    return f" from {', '.join(places)} on" if places else ""
