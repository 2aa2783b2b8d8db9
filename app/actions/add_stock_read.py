"""Take one read of a control unit's stock calibration; two equal reads confirm it."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calc.calibration.checksum import ChecksumResult, evaluate_all
from app.calc.calibration.checksum_json import results_to_json
from app.calc.calibration.first_differences import first_differences
from app.calc.calibration.image import Image
from app.calc.number_text import counted
from app.errors import Conflict
from app.readers.image import ReadImage
from app.record import images, journal, layouts, stocks, vehicles
from app.record.tables import ControlUnit, Layout, Person, Stock, StockRead


@dataclass(frozen=True, slots=True)
class StockReadTaken:
    """The read, and the stock it confirmed, if it did."""

    read: StockRead
    stock: Stock | None
    checksums: tuple[ChecksumResult, ...]
    layout: Layout | None


def add_stock_read(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    control_unit_id: int,
    uploaded: bytes,
    file_name: str,
    read: ReadImage,
    new_generation: bool = False,
) -> StockReadTaken:
    """Keep the read; an earlier one of this generation with the same bytes at the same addresses confirms stock.

    `new_generation` says that the unit now carries another stock (a dealer update). Raises Conflict when a read
    differs from the earlier ones, with the first differing addresses; nothing is kept then.
    """
    unit = vehicles.control_unit(session, control_unit_id)
    earlier = stocks.unconfirmed(session, unit.id)
    _refuse_second_stock(session, unit, new_generation, earlier)
    image = read.image
    for known in earlier:
        _refuse_difference(images.load(session, known), image, known)
    layout = next(iter(layouts.matching(session, software_number=unit.software_number, sha256=image.digest)), None)
    definitions = layouts.definitions(session, layout)
    checksums = () if definitions is None else evaluate_all(image, definitions.checksums_in_image)
    shared = stocks.current(session, unit.id)
    fields = images.store(
        session,
        image,
        uploaded=uploaded,
        file_format=read.format,
        file_name=file_name,
        at=at,
        base=shared,
    )
    row = StockRead(
        control_unit_id=unit.id,
        generation=stocks.next_generation(session, unit.id),
        layout_id=None if layout is None else layout.id,
        checksums=results_to_json(checksums),
        at=at,
        by_id=person.id,
        **fields,
    )
    session.add(row)
    session.flush()
    stock = _confirm(session, unit, earlier[0], row, at, person) if earlier else None
    _journal(session, person, at, unit, row, stock)
    return StockReadTaken(row, stock, checksums, layout)


def _refuse_second_stock(
    session: Session, unit: ControlUnit, new_generation: bool, earlier: Sequence[StockRead]
) -> None:
    confirmed = stocks.current(session, unit.id)
    if confirmed is not None and not new_generation and not earlier:
        raise Conflict(
            f"Stock of this control unit is confirmed already (generation {confirmed.generation}, "
            f"{(confirmed.sha256 or '')[:16]}…) and cannot change. If a dealer update put another stock on the car, "
            "say so with “new generation”.",
            field="new_generation",
        )


def _refuse_difference(known: Image, image: Image, row: StockRead) -> None:
    if known.digest == image.digest and known.spans == image.spans:
        return
    found = first_differences(known, image, limit=8)
    raise Conflict(
        f"This read differs from the first one ({row.file_name}, {row.at:%Y-%m-%d %H:%M} UTC) in "
        f"{counted(found.count, 'byte')}, first at 0x{found.first:X}. Stock is accepted only when two reads agree: "
        "check the connection and supply voltage and read again.",
        field="file",
        where=f"address 0x{found.first:X}",
        details=found.lines,
    )


def _confirm(
    session: Session, unit: ControlUnit, first: StockRead, second: StockRead, at: dt.datetime, person: Person
) -> Stock:
    stock = Stock(
        control_unit_id=unit.id,
        generation=second.generation,
        first_read_id=first.id,
        second_read_id=second.id,
        software_number=unit.software_number,
        layout_id=second.layout_id,
        sha256=second.sha256,
        spans=second.spans,
        crc32=second.crc32,
        size=second.size,
        file_format=second.file_format,
        file_name=second.file_name,
        original_sha256=second.original_sha256,
        at=at,
        by_id=person.id,
    )
    session.add(stock)
    session.flush()
    return stock


def _journal(
    session: Session, person: Person, at: dt.datetime, unit: ControlUnit, row: StockRead, stock: Stock | None
) -> None:
    sentence = f"Stock of {unit.role} read, {row.size:,} bytes."
    if stock is not None:
        sentence += f" Two reads agree: stock confirmed (generation {stock.generation})."
    journal.append(
        session,
        at=at,
        person=person,
        action="read stock" if stock is None else "confirm stock",
        sentence=sentence,
        vehicle_id=unit.vehicle_id,
        subject=("control_unit", unit.id),
        facts={"sha256": row.sha256, "crc32": f"{row.crc32:08X}", "file": row.file_name, "format": row.file_format},
    )
