"""Comparisons as plain values: objects, lists, numbers and strings, for the interface to programs and for files.

A number that JSON has no word for is written as null (not a number) or as the string "Infinity" or "-Infinity".
Sums and statistics are written for readers; reading computes them again.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.byte_changes import ABSENT, ByteChanges, pieces
from app.calc.calibration.checksum import ChecksumDefinition, ChecksumResult
from app.calc.calibration.checksum_json import results_to_json
from app.calc.calibration.comparison import Comparison, UnexplainedRange
from app.calc.calibration.delta_pack import scaling_from_plain, scaling_to_plain
from app.calc.calibration.delta_summary import build_deltas
from app.calc.calibration.map_delta import DeltaAxis, DeltaSummary, Grid, MapDelta, MapState, MapSubject
from app.errors import BadInput

Plain = dict[str, Any]

_KINDS = ("unexplained", "explained", "checksum")
_WIDE = {"i": np.int64, "u": np.uint64, "f": np.float64}


def comparison_to_json(comparison: Comparison) -> Plain:
    """Everything in a comparison, ready for `json.dumps`."""
    return {
        "sentence": comparison.sentence,
        "has_layout": comparison.has_layout,
        "changed_bytes": comparison.changed_bytes,
        "explained_bytes": comparison.explained_bytes,
        "checksum_bytes": comparison.checksum_bytes,
        "unexplained_bytes": comparison.unexplained_bytes,
        "deltas": [delta_to_json(delta) for delta in comparison.deltas],
        "unexplained": [unexplained_to_json(one) for one in comparison.unexplained],
        "checksums": _results(comparison.checksums),
        "checksums_before": _results(comparison.checksums_before),
        "unreadable": [{"name": name, "reason": reason} for name, reason in comparison.unreadable],
        "warnings": list(comparison.warnings),
        "changes": _changes(comparison.changes),
    }


def comparison_from_json(plain: Plain) -> Comparison:
    """The comparison that `comparison_to_json` wrote; BadInput for anything else."""
    try:
        return Comparison(
            tuple(build_deltas([_change(delta) for delta in plain["deltas"]])),
            tuple(
                UnexplainedRange(
                    one["address"],
                    one["length"],
                    one["changed"],
                    _octets(one["before"]),
                    _octets(one["after"]),
                    one["note"],
                )
                for one in plain["unexplained"]
            ),
            _results_back(plain["checksums"]),
            _results_back(plain["checksums_before"]),
            _changes_back(plain["changes"]),
            plain["has_layout"],
            tuple((one["name"], one["reason"]) for one in plain["unreadable"]),
            tuple(plain["warnings"]),
        )
    except (KeyError, TypeError, ValueError, IndexError, AttributeError, OverflowError) as problem:
        raise BadInput("This is not a comparison as it was written.", details=[str(problem)[:200]]) from problem


def delta_to_json(delta: MapDelta) -> Plain:
    """One map's change: both states, its figures, and the common grid where breakpoints moved."""
    old, new, subject = delta.state_before, delta.state_after, delta.subject
    return {
        "name": delta.name,
        "kind": delta.kind,
        "category": delta.category,
        "unit": delta.unit,
        "decimals": delta.decimals,
        "by_hand": delta.by_hand,
        "before": _numbers(old.values),
        "after": _numbers(new.values),
        "axes_before": [_axis(axis) for axis in old.axes],
        "axes_after": [_axis(axis) for axis in new.axes],
        "texts_before": list(old.texts),
        "texts_after": list(new.texts),
        "summary": summary_to_json(delta.summary),
        "grid": None if delta.moved_grid is None else _grid(delta.moved_grid),
        "stored": {
            "position": subject.position,
            "data_type": subject.data_type,
            "minimum": subject.raw_minimum,
            "maximum": subject.raw_maximum,
            "scaling": scaling_to_plain(subject.scaling),
            "before": _raw(old.raw),
            "after": _raw(new.raw),
        },
        "entered_change": None if subject.entered_change is None else _numbers(subject.entered_change),
    }


def delta_from_json(plain: Plain) -> MapDelta:
    """The delta that `delta_to_json` wrote; BadInput for anything else."""
    try:
        return build_deltas([_change(plain)])[0]
    except (KeyError, TypeError, ValueError, IndexError, AttributeError, OverflowError) as problem:
        raise BadInput("This is not a map's change as it was written.", details=[str(problem)[:200]]) from problem


def summary_to_json(summary: DeltaSummary) -> Plain:
    """The figures of one change."""
    largest = summary.largest
    return {
        "cells": summary.cells,
        "changed": summary.changed,
        "minimum": _number(summary.minimum),
        "maximum": _number(summary.maximum),
        "mean": _number(summary.mean),
        "mean_of_changed": _number(summary.mean_of_changed),
        "percent_minimum": _number(summary.percent_minimum),
        "percent_maximum": _number(summary.percent_maximum),
        "percent_mean": _number(summary.percent_mean),
        "largest": largest
        and {
            "change": _number(largest.change),
            "before": _number(largest.before),
            "after": _number(largest.after),
            "percent": _number(largest.percent),
            "index": list(largest.index),
            "at": [
                {"name": p.name, "unit": p.unit, "value": _number(p.value), "decimals": p.decimals} for p in largest.at
            ],
        },
        "at_raw_minimum": summary.at_raw_minimum,
        "at_raw_maximum": summary.at_raw_maximum,
        "axes_changed": list(summary.axes_changed),
        "uncovered": summary.uncovered,
        "compared": summary.compared,
    }


def unexplained_to_json(one: UnexplainedRange) -> Plain:
    """An unexplained range with its bytes as hex."""
    return {
        "address": one.address,
        "length": one.length,
        "changed": one.changed,
        "before": _hex(one.before),
        "after": _hex(one.after),
        "note": one.note,
    }


def _change(plain: Plain) -> tuple[MapSubject, MapState, MapState]:
    stored = plain["stored"]
    subject = MapSubject(
        plain["name"],
        plain["kind"],
        plain["category"],
        plain["unit"],
        plain["decimals"],
        stored["data_type"],
        stored["minimum"],
        stored["maximum"],
        scaling_from_plain(stored["scaling"]),
        stored["position"],
        None if plain["entered_change"] is None else _array(plain["entered_change"]),
    )
    before, after = (
        MapState(
            _array(plain[side]),
            tuple(_axis_back(axis) for axis in plain[f"axes_{side}"]),
            _raw_back(stored[side]),
            tuple(plain[f"texts_{side}"]),
        )
        for side in ("before", "after")
    )
    return subject, before, after


def _grid(grid: Grid) -> Plain:
    return {
        "axes": [_axis(axis) for axis in grid.axes],
        "before": _numbers(grid.before),
        "after": _numbers(grid.after),
        "change": _numbers(grid.change),
        "covered": grid.covered.tolist(),
    }


def _axis(axis: DeltaAxis) -> Plain:
    return {"name": axis.name, "unit": axis.unit, "values": _numbers(axis.values), "decimals": axis.decimals}


def _axis_back(plain: Plain) -> DeltaAxis:
    return DeltaAxis(plain["name"], plain["unit"], _array(plain["values"]), plain["decimals"])


def _number(value: float | None) -> float | str | None:
    if value is None or math.isnan(value):
        return None
    return value if math.isfinite(value) else f"{'-' if value < 0 else ''}Infinity"


def _numbers(array: NDArray[Any]) -> Any:
    """Nested lists of the array's shape."""
    if array.dtype.kind != "f" or np.isfinite(array).all():
        return array.tolist()
    flat = np.empty(array.size, object)
    flat[:] = [_number(value) for value in array.ravel().tolist()]
    return flat.reshape(array.shape).tolist()


def _array(plain: Any) -> NDArray[np.float64]:
    flat = np.array(plain, dtype=object)
    return np.array([math.nan if value is None else float(value) for value in flat.ravel()]).reshape(flat.shape)


def _raw(raw: NDArray[Any] | None) -> Plain | None:
    return None if raw is None else {"kind": raw.dtype.kind, "numbers": _numbers(raw)}


def _raw_back(plain: Plain | None) -> NDArray[Any] | None:
    if plain is None:
        return None
    return _array(plain["numbers"]) if plain["kind"] == "f" else np.array(plain["numbers"], _WIDE[plain["kind"]])


def _hex(octets: bytes | None) -> str | None:
    return None if octets is None else octets.hex()


def _octets(text: str | None) -> bytes | None:
    return None if text is None else bytes.fromhex(text)


def _changes(changes: ByteChanges) -> list[Plain]:
    kinds = dict(zip(changes.addresses.tolist(), changes.kind.tolist(), strict=True))
    return [
        {"address": address, "before": _hex(old), "after": _hex(new), "kind": _KINDS[kinds[address]]}
        for address, old, new in pieces(changes)
    ]


def _changes_back(plain: list[Plain]) -> ByteChanges:
    parts: list[NDArray[np.int64]] = [np.empty((4, 0), np.int64)]
    for one in plain:
        old, new = _octets(one["before"]), _octets(one["after"])
        length = len(old if old is not None else new or b"")
        table = np.full((4, length), ABSENT, np.int64)
        table[0] = np.arange(one["address"], one["address"] + length)
        for row, octets in ((1, old), (2, new)):
            if octets is not None:
                table[row] = np.frombuffer(octets, np.uint8)
        table[3] = _KINDS.index(one["kind"])
        parts.append(table)
    whole = np.concatenate(parts, axis=1)
    return ByteChanges(whole[0], whole[1].astype(np.int16), whole[2].astype(np.int16), whole[3].astype(np.int8))


def _results(results: tuple[ChecksumResult, ...]) -> list[Plain]:
    return [
        plain
        | {
            "byte_order": result.definition.byte_order,
            "ranges": [list(one) for one in result.definition.ranges],
            "stored_at": result.definition.stored_at,
            "start": result.definition.start,
        }
        for plain, result in zip(results_to_json(results), results, strict=True)
    ]


def _results_back(plain: list[Plain]) -> tuple[ChecksumResult, ...]:
    results = []
    for one in plain:
        ranges = tuple((low, high) for low, high in one["ranges"])
        definition = ChecksumDefinition(
            one["name"], one["algorithm"], ranges, one["stored_at"], one["byte_order"], one["start"]
        )
        computed, stored = (None if one[key] is None else int(one[key], 16) for key in ("computed", "stored"))
        results.append(ChecksumResult(one["name"], one["state"], computed, stored, definition, one["reason"]))
    return tuple(results)
