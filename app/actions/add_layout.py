"""Put a layout on record, or a new version of one that is there."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy.orm import Session

from app.calc.calibration.layout import Layout as Definitions
from app.calc.calibration.layout_json import layout_to_json
from app.calc.number_text import counted
from app.errors import BadInput
from app.record import content, journal, layouts
from app.record.tables import Layout, Person


def add_layout(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    name: str,
    definitions: Definitions,
    source: str,
    software_number: str = "",
    uploaded: bytes | None = None,
    file_name: str | None = None,
    note: str = "",
    findings: Sequence[str] = (),
) -> Layout:
    """Keep the definitions as a new version of `name`; earlier versions stay, and history computed with them too."""
    title = name.strip()
    if not title:
        raise BadInput("Give the layout a name, for example the control unit and its software.", field="name")
    if not definitions.maps and not definitions.checksums:
        raise BadInput("The file defines no map and no block checksum; check that it is the right one.", field="file")
    number = software_number.strip() or definitions.software_number or None
    named = replace(definitions, name=title, software_number=number)
    version = layouts.next_version(session, title)
    previous = layouts.versions(session, title)
    digest = content.put(session, layout_to_json(named), at=at)
    if previous and previous[0].sha256 == digest:
        raise BadInput(
            f"This is version {previous[0].version} of “{title}” already: nothing in it differs.", field="file"
        )
    row = Layout(
        name=title,
        version=version,
        software_number=number,
        sha256=digest,
        original_sha256=None if uploaded is None else content.put(session, uploaded, at=at),
        file_name=file_name,
        source=source,
        map_count=len(named.maps),
        checksum_count=len(named.checksums),
        note=note.strip(),
        findings=list(findings),
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="add layout",
        sentence=f"Layout “{title}” version {version}: {counted(row.map_count, 'map')}, "
        f"{counted(row.checksum_count, 'block checksum')}.",
        subject=("layout", row.id),
        facts={"sha256": digest, "software_number": number, "source": source},
    )
    return row
