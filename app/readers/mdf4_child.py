"""Runs in a process of its own: reads an MDF4 log from standard input, writes what a pull needs to standard output.

A damaged log can make the library allocate without end or end the whole process; here that ends only this one.
Output: an npz archive with "head" (JSON as bytes) and one array per channel taken, named by its place in the list.
"""

import io
import json
import sys
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.readers.dyno_columns import ColumnProfile, recognise_columns

Values = NDArray[np.float64]

MEMORY_BYTES = 2 << 30
CPU_SECONDS = 30
MOST_CHANNELS = 20_000
MOST_VALUES = 20_000_000
REFERENCES = ("engine_speed_rpm", "roller_speed_rpm", "vehicle_speed_kmh", "torque_nm", "power_kw")


def main() -> None:
    _limit()
    profile = ColumnProfile.from_json(json.loads(sys.argv[1]))
    try:
        arrays = _read(sys.stdin.buffer.read(), profile)
    except MemoryError:
        arrays = {"head": _head({"refused": "memory"})}
    out = io.BytesIO()
    np.savez(out, allow_pickle=False, **arrays)
    sys.stdout.buffer.write(out.getvalue())


def _limit() -> None:
    if sys.platform == "win32":
        return  # the parent's timeout is all there is
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _head(values: dict[str, Any]) -> NDArray[np.uint8]:
    return np.frombuffer(json.dumps(values).encode(), np.uint8)


def _read(data: bytes, profile: ColumnProfile) -> dict[str, NDArray[Any]]:
    from asammdf import MDF

    log: Any
    with MDF(io.BytesIO(data)) as log:
        places = [
            (group, index, str(channel.name), str(channel.unit or ""))
            for group, one in enumerate(log.groups)
            for index, channel in enumerate(one.channels)
            if index != log.masters_db.get(group)
        ]
        if len(places) > MOST_CHANNELS:
            return {"head": _head({"refused": "channels"})}
        names, units = [p[2] for p in places], [p[3] for p in places]
        columns = recognise_columns(names, units, [""] * len(places), profile)
        wanted = [i for i, column in enumerate(columns) if column.quantity]
        signals = {i: found for i in wanted if (found := _signal(log, places[i][0], places[i][1])) is not None}
        if sum(values.size for _, values in signals.values()) > MOST_VALUES:
            return {"head": _head({"refused": "values"})}
        return _on_one_time(names, units, signals, [column.quantity for column in columns])


def _signal(log: Any, group: int, index: int) -> tuple[Values, Values] | None:
    """Times and values of a channel in its physical unit; None when it holds no numbers."""
    found = log.get(group=group, index=index)
    if found.samples.dtype.kind not in "fiub" or found.samples.ndim != 1 or found.samples.size < 2:
        return None
    times = np.asarray(found.timestamps, np.float64)
    if times.shape != found.samples.shape or not np.isfinite(times).all() or (np.diff(times) < 0).any():
        return None
    return times, np.asarray(found.samples, np.float64)


def _on_one_time(
    names: list[str], units: list[str], signals: dict[int, tuple[Values, Values]], quantities: list[str | None]
) -> dict[str, NDArray[Any]]:
    """Every channel at the times of the engine speed, by linear interpolation; NaN where it was not recorded."""
    order = sorted(
        signals,
        key=lambda i: (
            REFERENCES.index(str(quantities[i])) if quantities[i] in REFERENCES else len(REFERENCES),
            -signals[i][0].size,
        ),
    )
    arrays: dict[str, NDArray[Any]] = {"head": _head({"names": names, "units": units})}
    if not order:
        return arrays
    time = signals[order[0]][0]
    arrays["time"] = time
    for i, (times, values) in signals.items():
        arrays[str(i)] = np.interp(time, times, values, left=np.nan, right=np.nan)
    return arrays


if __name__ == "__main__":
    main()
