"""The certificate as a sheet of paper: from what was issued, or as a draft of what would be."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from markupsafe import Markup
from sqlalchemy.orm import Session

from app.record import restore_certificate, restores
from app.web.qr_code import qr_code

Line = tuple[str, str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class CertificatePage:
    """verified, not_verified: (title, sentence, details). overridden: (title, reason, by, finding). signatures: (role,
    name or None, when or None). address: of the record, as text and as `code`, both None when no address is set."""

    restore_id: int
    draft: bool
    replaced_by: int | None
    abandoned: str | None
    number: str
    issued_at: str
    opened: str
    reason: str
    headline: str
    vehicle: tuple[tuple[str, str], ...]
    odometer_km: float | None
    control_units: tuple[str, ...]
    verified: tuple[Line, ...]
    not_verified: tuple[Line, ...]
    overridden: tuple[tuple[str, str, str, str], ...]
    digests: tuple[tuple[str, str], ...]
    signatures: tuple[tuple[str, str | None, str | None], ...]
    statements: tuple[str, ...]
    journal_head: str
    address: str | None
    code: Markup | None


def certificate_page(
    session: Session, restore_id: int, *, at: datetime, zone: ZoneInfo, base_url: str
) -> CertificatePage:
    """The issued certificate as it was stored; before that, a draft of it as the case stands."""
    case = restores.case(session, restore_id)
    body = restore_certificate.body(session, case, at=at, zone=zone)
    vehicle = body["vehicle"]
    address = restore_certificate.address(base_url, restore_id)
    return CertificatePage(
        restore_id=restore_id,
        draft=case.certificate is None,
        replaced_by=None if case.replaced_by is None else case.replaced_by.number,
        abandoned=None if case.abandonment is None else case.abandonment.reason,
        number=str(body["number"]),
        issued_at=str(body["issued_at"]),
        opened=restore_certificate.in_words(case.restore.at, zone),
        reason=case.restore.reason,
        headline=str(body["headline"]),
        vehicle=(("Vehicle", vehicle["description"]), ("VIN", vehicle["vin"]), ("Plate", vehicle["plate"])),
        odometer_km=vehicle["odometer_km"],
        control_units=tuple(vehicle["control_units"]),
        verified=_lines(body["verified"]),
        not_verified=_lines(body["not_verified"]),
        overridden=tuple((one["title"], one["reason"], one["by"], one["finding"]) for one in body["overridden"]),
        digests=tuple((one["label"], one["sha256"]) for one in body["digests"]),
        signatures=_signatures(body, 2 if case.restore.two_sign_offs else 1),
        statements=tuple(body["statements"]),
        journal_head=f"{body['journal_head'][0]}-{body['journal_head'][1]}",
        address=address,
        code=None if address is None else qr_code(address, title="Code of this record", css_class="certificate-code"),
    )


def _lines(rows: list[dict[str, Any]]) -> tuple[Line, ...]:
    return tuple((one["title"], one["sentence"], tuple(one["details"])) for one in rows)


def _signatures(body: dict[str, Any], wanted: int) -> tuple[tuple[str, str | None, str | None], ...]:
    signed = [(one["role"], one["name"], one["signed_at"]) for one in body["signatures"]]
    return (*signed, *[("not signed yet", None, None)] * (wanted - len(signed)))
