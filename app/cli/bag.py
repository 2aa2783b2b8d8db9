"""`revledger export` and `revledger take-in`: one vehicle's whole record as a bag (RFC 8493)."""

import hashlib
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from app.calc.number_text import counted

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from app.record.bag.document import VehicleRecord
    from app.record.tables import Vehicle

# One file of one vehicle: an image or a recording as it was uploaded.
_FILE_LIMIT = 256 * 2**20
_DOCUMENT = "data/record.json"
_DOCUMENT_LIMIT = 1 << 30


def export(
    vehicle: Annotated[str, typer.Argument(help="The vehicle: its VIN, its plate, or its number on record.")],
    destination: Annotated[Path, typer.Argument(help="Folder to make; it must not be there yet.")],
    customer: Annotated[bool, typer.Option("--customer/--no-customer", help="With the customer's name.")] = True,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Write a vehicle's whole record, with every original file and image, into a folder that can be checked and taken
    in elsewhere."""
    from app.cli.database import open_database
    from app.record.bag.collect import collect
    from app.record.engine import reading
    from app.settings import from_environment

    engine, _ = open_database(from_environment())
    with reading(engine) as session:
        found = _vehicle(session, vehicle)
        record = collect(session, found.id, at=datetime.now(UTC), with_customer=customer)
        digest = _write(session, record, destination, found.vin)
    rows = sum(len(listed) for listed in record.tables.values())
    if as_json:
        counts = {"rows": rows, "journal_entries": len(record.journal), "files": len(record.content)}
        _print({"bag": str(destination), **counts, "manifest_sha256": digest, "left_out": list(record.left_out)})
        return
    typer.echo(f"{destination}: {_told(rows, len(record.journal), len(record.content))}.")
    typer.echo(f"Manifest SHA-256 {digest}")
    for sentence in record.left_out:
        typer.echo(f"Left out: {sentence}")


def take_in(
    bag: Annotated[Path, typer.Argument(help="Folder of the bag.")],
    by: Annotated[str | None, typer.Option(help="Name of the person who takes it in.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Check a bag whole and write its vehicle's record into this database; a vehicle that is on record is refused."""
    from app.actions.take_in_vehicle import take_in_vehicle
    from app.cli.database import open_database
    from app.errors import NotFound
    from app.readers.bagit import open_bag
    from app.record import people
    from app.record.bag.document import from_json
    from app.record.engine import transaction
    from app.settings import from_environment

    found = open_bag(bag)
    record = from_json(found.read(_DOCUMENT, _DOCUMENT_LIMIT))
    engine, _ = open_database(from_environment())
    with transaction(engine) as session:
        person = None if by is None else people.by_name(session, by)
        if by is not None and person is None:
            raise NotFound(f"There is no person called {by}.")
        taken = take_in_vehicle(
            session,
            person=person,
            at=datetime.now(UTC),
            record=record,
            fetch=lambda digest: found.read(f"data/content/{digest}", _FILE_LIMIT),
            manifest_digest=found.manifest_digest,
        )
        if as_json:
            counts = {"rows": taken.rows, "journal_entries": taken.entries, "files": taken.files}
            _print({"vehicle_id": taken.vehicle.id, "vin": taken.vehicle.vin, **counts, "head": record.journal_head})
            return
        label = f"{taken.vehicle.make} {taken.vehicle.model}, VIN {taken.vehicle.vin}, is vehicle {taken.vehicle.id}"
    typer.echo(f"{label}: {_told(taken.rows, taken.entries, taken.files)}.")
    typer.echo(f"Journal head at {record.workshop}: {record.journal_head}; compare it with a printed sheet.")


def _print(result: dict[str, object]) -> None:
    typer.echo(json.dumps(result, indent=2, ensure_ascii=False))


def _vehicle(session: "Session", text: str) -> "Vehicle":
    """By VIN, number, or the only car that the search finds."""
    from app.errors import BadInput, NotFound
    from app.record import vehicles
    from app.record.row_id import row_id

    known = vehicles.by_vin(session, "".join(text.split()).upper())
    if known is not None:
        return known
    if (number := row_id(text)) is not None:
        return vehicles.vehicle(session, number)
    found = vehicles.search(session, text, limit=2)
    if not found:
        raise NotFound(f"No vehicle has “{text}” as its VIN, plate or number.")
    if len(found) > 1:
        raise BadInput(f"Several vehicles have “{text}”; give the VIN or the number on record.")
    return found[0]


def _write(session: "Session", record: "VehicleRecord", folder: Path, vin: str) -> str:
    """The bag's files; the SHA-256 of its payload manifest. A folder that is there already is left alone."""
    from rich.console import Console
    from rich.progress import track

    from app.errors import Conflict, StorageFailed
    from app.readers.bagit import MANIFEST, tag_files
    from app.record import content
    from app.record.bag.document import to_json

    digests: dict[str, str] = {}
    octets = 0
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise Conflict(f"{folder} is there already; name a folder that is to be made.")
    try:
        for part in (folder, folder / "data", folder / "data" / "content"):
            part.mkdir(mode=0o700, parents=True, exist_ok=True)
        for digest in track(record.content, "Files", console=Console(stderr=True), transient=True):
            data = content.fetch(session, digest)
            _keep(folder / "data" / "content" / digest, data)
            digests[f"data/content/{digest}"], octets = digest, octets + len(data)
        document = to_json(record)
        _keep(folder / _DOCUMENT, document)
        digests[_DOCUMENT], octets = hashlib.sha256(document).hexdigest(), octets + len(document)
        info = {
            "Source-Organization": record.workshop,
            "External-Identifier": vin,
            "External-Description": "Record of one vehicle: rows, journal, original files and images",
            "Bagging-Date": record.exported_at[:10],
            "Bag-Software-Agent": "Revledger",
        }
        tags = tag_files(digests, octets, info)
        for name, data in tags.items():
            _keep(folder / name, data)
    except OSError as error:
        raise StorageFailed(f"{folder} cannot be written ({error.strerror}); what is in it is no whole bag.") from None
    return hashlib.sha256(tags[MANIFEST]).hexdigest()


def _keep(file: Path, data: bytes) -> None:
    """A new file that, like the database, is for whoever runs the server: it may hold a customer's name."""
    file.touch(mode=0o600, exist_ok=False)
    file.write_bytes(data)


def _told(rows: int, entries: int, files: int) -> str:
    return f"{counted(rows, 'row')}, {counted(entries, 'journal entry', 'journal entries')}, {counted(files, 'file')}"
