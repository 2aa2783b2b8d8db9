"""Says what each column of a dyno or log file holds, from its header and its units, and how sure that is."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from app.calc.unit_labels import parse_unit, parse_unit_for
from app.calc.units import UNITS_OF
from app.errors import BadInput
from app.readers.dyno_words import (
    ANY_TARGET,
    AT_THE_ENGINE,
    AT_THE_WHEELS,
    BY_NAME,
    CHANNELS,
    CORRECTED,
    PULL_COLUMN,
    PULL_LABEL,
    UNCORRECTED,
    Channel,
    fold,
)

Confidence = Literal["certain", "likely", "deduced", "chosen", "unit missing", "not recognised"]
IGNORE = "ignore"
PULL = "pull"


@dataclass(frozen=True, slots=True)
class RecognisedColumn:
    """One column: its header as written, the channel it was taken for (None when not recognised), its unit.

    `quantity` is a channel's name such as "power_kw", or "pull" for the column that numbers the pulls. `pull` is
    the pull's own label when the file has several side by side. `confidence`: "certain" by words and unit,
    "likely" by one of them, "deduced" from power = torque × speed, "chosen" by a person.
    """

    index: int
    header: str
    quantity: str | None
    unit: str | None
    confidence: Confidence
    pull: str | None = None
    measured_at: Literal["wheels", "engine"] | None = None
    corrected: bool | None = None


@dataclass(frozen=True, slots=True)
class ColumnChoice:
    """What a person said a column is: a channel's name, "pull" or "ignore", and the unit (None as recognised)."""

    quantity: str
    unit: str | None = None


@dataclass(frozen=True, slots=True)
class ColumnProfile:
    """The columns of one dyno as confirmed once, by header; kept with the dyno and used for its next files."""

    columns: Mapping[str, ColumnChoice] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for header, choice in self.columns.items():
            if choice.quantity in (IGNORE, PULL):
                continue
            channel = BY_NAME.get(choice.quantity)
            if channel is None:
                raise BadInput(f"{choice.quantity!r}, given for column {header!r}, is not a channel.", field="columns")
            if choice.unit is not None and choice.unit not in UNITS_OF[channel.quantity]:
                raise BadInput(
                    f"{choice.unit!r}, given for column {header!r}, is not a unit of {channel.quantity}.",
                    field="columns",
                )

    def to_json(self) -> dict[str, dict[str, str | None]]:
        return {header: {"quantity": c.quantity, "unit": c.unit} for header, c in self.columns.items()}

    @classmethod
    def from_json(cls, kept: Mapping[str, Mapping[str, str | None]]) -> "ColumnProfile":
        return cls({header: ColumnChoice(str(c["quantity"]), c.get("unit")) for header, c in kept.items()})


def recognise_columns(
    headers: Sequence[str], units: Sequence[str], groups: Sequence[str], profile: ColumnProfile | None
) -> list[RecognisedColumn]:
    """One `RecognisedColumn` per header; `units` and `groups` are the rows below and above it, blank where absent."""
    choices = profile.columns if profile else {}
    columns = [
        _chosen(i, header, choices[header], units[i], groups[i])
        if header in choices
        else _recognise(i, header, units[i], groups[i])
        for i, header in enumerate(headers)
    ]
    return _number_repeats(columns)


def _chosen(index: int, header: str, choice: ColumnChoice, unit_cell: str, group: str) -> RecognisedColumn:
    if choice.quantity == IGNORE:
        return RecognisedColumn(index, header, None, None, "chosen")
    found = _recognise(index, header, unit_cell, group)
    if choice.quantity == PULL:
        return RecognisedColumn(index, header, PULL, None, "chosen")
    channel = BY_NAME[choice.quantity]
    unit = choice.unit or (found.unit if found.quantity == channel.name else None)
    if unit is None:
        written = parse_unit_for(unit_cell or _name_and_unit(header)[1], channel.quantity)
        unit = written.symbol if written else channel.assumed
    confidence: Confidence = "chosen" if unit else "unit missing"
    return RecognisedColumn(
        index, header, channel.name, unit, confidence, found.pull, found.measured_at, found.corrected
    )


def _recognise(index: int, header: str, unit_cell: str, group: str) -> RecognisedColumn:
    name, unit_text = _name_and_unit(header)
    unit_text = unit_cell or unit_text
    words = fold(_spread(name)) or fold(_spread(header))
    both = f"{words} {fold(_spread(group))}".strip()
    if PULL_COLUMN.fullmatch(words):
        return RecognisedColumn(index, header, PULL, None, "certain")
    channel, unit, confidence = _channel_of(words, unit_text)
    if channel is None and both != words:
        channel, unit, confidence = _channel_of(both, unit_text)
    if channel is None:
        return RecognisedColumn(index, header, None, None, "not recognised")
    whole = f"{both} {fold(unit_text)}"
    wheels, engine = bool(AT_THE_WHEELS.search(whole)), bool(AT_THE_ENGINE.search(whole))
    return RecognisedColumn(
        index,
        header,
        channel.name,
        unit,
        confidence,
        _pull_label(words, group),
        None if wheels == engine else "wheels" if wheels else "engine",
        False if UNCORRECTED.search(both) else True if CORRECTED.search(both) else None,
    )


def _channel_of(words: str, unit_text: str) -> tuple[Channel | None, str | None, Confidence]:
    """The first channel whose words and unit fit; failing that the first whose words fit; failing that by the unit."""
    by_words: Channel | None = None
    for channel in CHANNELS:
        if not channel.words.search(words) or (channel.not_words and channel.not_words.search(words)):
            continue
        unit = parse_unit_for(unit_text, channel.quantity)
        if unit is not None:
            return channel, unit.symbol, "certain"
        if by_words is None and parse_unit(unit_text) is None:
            by_words = channel
    if by_words is not None:
        return (by_words, by_words.assumed, "likely") if by_words.assumed else (by_words, None, "unit missing")
    alone = parse_unit(unit_text)
    if alone is None or (alone.quantity in ("power", "torque") and ANY_TARGET.search(words)):
        return None, None, "not recognised"
    # "P [kW]" and "Crank HP" can be nothing else; "Exhaust [kPa]" can.
    if alone.quantity in ("power", "torque") or fold(unit_text) == words or len(words) <= 2:
        for channel in (BY_NAME[name] for name in _KNOWN_BY_UNIT):
            if channel.quantity == alone.quantity:
                return channel, alone.symbol, "likely"
    return None, None, "not recognised"


_KNOWN_BY_UNIT = (
    "power_kw",
    "torque_nm",
    "engine_speed_rpm",
    "vehicle_speed_kmh",
    "lambda_",
    "air_fuel_ratio",
    "time_s",
)


def _spread(text: str) -> str:
    """EngineSpeed → Engine Speed."""
    return re.sub(r"(?<=[a-zäöüéèà])(?=[A-Z][a-zA-Z])", " ", text)


_BRACKETED = re.compile(r"[\[({<]([^\[\](){}<>]*(?:\([^()]*\))?[^\[\](){}<>]*)[\])}>]")
_BEFORE_UNIT = re.compile(r"[\s/,_;:|-]+")


def _name_and_unit(header: str) -> tuple[str, str]:
    """The header's words and the unit written in it ("" when none is found).

    >>> _name_and_unit("Drehzahl [U/min]"), _name_and_unit("Power, kW"), _name_and_unit("Torque_lb-ft")
    (('Drehzahl', 'U/min'), ('Power', 'kW'), ('Torque', 'lb-ft'))
    """
    if parse_unit(header) is not None:
        return "", header
    for match in _BRACKETED.finditer(header):
        if parse_unit(match[1]) is not None:
            return f"{header[: match.start()]} {header[match.end() :]}".strip(), match[1]
    for match in _BEFORE_UNIT.finditer(header):
        name, suffix = header[: match.start()], header[match.end() :]
        if name and parse_unit(suffix) is not None:
            return name, suffix
    return header, ""


def _pull_label(words: str, group: str) -> str | None:
    if group.strip():
        return group.strip()
    found = PULL_LABEL.search(words)
    return (found[1] or found[2]) if found else None


def _number_repeats(columns: list[RecognisedColumn]) -> list[RecognisedColumn]:
    """Gives columns that repeat header for header the number of their turn as the pull's label."""
    heads = Counter(c.header for c in columns if c.quantity and not c.pull)
    turns: Counter[str] = Counter()
    numbered = []
    for column in columns:
        if column.quantity and not column.pull and heads[column.header] > 1:
            turns[column.header] += 1
            numbered.append(_with_pull(column, str(turns[column.header])))
        else:
            numbered.append(column)
    return numbered


def _with_pull(column: RecognisedColumn, label: str) -> RecognisedColumn:
    return RecognisedColumn(
        column.index,
        column.header,
        column.quantity,
        column.unit,
        column.confidence,
        label,
        column.measured_at,
        column.corrected,
    )
