"""How a dyno's files are read: the columns a person has confirmed."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calc.dyno.channel_names import CHANNEL_NAMES, channel_label
from app.calc.units import UNITS_OF
from app.errors import BadInput
from app.readers.dyno_columns import IGNORE, PULL, ColumnChoice, ColumnProfile
from app.readers.dyno_csv import DynoFile
from app.readers.dyno_file import read_dyno_file
from app.readers.dyno_words import BY_NAME
from app.record import dyno
from app.record.rollers import columns_of


@dataclass(frozen=True, slots=True)
class ColumnRow:
    """One column of a file: its heading, what it was taken for, and how sure that is."""

    header: str
    chosen: str
    taken_for: str
    sure: str


def profile_of(session: Session, dyno_id: int) -> ColumnProfile | None:
    """The dyno's confirmed columns; None while nobody has confirmed any."""
    kept = columns_of(dyno.dyno(session, dyno_id))
    return None if kept is None else ColumnProfile.from_json(kept)


def read_file(session: Session, dyno_id: int, data: bytes) -> DynoFile:
    """The pulls of a file as this dyno's columns are known."""
    return read_dyno_file(data, profile=profile_of(session, dyno_id))


def choices() -> tuple[tuple[str, str], ...]:
    """Every meaning a column can have: a channel in one of its units, the pull's number, or nothing of use."""
    channels = [
        (f"{name} {unit}", f"{channel_label(name)} [{unit}]")
        for name in sorted(BY_NAME, key=channel_label)
        for unit in UNITS_OF[CHANNEL_NAMES[name].quantity]
    ]
    return (*channels, (PULL, "Number or name of the pull"), (IGNORE, "Not used"))


def choice_of(text: str, header: str) -> ColumnChoice:
    """A choice as the form gives it: "torque_nm N·m", "pull" or "ignore"."""
    name, _, unit = text.partition(" ")
    if name not in (PULL, IGNORE) and (name not in BY_NAME or unit not in UNITS_OF[BY_NAME[name].quantity]):
        raise BadInput(f"Choose what the column “{header}” holds.", field="columns")
    return ColumnChoice(name, unit or None)


def rows_of(columns: list[dict[str, object]]) -> tuple[ColumnRow, ...]:
    """The columns of a run as they were understood when it was read."""
    rows = []
    for column in columns:
        name, unit = column.get("quantity"), column.get("unit")
        known = isinstance(name, str)
        taken = (
            f"{channel_label(str(name))} [{unit}]"
            if known and unit
            else channel_label(str(name))
            if known
            else "not used"
        )
        chosen = f"{name} {unit}" if known and unit else PULL if name == PULL else IGNORE
        rows.append(ColumnRow(str(column.get("header", "")), chosen, taken, str(column.get("confidence", ""))))
    return tuple(rows)
