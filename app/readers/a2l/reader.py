"""An A2L file becomes a layout."""

from collections import Counter
from dataclasses import dataclass, field, replace

from app.calc.calibration.category import categorise
from app.calc.calibration.layout import AxisDefinition, Layout, MapDefinition
from app.calc.calibration.record_layout import Record
from app.calc.number_text import counted
from app.readers.a2l.axes import read_axis_points
from app.readers.a2l.characteristics import read_characteristic
from app.readers.a2l.common import ByteOrders, LegacyByteOrder, read_common
from app.readers.a2l.context import Context, Findings
from app.readers.a2l.conversion import Conversions
from app.readers.a2l.groups import read_groups
from app.readers.a2l.records import read_records
from app.readers.a2l.source import Module, Progress, Scanner, Source

_COUNTED = (
    "CHARACTERISTIC", "AXIS_PTS", "COMPU_METHOD", "COMPU_TAB", "COMPU_VTAB", "COMPU_VTAB_RANGE", "RECORD_LAYOUT",
    "FUNCTION", "GROUP", "MEASUREMENT", "UNIT",
)  # fmt: skip
_OBJECTS = ("INSTANCE", "BLOB")
_TEMPLATES = ("TYPEDEF_STRUCTURE", "TYPEDEF_CHARACTERISTIC", "TYPEDEF_AXIS", "TYPEDEF_MEASUREMENT", "TYPEDEF_BLOB")
_PASSED_OVER = ("A2ML", "FRAME", "IF_DATA", "MOD_COMMON", "MOD_PAR", "USER_RIGHTS", "VARIANT_CODING")
_REPORT_EVERY = 500
_NAMED_REASONS = 5
_SHOWS = "What changes in them shows as unexplained bytes."


@dataclass(frozen=True, slots=True)
class A2lFile:
    """What an A2L file says.

    counts : blocks by keyword. skipped : keywords this reader does not know. not_decoded : (name, reason).
    notes : sentences about what was left out. questions : what the file leaves open or an answer decided.
    identifier : the text (EPK) that the software carries at each of `identifier_addresses`, or None.
    """

    layout: Layout
    counts: dict[str, int] = field(default_factory=dict)
    skipped: tuple[str, ...] = ()
    not_decoded: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    identifier: str | None = None
    identifier_addresses: tuple[int, ...] = ()


def read_a2l(
    data: bytes, *, progress: Progress | None = None, legacy_byte_order: LegacyByteOrder | None = None
) -> A2lFile:
    """Read an A2L file (ASAM MCD-2 MC / ASAP2 1.6 and older), the part of it that decoding needs.

    Parameters
    ----------
    progress : called with (done, total) steps, at least once for each megabyte or 500 items.
    legacy_byte_order : the meaning of BIG_ENDIAN and LITTLE_ENDIAN: "standard" reverses them as the standard does,
        "as written" does not. Without it BadInput with the field "legacy_byte_order" asks.

    BadInput names the line of a damaged block, a reference to nothing, a name given twice, a wrong count.
    """
    source = Source.of(data)
    size = len(source.text)
    orders, findings = ByteOrders(legacy_byte_order), Findings()
    scanner = Scanner(source, (lambda done, _: progress(done // 2, size)) if progress else None).run()
    findings.skipped.update(scanner.skipped)
    steps = sum(len(m.blocks.get(k, [])) for m in scanner.modules for k in ("AXIS_PTS", "CHARACTERISTIC"))
    ticker = _Ticker(progress, size, max(steps, 1))
    contexts = [_read_module(source, module, orders, findings, ticker) for module in scanner.modules]
    for name, cursor, at in findings.curve_references:
        if name not in findings.names:
            raise cursor.bad(f"AXIS_DESCR refers to a curve {name!r} that the file does not have.", at)
    if progress:
        progress(size, size)
    return _file(scanner.modules, contexts, findings, orders)


class _Ticker:
    """Maps items read to the second half of the progress."""

    def __init__(self, progress: Progress | None, size: int, steps: int) -> None:
        self.progress, self.size, self.steps, self.done = progress, size, steps, 0

    def tick(self) -> None:
        self.done += 1
        if self.progress and self.done % _REPORT_EVERY == 0:
            self.progress(self.size // 2 + self.size * self.done // (2 * self.steps), self.size)


def _read_module(source: Source, module: Module, orders: ByteOrders, findings: Findings, ticker: _Ticker) -> Context:
    known = (*_COUNTED, *_PASSED_OVER, *_OBJECTS, *_TEMPLATES)
    findings.skipped.update(dict.fromkeys(k for k in module.blocks if k not in known))
    common = read_common(source, module, orders, findings.skipped)
    conversions = Conversions(source, module, findings.skipped)
    records = read_records(source, module, common, findings.skipped)
    groups = read_groups(source, module, findings)
    context = Context(source, common, orders, conversions, records, findings, groups)
    for block in module.blocks.get("AXIS_PTS", []):
        read_axis_points(block, context)
        ticker.tick()
    for block in module.blocks.get("CHARACTERISTIC", []):
        read_characteristic(block, context)
        ticker.tick()
    for name, axis in context.axis_points.items():
        if name not in context.used_axes:
            _lone_axis(name, axis, context)
    findings.not_decoded.extend(context.axis_reasons.items())
    if not common.byte_order_stated and (context.maps or context.axis_points):
        context.ask("The file does not state a byte order; high byte first (MSB_FIRST) is taken.")
    return context


def _lone_axis(name: str, axis: AxisDefinition, context: Context) -> None:
    """Breakpoints that no map uses are kept as a block, so that a change in them has a name."""
    record = None
    if axis.record is not None:
        if axis.differences or axis.record.part("axis") is None:
            context.findings.not_decoded.append((name, "it is an axis that no map uses"))
            return
        parts = tuple(replace(p, role="values") if p.role == "axis" else p for p in axis.record.parts)
        record = Record(axis.record.name, parts, axis.record.static)
    description = context.axis_descriptions[name]
    category = categorise(name, description, context.groups.get(name, ()))
    context.maps.append(
        MapDefinition(
            name,
            "block",
            axis.address,
            category,
            description,
            axis.scaling,
            (),
            axis.data_type,
            axis.byte_order,
            (axis.count,),
            record=record,
        )
    )


def _counted(modules: list[Module], keywords: tuple[str, ...]) -> dict[str, int]:
    return {k: n for k in keywords if (n := sum(len(m.blocks.get(k, [])) for m in modules))}


def _left_undecoded(modules: list[Module], findings: Findings) -> list[str]:
    """What the file describes and this reader cannot, in words and counts."""
    notes = []
    reasons = Counter(reason for _, reason in findings.not_decoded)
    if reasons:
        parts = [f"{count}: {reason}" for reason, count in reasons.most_common(_NAMED_REASONS)]
        more = reasons.total() - sum(count for _, count in reasons.most_common(_NAMED_REASONS))
        parts += [f"{more} for other reasons"] if more else []
        count = reasons.total()
        items = "1 item" if count == 1 else f"{count} items"
        notes.append(f"{items} cannot be decoded ({'; '.join(parts)}). {_SHOWS}")
    objects = _counted(modules, _OBJECTS)
    if objects:
        kinds = " and ".join(f"{count} of the kind {keyword}" for keyword, count in objects.items())
        notes.append(f"Objects that are not decoded: {kinds}, described by {_templates(modules)}. {_SHOWS}")
    return notes


def _templates(modules: list[Module]) -> str:
    count = sum(_counted(modules, _TEMPLATES).values())
    return "1 TYPEDEF block" if count == 1 else f"{count} TYPEDEF blocks"


def _file(modules: list[Module], contexts: list[Context], findings: Findings, orders: ByteOrders) -> A2lFile:
    counts = _counted(modules, (*_COUNTED, *_OBJECTS, *_TEMPLATES))
    axes = tuple(axis for c in contexts for name, axis in c.axis_points.items() if name in c.used_axes)
    identifier = next((c.common.identifier for c in contexts if c.common.identifier), None)
    layout = Layout(
        name=modules[0].name,
        software_number=identifier,
        maps=tuple(definition for c in contexts for definition in c.maps),
        axes=axes,
    )
    notes = []
    if findings.skipped:
        notes.append(f"{counted(len(findings.skipped), 'keyword is', 'keywords are')} not known here and passed over.")
    notes += _left_undecoded(modules, findings)
    questions = list(findings.questions)
    if orders.met_legacy:
        meaning = "reversed, as the standard has it" if orders.legacy == "standard" else "as written"
        questions.append(f"The old byte order words BIG_ENDIAN and LITTLE_ENDIAN were read {meaning}.")
    return A2lFile(
        layout,
        counts,
        tuple(findings.skipped),
        tuple(findings.not_decoded),
        tuple(notes),
        tuple(questions),
        identifier,
        tuple(a for c in contexts for a in c.common.identifier_addresses),
    )
