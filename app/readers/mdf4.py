"""Reads MDF4 logs (ASAM MDF 4.x) with asammdf, which runs only in a child process under limits."""

import importlib.util
import io
import json
import os
import subprocess
import sys
import tempfile
import zipfile
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.errors import BadInput, TooLarge
from app.readers.dyno_columns import ColumnProfile, RecognisedColumn, recognise_columns
from app.readers.dyno_csv import DynoFile, assemble
from app.readers.dyno_rows import Part

HEAD = b"MDF     "
UNFINISHED = b"UnFinMF "
SECONDS = 60
MOST_BYTES = 256 << 20
OTHERS_TOLD = 60

_INSTALL = (
    "MDF4 logs are read by an extra that is not installed; install it with pip install 'revledger[mdf]', or export the "
    "log as text."
)
_REFUSED = {
    "memory": "This MDF4 log needs more memory than 2 GiB to read; export the pull alone.",
    "channels": "This MDF4 log holds more than 20,000 channels; export those that a pull needs.",
    "values": "This MDF4 log holds more than 20 million values; export the pull alone.",
}
_DAMAGED = "This MDF4 log cannot be read: it is damaged or cut short. Copy it again from where it was recorded."


def read_mdf4(data: bytes, *, profile: ColumnProfile | None = None) -> DynoFile:
    """The pull in an MDF4 log: one recording, its channels brought to the times of the engine speed.

    Channels are recognised by quantity and unit as the columns of a text file are; `profile` wins over that.
    Raises BadInput when the log is damaged or holds no channels that a pull needs, or the extra is not installed;
    TooLarge when it passes the limits of size, memory or time.
    """
    if data.startswith(UNFINISHED):
        raise BadInput("This log was not closed by its recorder; close or finalise it there and take it in again.")
    if len(data) > MOST_BYTES:
        raise TooLarge(f"This log is larger than {MOST_BYTES >> 20} MiB; export the pull alone.")
    if importlib.util.find_spec("asammdf") is None:
        raise BadInput(_INSTALL)
    arrays = _result(_run(data, profile or ColumnProfile()))
    columns, part = _columns(arrays, profile)
    found = assemble(columns, [part], [])
    # A logger makes no typing slips; of thousands of channels those that were understood are told, and some others.
    return replace(found, slips=(), columns=_told(found.columns))


def _told(columns: tuple[RecognisedColumn, ...]) -> tuple[RecognisedColumn, ...]:
    others = [column.index for column in columns if column.quantity is None][:OTHERS_TOLD]
    return tuple(column for column in columns if column.quantity is not None or column.index in others)


def _run(data: bytes, profile: ColumnProfile) -> bytes:
    """Standard output of the child; its temporary files go with the folder it is given."""
    command = [sys.executable, "-P", "-m", "app.readers.mdf4_child", json.dumps(profile.to_json())]
    with tempfile.TemporaryDirectory(prefix="revledger-log-") as folder:
        environment = os.environ | {
            "TMPDIR": folder,
            "TEMP": folder,
            "TMP": folder,
            "OMP_NUM_THREADS": "1",
            "OPENBLAS_NUM_THREADS": "1",
            "PYTHONPATH": os.pathsep.join(path for path in sys.path if path),
        }
        try:
            done = subprocess.run(  # noqa: S603  # our own interpreter and module; the log goes in by standard input
                command, input=data, capture_output=True, timeout=SECONDS, env=environment, check=False
            )
        except subprocess.TimeoutExpired as error:
            raise TooLarge(f"Reading this MDF4 log was given up after {SECONDS} s; export the pull alone.") from error
    if done.returncode != 0:
        raise BadInput(_DAMAGED)
    return done.stdout


def _result(output: bytes) -> dict[str, NDArray[Any]]:
    try:
        with np.load(io.BytesIO(output), allow_pickle=False) as archive:
            arrays = {name: archive[name] for name in archive.files}
        head = json.loads(arrays["head"].tobytes())
    except (ValueError, KeyError, OSError, zipfile.BadZipFile) as error:
        raise BadInput(_DAMAGED) from error
    if "refused" in head:
        raise TooLarge(_REFUSED[head["refused"]])
    return {**arrays, "names": np.array(head["names"], dtype=object), "units": np.array(head["units"], dtype=object)}


def _columns(arrays: dict[str, NDArray[Any]], profile: ColumnProfile | None) -> tuple[list[RecognisedColumn], Part]:
    """The columns as recognised and their values; the last column is the time."""
    headers, units = [str(n) for n in arrays["names"]], [str(u) for u in arrays["units"]]
    found = recognise_columns(headers, units, [""] * len(headers), profile)
    # A log is one recording: "lambda 1" and "lambda 2" are two sensors and not two pulls.
    columns = [
        replace(column, pull=None, quantity=column.quantity if str(i) in arrays else None)
        for i, column in enumerate(found)
    ]
    if "time" not in arrays:
        raise BadInput(
            "No channel of this MDF4 log could be recognised as one that a pull needs (engine speed with torque or "
            "power).",
            details=[f"{name} [{unit}]" for name, unit in zip(headers[:20], units[:20], strict=True)],
        )
    rows = arrays["time"].size
    values = [np.asarray(arrays.get(str(i), np.empty(0)), np.float64) for i in range(len(headers))]
    time_column = RecognisedColumn(len(headers), "time", "time_s", "s", "certain")
    lines = np.arange(1, rows + 1, dtype=np.int64)
    return [*columns, time_column], Part(None, [*values, arrays["time"]], None, lines)
