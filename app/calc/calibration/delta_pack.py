"""One map's change as a few hundred bytes, for keeping; what can be computed from the rest is not kept.

    byte       1, the form
    deflate    of: length of the header (4 bytes, big-endian), header (JSON), arrays

The header names the map, its conversion and the arrays in order: for each state the stored numbers, the physical
values where the conversion does not give them back exactly, and the breakpoints. An array lies as planes, the lowest
bytes of all numbers first, which deflate likes better than whole numbers.
"""

import json
import zlib
from collections.abc import Iterator
from dataclasses import fields
from math import prod
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from app.calc.calibration.delta_summary import build_deltas
from app.calc.calibration.map_delta import DeltaAxis, MapDelta, MapState, MapSubject
from app.calc.calibration.scaling import Scaling, TextRange
from app.errors import BadInput, Damaged

_T = TypeVar("_T")

_FORM = b"\x01"
_MOST = 64 << 20
_INTEGERS = ("|i1", "<i2", "<i4", "<i8", "<u8")
_BOUNDS = tuple((kind, int(np.iinfo(kind).min), int(np.iinfo(kind).max)) for kind in _INTEGERS)
_SCALING = tuple((f.name, f.default) for f in fields(Scaling))
_ENCODER = json.JSONEncoder(separators=(",", ":"), ensure_ascii=False)
_SUBJECT = ("name", "kind", "category", "unit", "decimals", "data_type", "raw_minimum", "raw_maximum", "position")


def pack_map_delta(delta: MapDelta) -> bytes:
    """The change as bytes; `unpack_map_delta` gives it back with the same numbers."""
    arrays: list[NDArray[Any]] = []
    old, new = delta.state_before, delta.state_after
    entered = delta.subject.entered_change
    if entered is not None:
        arrays.append(entered.astype("<f8"))
    header = {
        "entered": entered is not None,
        "subject": [getattr(delta.subject, name) for name in _SUBJECT],
        "scaling": scaling_to_plain(delta.subject.scaling),
        "before": _state(old, None, delta.subject.scaling, arrays),
        "after": _state(new, old, delta.subject.scaling, arrays),
        "arrays": [[array.dtype.str, list(array.shape)] for array in arrays],
    }
    text = _ENCODER.encode(header).encode()
    body = b"".join((len(text).to_bytes(4, "big"), text, *map(_planes, arrays)))
    return _FORM + zlib.compress(body, 9)


def unpack_map_delta(data: bytes) -> MapDelta:
    """The change that `pack_map_delta` wrote; Damaged for anything else."""
    try:
        if data[:1] != _FORM:
            raise ValueError("another form")
        inflate = zlib.decompressobj()
        body = inflate.decompress(data[1:], _MOST)
        if not inflate.eof or inflate.unused_data:
            raise ValueError("no whole deflate stream")
        start = 4 + int.from_bytes(body[:4], "big")
        header = json.loads(body[4:start])
        arrays = _arrays(header["arrays"], body[start:])
        scaling = scaling_from_plain(header["scaling"])
        entered = _next(arrays).astype(np.float64) if header["entered"] else None
        named = dict(zip(_SUBJECT, header["subject"], strict=True))
        subject = MapSubject(**named, scaling=scaling, entered_change=entered)
        before = _restored(header["before"], None, scaling, arrays)
        after = _restored(header["after"], before, scaling, arrays)
        if next(arrays, None) is not None:
            raise ValueError("arrays left over")
        return build_deltas([(subject, before, after)])[0]
    except (
        zlib.error,
        ValueError,
        KeyError,
        TypeError,
        IndexError,
        StopIteration,
        BadInput,
        RecursionError,
    ) as problem:
        raise Damaged("The stored change of a map cannot be read; compute the comparison again.") from problem


def scaling_to_plain(scaling: Scaling | None) -> dict[str, Any] | None:
    """A conversion as JSON values; fields that have their usual value are left out."""
    if scaling is None:
        return None
    plain = {name: value for name, usual in _SCALING if (value := getattr(scaling, name)) != usual}
    if scaling.texts:
        plain["texts"] = [[text.lower, text.upper, text.text] for text in scaling.texts]
    return plain


def scaling_from_plain(plain: dict[str, Any] | None) -> Scaling | None:
    """The conversion that `scaling_to_plain` wrote."""
    if plain is None:
        return None
    made = dict(plain)
    made["coefficients"] = tuple(plain.get("coefficients", ()))
    made["points"] = tuple((x, y) for x, y in plain.get("points", ()))
    made["texts"] = tuple(TextRange(*text) for text in plain.get("texts", ()))
    return Scaling(**made)


def _state(
    state: MapState, before: MapState | None, scaling: Scaling | None, arrays: list[NDArray[Any]]
) -> dict[str, Any]:
    """What the header says of a state; its arrays are appended to `arrays`."""
    plain: dict[str, Any] = {"shape": list(state.values.shape), "texts": list(state.texts), "raw": None}
    if state.raw is not None:
        step = _step(state.raw, None if before is None else before.raw)
        plain["raw"] = [state.raw.dtype.str, step is not None]
        arrays.append(_smallest(state.raw if step is None else step))
    plain["values"] = not _reproduced(state, scaling)
    if plain["values"]:
        arrays.append(state.values.astype("<f8"))
    plain["axes"] = None
    if before is None or not state.same_axes(before):
        plain["axes"] = [[axis.name, axis.unit, axis.decimals] for axis in state.axes]
        arrays.extend(axis.values.astype("<f8") for axis in state.axes)
    return plain


def _step(raw: NDArray[Any], before: NDArray[Any] | None) -> NDArray[np.int64] | None:
    """The difference to the numbers before, mostly zeros; None where there is none."""
    if before is None or before.shape != raw.shape or {before.dtype, raw.dtype} != {np.dtype(np.int64)}:
        return None
    step: NDArray[np.int64] = raw - before
    return step


def _reproduced(state: MapState, scaling: Scaling | None) -> bool:
    """True when the conversion of the stored numbers gives the physical values bit for bit."""
    if scaling is None or state.raw is None:
        return False
    return scaling.to_physical(state.raw).tobytes() == state.values.tobytes()


def _smallest(raw: NDArray[Any]) -> NDArray[Any]:
    """Whole numbers in the narrowest type that holds them all; floats as they are."""
    if raw.dtype.kind == "f":
        return raw.astype("<f8")
    low, high = (int(raw.min()), int(raw.max())) if raw.size else (0, 0)
    kept = next(kind for kind, lowest, highest in _BOUNDS if lowest <= low and high <= highest)
    return raw.astype(kept)


def _planes(array: NDArray[Any]) -> bytes:
    return np.ascontiguousarray(array).reshape(-1).view(np.uint8).reshape(-1, array.itemsize).T.tobytes()


def _arrays(described: list[Any], data: bytes) -> Iterator[NDArray[Any]]:
    at = 0
    for kind, shape in described:
        if kind not in (*_INTEGERS, "<f8") or len(shape) > 2 or not all(type(n) is int and n >= 0 for n in shape):
            raise ValueError("no array of a map")
        dtype = np.dtype(kind)
        size = prod(shape) * dtype.itemsize
        if at + size > len(data):
            raise ValueError("arrays are cut off")
        planes = np.frombuffer(data, np.uint8, size, at).reshape(dtype.itemsize, -1)
        at += size
        yield np.ascontiguousarray(planes.T).reshape(-1).view(dtype).reshape(shape)
    if at != len(data):
        raise ValueError("bytes left over")


def _restored(
    plain: dict[str, Any], before: MapState | None, scaling: Scaling | None, arrays: Iterator[NDArray[Any]]
) -> MapState:
    raw = None
    if plain["raw"] is not None:
        kind, is_step = plain["raw"]
        raw = _next(arrays).astype({"<i8": np.int64, "<u8": np.uint64, "<f8": np.float64}[kind])
        if is_step:
            raw = raw + _given(_given(before).raw)
    values = _next(arrays).astype(np.float64) if plain["values"] else _given(scaling).to_physical(_given(raw))
    if list(values.shape) != plain["shape"]:
        raise ValueError("another shape")
    if plain["axes"] is None:
        axes = _given(before).axes
    else:
        axes = tuple(
            DeltaAxis(name, unit, _next(arrays).astype(np.float64), decimals) for name, unit, decimals in plain["axes"]
        )
    return MapState(values, axes, raw, tuple(plain["texts"]))


def _next(arrays: Iterator[NDArray[Any]]) -> NDArray[Any]:
    return _given(next(arrays, None))


def _given(item: _T | None) -> _T:
    if item is None:
        raise ValueError("a part is missing")
    return item
