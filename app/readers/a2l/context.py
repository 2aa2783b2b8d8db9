"""What reading the items of one module needs: everything they refer to, and where findings go."""

from dataclasses import dataclass, field

from app.calc.calibration.layout import AxisDefinition, MapDefinition
from app.readers.a2l.common import ByteOrders, Common
from app.readers.a2l.conversion import Conversions
from app.readers.a2l.cursor import Cursor
from app.readers.a2l.records import RecordLayout
from app.readers.a2l.source import Source


@dataclass(slots=True)
class Findings:
    """What a person is told after reading; insertion order is file order."""

    skipped: dict[str, None] = field(default_factory=dict)
    questions: dict[str, None] = field(default_factory=dict)
    not_decoded: list[tuple[str, str]] = field(default_factory=list)
    curve_references: list[tuple[str, Cursor, int]] = field(default_factory=list)
    names: set[str] = field(default_factory=set)


@dataclass(slots=True)
class Context:
    """One module while its items are read."""

    source: Source
    common: Common
    orders: ByteOrders
    conversions: Conversions
    records: dict[str, RecordLayout]
    findings: Findings
    groups: dict[str, list[str]]
    axis_points: dict[str, AxisDefinition] = field(default_factory=dict)
    axis_records: dict[str, RecordLayout] = field(default_factory=dict)
    axis_reasons: dict[str, str] = field(default_factory=dict)
    axis_descriptions: dict[str, str] = field(default_factory=dict)
    used_axes: set[str] = field(default_factory=set)
    maps: list[MapDefinition] = field(default_factory=list)

    def record(self, name: str, cursor: Cursor) -> RecordLayout:
        """The record layout a block refers to; BadInput at the reference when there is none."""
        found = self.records.get(name)
        if found is None:
            raise cursor.bad(f"{cursor.keyword} refers to a RECORD_LAYOUT {name!r} that the file does not have.")
        return found

    def claim(self, name: str, cursor: Cursor) -> None:
        """Refuse a second item of one name."""
        if name in self.findings.names:
            raise cursor.bad(f"The name {name!r} is given to two items.")
        self.findings.names.add(name)

    def ask(self, question: str) -> None:
        """Note something that the file leaves open."""
        self.findings.questions[question] = None
