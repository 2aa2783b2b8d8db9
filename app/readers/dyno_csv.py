"""Reads the pulls out of a dyno's or a data logger's text file, whoever made it.

Columns are recognised by quantity and unit, never by a product's format. What was recognised is returned for a
person to confirm, and the confirmed columns are that dyno's profile from then on.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from app.calc.dyno.slips import DISAGREEMENT, Slip, disagreement, find_slips, power_kw, torque_nm
from app.calc.units import convert
from app.errors import BadInput, TooLarge
from app.readers.deduced_units import deduce_units
from app.readers.dyno_columns import (
    IGNORE,
    PULL,
    ColumnChoice,
    ColumnProfile,
    RecognisedColumn,
    recognise_columns,
)
from app.readers.dyno_rows import Part, head, part, pieces
from app.readers.dyno_words import BY_NAME
from app.readers.table_dialect import Table, read_table

MAX_PULLS = 200
_SLIPS_SHOWN = 50

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LocatedSlip:
    """A doubtful row with its line in the file."""

    line: int
    pull: str
    slip: Slip

    @property
    def sentence(self) -> str:
        return f"Line {self.line}: {self.slip.sentence}"


@dataclass(frozen=True, slots=True)
class DynoPull:
    """One pull as recorded: `channels` by name (`engine_speed_rpm`, `torque_nm`, …), each float64 of shape (n,).

    `lines` are the lines of the file the n rows stand on. Missing values are NaN. `derived` names the channels that
    were computed here (power from torque and speed, or the reverse).
    """

    label: str
    channels: dict[str, Values]
    lines: NDArray[np.int64]
    derived: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DynoFile:
    """A file as it was understood."""

    columns: tuple[RecognisedColumn, ...]
    pulls: tuple[DynoPull, ...]
    notes: tuple[str, ...]
    slips: tuple[LocatedSlip, ...]
    preamble: tuple[str, ...]
    delimiter: str
    decimal: str
    encoding: str

    @property
    def channels(self) -> dict[str, Values]:
        """The channels of the first pull."""
        return self.pulls[0].channels

    @property
    def profile(self) -> ColumnProfile:
        """The columns as understood, to be confirmed and kept with the dyno."""
        return ColumnProfile({c.header: ColumnChoice(c.quantity or IGNORE, c.unit) for c in self.columns})


def read_dyno_csv(data: bytes, *, profile: ColumnProfile | None = None) -> DynoFile:
    """The pulls in a text file of any delimiter, decimal sign, encoding and language.

    Parameters
    ----------
    data : the file's bytes.
    profile : columns that a person has confirmed for this dyno; they win over what is recognised.

    Raises
    ------
    BadInput : not a text file, no table of numbers, or no column that a pull needs; `where` names the line.
    TooLarge : more bytes, rows, columns or pulls than a session of pulls has.
    """
    table = read_table(data)
    found = _read(table, profile)
    if not table.decimal_certain and any(_is_too_slow(pull) for pull in found.pulls):
        other = read_table(data, decimal="," if table.decimal == "." else ".")
        found = _read(other, profile)
    return found


def _is_too_slow(pull: DynoPull) -> bool:
    speed = pull.channels.get("engine_speed_rpm")
    return speed is not None and bool(np.isfinite(speed).any()) and float(np.nanmax(speed)) < 100.0


def _read(table: Table, profile: ColumnProfile | None) -> DynoFile:
    first = table.blocks[0]
    width = max(len(row.cells) for row in first.rows)
    headers, units, groups = head(first, width, table.decimal)
    columns = recognise_columns(headers, units, groups, profile)
    runs, notes = pieces(table, headers)
    beside = len({column.pull for column in columns if column.pull})
    if len(runs) * max(1, beside) > MAX_PULLS:
        raise TooLarge(f"{len(runs) * max(1, beside)} pulls in one file; {MAX_PULLS} is the most that is read.")
    parts = [part(label, rows, columns, table.decimal, width) for label, rows in runs]
    where = f"line {first.above[-1].line if first.above else first.rows[0].line}"
    found = assemble(columns, parts, notes, where=where)
    return replace(
        found,
        preamble=table.preamble,
        delimiter=table.delimiter,
        decimal=table.decimal,
        encoding=table.encoding,
    )


def assemble(
    columns: list[RecognisedColumn], parts: list[Part], notes: list[str], *, where: str | None = None
) -> DynoFile:
    """The file that recognised columns and their numbers make; BadInput when they make no pull, at `where`."""
    columns, more = deduce_units(columns, parts)
    notes = [*notes, *more]
    _require(columns, where)
    columns, unused = _one_column_per_channel(columns)
    notes += unused
    pulls = [pull for each in parts for pull in _pulls(each, columns)]
    if not pulls:
        raise BadInput("No column of this table holds numbers.", where=where)
    if len(pulls) > MAX_PULLS:
        raise TooLarge(f"{len(pulls)} pulls in one file; {MAX_PULLS} is the most that is read.")
    pulls = _distinct([_complete(pull) for pull in pulls])
    checked = [_check(pull) for pull in pulls]
    slips = tuple(slip for found, _ in checked for slip in found)[:_SLIPS_SHOWN]
    notes += [note for _, found in checked for note in found]
    if any(_is_too_slow(pull) for pull in pulls):
        notes.append("The engine speed stays below 100 rpm; check the decimal sign of this file.")
    return DynoFile(tuple(columns), tuple(pulls), tuple(dict.fromkeys(notes)), slips, (), "", ".", "")


def _require(columns: list[RecognisedColumn], where: str | None) -> None:
    usable = {c.quantity for c in columns if c.quantity and c.unit}
    if len(usable) >= 2:
        return
    seen = [f"{c.header}: {c.quantity or 'not recognised'} ({c.confidence})" for c in columns[:20]]
    raise BadInput(
        "Fewer than two columns of this table could be recognised; say what its columns are.",
        field="columns",
        where=where,
        details=seen,
    )


def _one_column_per_channel(columns: list[RecognisedColumn]) -> tuple[list[RecognisedColumn], list[str]]:
    """Of several columns for one channel of one pull the best is kept: chosen, certain, uncorrected, at the wheels."""
    rank = {"chosen": 0, "certain": 1, "deduced": 2, "likely": 3}
    best: dict[tuple[str, str | None], RecognisedColumn] = {}
    notes = []

    def order(column: RecognisedColumn) -> tuple[int, bool, bool, int]:
        corrected, wheels = column.corrected is True, column.measured_at == "wheels"
        return rank.get(column.confidence, 9), corrected, not wheels, column.index

    for column in sorted((c for c in columns if c.quantity and c.unit), key=order):
        key = (str(column.quantity), column.pull)
        if key not in best:
            best[key] = column
        else:
            kept = best[key].header
            notes.append(f"{column.header!r} was not used, because {kept!r} gives the same quantity.")
    kept_ones = {c.index for c in best.values()}
    return [
        c if c.index in kept_ones or c.quantity in (None, PULL) else replace(c, quantity=None) for c in columns
    ], notes


def _pulls(rows_of: Part, columns: list[RecognisedColumn]) -> list[DynoPull]:
    used = [c for c in columns if c.quantity not in (None, PULL) and c.unit]
    labels = list(dict.fromkeys(c.pull for c in used if c.pull))
    side_by_side: list[str | None] = [*labels] if _repeat(used, labels) else [None]
    found = []
    for name, rows in _stacked(rows_of):
        for label in side_by_side:
            own = [c for c in used if label is None or c.pull in (label, None)]
            channels = {str(c.quantity): _kept(rows_of.numbers[c.index][rows], c) for c in own}
            filled = ~np.all(np.isnan(np.stack([channels[k] for k in _measured(own, label)])), axis=0)
            if filled.sum() < 3:
                continue
            channels = {key: values[filled] for key, values in channels.items()}
            title = " ".join(x for x in (rows_of.label, name, label) if x)
            found.append(DynoPull(title, channels, rows_of.lines[rows][filled]))
    return found


def _repeat(used: list[RecognisedColumn], labels: list[str]) -> bool:
    """Labels tell pulls apart only when some quantity occurs under several of them."""
    return (
        any(
            len({c.pull for c in used if c.quantity == quantity and c.pull}) > 1
            for quantity in {c.quantity for c in used}
        )
        and len(labels) > 1
    )


def _measured(own: list[RecognisedColumn], label: str | None) -> list[str]:
    """The channels whose presence makes a row part of a pull: the pull's own, and not a shared speed or time."""
    names = [str(c.quantity) for c in own if label is None or c.pull == label]
    return [n for n in names if n != "time_s"] or names


def _stacked(rows_of: Part) -> list[tuple[str | None, NDArray[np.intp]]]:
    """The rows of each pull that a column of pull numbers tells apart, in order of appearance."""
    every = np.arange(rows_of.lines.size)
    if rows_of.words is None:
        return [(None, every)]
    names = np.array(rows_of.words)
    return [(str(name), np.flatnonzero(names == name)) for name in dict.fromkeys(rows_of.words) if name]


def _kept(values: Values, column: RecognisedColumn) -> Values:
    channel = BY_NAME[str(column.quantity)]
    unit = str(column.unit)
    return values if unit == channel.kept_in else np.asarray(convert(values, unit, channel.kept_in))


def _complete(pull: DynoPull) -> DynoPull:
    """Adds power from torque and speed, or torque from power and speed."""
    channels = pull.channels
    speed, torque, power = (channels.get(k) for k in ("engine_speed_rpm", "torque_nm", "power_kw"))
    if speed is None or (torque is None) == (power is None):
        return pull
    if power is None and torque is not None:
        return replace(pull, channels={**channels, "power_kw": power_kw(torque, speed)}, derived=("power_kw",))
    assert power is not None
    return replace(pull, channels={**channels, "torque_nm": torque_nm(power, speed)}, derived=("torque_nm",))


def _distinct(pulls: list[DynoPull]) -> list[DynoPull]:
    """Every pull gets a label of its own: its name in the file, else its place."""
    taken: dict[str, int] = {}
    named = []
    for place, pull in enumerate(pulls, 1):
        label = f"pull {pull.label or place}" if not pull.label or pull.label.isdigit() else pull.label
        taken[label] = taken.get(label, 0) + 1
        named.append(replace(pull, label=label if taken[label] == 1 else f"{label} ({taken[label]})"))
    return named


def _check(pull: DynoPull) -> tuple[list[LocatedSlip], list[str]]:
    speed = pull.channels.get("engine_speed_rpm")
    if speed is None:
        return [], []
    torque = None if "torque_nm" in pull.derived else pull.channels.get("torque_nm")
    power = None if "power_kw" in pull.derived else pull.channels.get("power_kw")
    notes = []
    if torque is not None and power is not None:
        ratio = disagreement(speed, torque, power)
        usual = float(np.nanmedian(ratio)) if np.isfinite(ratio).any() else 0.0
        if abs(usual) > DISAGREEMENT:
            notes.append(
                f"{pull.label}: power is {100 * usual:+.1f} % off torque × engine speed throughout; one of them may be "
                "corrected, taken at another place, or in another unit."
            )
    slips = find_slips(speed, torque, power)
    return [LocatedSlip(int(pull.lines[s.row]), pull.label, s) for s in slips], notes
