"""Conversion of stored numbers to physical values and back.

The forms are those of ASAM MCD-2 MC (ASAP2 1.6) COMPU_METHOD:

    identical            physical = raw
    linear               physical = a*raw + b                              coefficients (a, b)
    rational             raw = (a*p² + b*p + c) / (d*p² + e*p + f)         coefficients (a, b, c, d, e, f)
    interpolated table   linear between points, clamped outside            points
    exact table          the point's value, else the default               points
    text table           physical = raw; each raw value has a text         texts
    formula              physical = formula(raw)                           formula, inverse_formula

p is the physical value.
"""

from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.calc.calibration.datatype import DataType, storage
from app.calc.calibration.formula import compile_formula
from app.errors import BadInput

Floats = NDArray[np.float64]
ScalingKind = Literal["identical", "linear", "rational", "interpolated table", "exact table", "text table", "formula"]
SCALING_KINDS: tuple[ScalingKind, ...] = get_args(ScalingKind)


@dataclass(frozen=True, slots=True)
class TextRange:
    """Text for raw values from `lower` to `upper`, both included; a float cell stops before `upper`."""

    lower: float
    upper: float
    text: str


@dataclass(frozen=True, slots=True)
class RawValues:
    """Numbers to store, and where the wanted value could not be stored and the nearest limit stands instead.

    `values` is int64 (uint64 for uint64 cells, float64 for float cells); `saturated` has the same shape.
    """

    values: NDArray[Any]
    saturated: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Scaling:
    """One conversion. `unit` is what is shown; `decimals` is how many places people usually read.

    >>> Scaling.linear(0.1, -40, unit="°C").to_physical([-125])
    array([-52.5])
    >>> Scaling.linear(0.1, -40, unit="°C").to_raw([-52.5], "int16").values
    array([-125])
    """

    name: str = ""
    unit: str = ""
    kind: ScalingKind = "identical"
    coefficients: tuple[float, ...] = ()
    points: tuple[tuple[float, float], ...] = ()
    texts: tuple[TextRange, ...] = ()
    default_value: float | None = None
    default_text: str | None = None
    formula: str = ""
    inverse_formula: str = ""
    decimals: int | None = None

    @classmethod
    def linear(
        cls,
        factor: float = 1.0,
        offset: float = 0.0,
        *,
        unit: str = "",
        decimals: int | None = None,
        name: str = "",
    ) -> "Scaling":
        """physical = factor*raw + offset."""
        return cls(name=name, unit=unit, kind="linear", coefficients=(factor, offset), decimals=decimals)

    def to_physical(self, raw: ArrayLike) -> Floats:
        """Physical values of stored ones, same shape; NaN where there is none (a division by zero)."""
        x = np.asarray(raw, dtype=np.float64)
        if self.kind in ("identical", "text table"):
            return x
        with np.errstate(all="ignore"):  # a float cell may hold any bits
            if self.kind == "linear":
                return np.asarray(x * self.coefficients[0] + self.coefficients[1])
            value = self._curved(x)
        return np.where(np.isfinite(value), value, np.nan)

    def _curved(self, x: Floats) -> Floats:
        if self.kind == "rational":
            return _invert_rational(self.coefficients, x)
        if self.kind == "formula":
            return compile_formula(self.formula)(x)
        table = np.array(sorted(self.points), dtype=np.float64)
        if self.kind == "interpolated table":
            return np.interp(x, table[:, 0], table[:, 1])
        at = np.minimum(np.searchsorted(table[:, 0], x), len(table) - 1)
        default = np.nan if self.default_value is None else self.default_value
        return np.where(table[at, 0] == x, table[at, 1], default)

    def to_raw(
        self,
        physical: ArrayLike,
        data_type: DataType,
        *,
        raw_min: float | None = None,
        raw_max: float | None = None,
    ) -> RawValues:
        """Numbers to store for wanted physical values: the nearest, held at the limits, and reported.

        A value without any raw number (NaN, or none of a table's entries) is reported as saturated too.
        BadInput when the conversion cannot be turned around (table not monotonic, no inverse formula).
        """
        store = storage(data_type)
        low = store.minimum if raw_min is None else raw_min
        high = store.maximum if raw_max is None else raw_max
        p = np.asarray(physical, dtype=np.float64)
        with np.errstate(all="ignore"):
            wanted, outside = self._unscaled(p)
        undefined = np.isnan(wanted)
        wanted = np.where(undefined, min(max(0.0, low), high), wanted)
        if store.is_float:
            saturated = (wanted < low) | (wanted > high) | undefined | outside
            return RawValues(np.clip(wanted, low, high), saturated)
        whole = np.rint(wanted)
        saturated = (whole < low) | (whole > high) | undefined | outside
        return RawValues(_whole(whole, int(low), int(high), data_type), saturated)

    def _unscaled(self, p: Floats) -> tuple[Floats, NDArray[np.bool_]]:
        nowhere = np.zeros(p.shape, dtype=np.bool_)
        if self.kind in ("identical", "text table"):
            return p, nowhere
        if self.kind == "linear":
            factor, offset = self.coefficients
            return np.asarray((p - offset) / factor), nowhere
        if self.kind == "rational":
            a, b, c, d, e, f = self.coefficients
            return np.asarray(((a * p + b) * p + c) / ((d * p + e) * p + f)), nowhere
        if self.kind == "formula":
            if not self.inverse_formula:
                raise BadInput(f"The conversion {self.name!r} has no inverse formula; values cannot be written.")
            return compile_formula(self.inverse_formula)(p), nowhere
        return self._from_table(p)

    def _from_table(self, p: Floats) -> tuple[Floats, NDArray[np.bool_]]:
        table = np.array(sorted((y, x) for x, y in self.points), dtype=np.float64)
        if self.kind == "exact table":
            nearest = np.abs(p[..., None] - table[:, 0]).argmin(axis=-1)
            return table[nearest, 1], table[nearest, 0] != p
        steps = np.diff(table, axis=0)
        if (steps[:, 0] == 0).any() or not ((steps[:, 1] > 0).all() or (steps[:, 1] < 0).all()):
            raise BadInput(f"The table of the conversion {self.name!r} is not monotonic; values cannot be written.")
        return np.interp(p, table[:, 0], table[:, 1]), (p < table[0, 0]) | (p > table[-1, 0])

    def labels(self, raw: ArrayLike) -> list[str]:
        """The text of each raw value in reading order; empty strings when the conversion has no texts.

        >>> Scaling(kind="text table", texts=(TextRange(0, 0, "off"),), default_text="?").labels([0, 7])
        ['off', '?']
        """
        return [self._label(value) for value in np.asarray(raw).ravel().tolist()]

    def _label(self, value: float) -> str:
        for entry in self.texts:
            below_upper = value <= entry.upper if isinstance(value, int) else value < entry.upper
            if entry.lower <= value and (below_upper or value == entry.lower):
                return entry.text
        return self.default_text or ""


def check_scaling(scaling: Scaling) -> None:
    """Raise BadInput with a sentence when a conversion can give no value."""
    kind, numbers = scaling.kind, scaling.coefficients
    name = scaling.name or kind
    if kind not in SCALING_KINDS:
        raise BadInput(f"{kind!r} is no kind of conversion; allowed are {', '.join(SCALING_KINDS)}.", field="kind")
    if not np.isfinite(numbers).all() or not np.isfinite(scaling.points).all():
        raise BadInput(f"The conversion {name!r} has a number that is not finite.", field="coefficients")
    if kind == "linear" and (len(numbers) != 2 or numbers[0] == 0):
        raise BadInput(
            f"The linear conversion {name!r} needs a factor other than 0 and an offset.", field="coefficients"
        )
    if kind == "rational":
        _check_rational(name, numbers)
    if kind in ("interpolated table", "exact table"):
        if not scaling.points:
            raise BadInput(f"The table of the conversion {name!r} is empty.", field="points")
        if len({x for x, _ in scaling.points}) != len(scaling.points):
            raise BadInput(f"The table of the conversion {name!r} gives one raw value twice.", field="points")
    if kind == "formula":
        compile_formula(scaling.formula)
        if scaling.inverse_formula:
            compile_formula(scaling.inverse_formula)


def _check_rational(name: str, numbers: tuple[float, ...]) -> None:
    if len(numbers) != 6:
        raise BadInput(f"The rational conversion {name!r} needs six coefficients.", field="coefficients")
    a, b, c, d, e, f = numbers
    if (a == b == 0 and d == e == 0) or (d == e == f == 0) or (a, b, c) == (0, 0, 0):
        raise BadInput(
            f"The coefficients of the conversion {name!r} give the same stored number for every value.",
            field="coefficients",
        )


def _invert_rational(coefficients: tuple[float, ...], raw: Floats) -> Floats:
    """Solve raw = f(physical); of two solutions of a quadratic the larger one (our choice, no source)."""
    a, b, c, d, e, f = coefficients
    if a == 0 and d == 0:
        return np.asarray((c - f * raw) / (e * raw - b))
    qa, qb, qc = a - d * raw, b - e * raw, c - f * raw
    root = np.sqrt(qb * qb - 4 * qa * qc)
    larger = np.maximum((-qb + root) / (2 * qa), (-qb - root) / (2 * qa))
    return np.where(qa == 0, -qc / qb, larger)


def _whole(whole: Floats, low: int, high: int, data_type: DataType) -> NDArray[Any]:
    """Clip in integers: float64 cannot hold the largest 64-bit numbers exactly."""
    kind = np.uint64 if data_type == "uint64" else np.int64
    inner = np.clip(whole, float(low), float(high))
    top = inner >= float(high)
    values = np.where(top, 0.0, inner).astype(kind)
    return np.where(top, kind(high), values)
