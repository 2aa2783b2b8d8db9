"""What a restore certificate says: what was verified, what was not, what was overridden and why. Content only."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from app.calc.restore.plan import Progress, StepState
from app.errors import BadInput

# Printed whole on every certificate, whatever was verified.
STATEMENTS = (
    "This certificate states what was checked, when and how; it states nothing about anything else.",
    "It does not state that the vehicle was never modified: control units may keep write counters, calibration "
    "histories and learned values, and the workshop's record keeps the history of this vehicle.",
    "It applies only to the control units listed and only to the time of the checks.",
    "Restoring stock does not restore warranty rights, and this certificate must not be used to misrepresent the "
    "vehicle's history.",
)


@dataclass(frozen=True, slots=True)
class CertificateVehicle:
    """The vehicle and control units as they are printed."""

    vin: str
    plate: str
    description: str
    odometer_km: float | None
    control_units: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CertificateLine:
    """One step: its title, what its evidence came to, and single findings."""

    title: str
    sentence: str
    details: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class OverrideLine:
    """One overridden step: the reason, who decided, and what the evidence had said."""

    title: str
    reason: str
    by: str
    finding: str


@dataclass(frozen=True, slots=True)
class DigestLine:
    """A file that the certificate rests on, by its SHA-256."""

    label: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Signature:
    """Who signed, in which role, when (already in the workshop's time zone, as text)."""

    name: str
    role: str
    signed_at: str


@dataclass(frozen=True, slots=True)
class Certificate:
    """The whole content; every step of the plan stands in exactly one of verified, not_verified, overridden.

    `journal_head` is the last entry's number and hash, so that a copy of it exists outside the database.
    """

    number: str
    issued_at: str
    vehicle: CertificateVehicle
    headline: str
    verified: tuple[CertificateLine, ...]
    not_verified: tuple[CertificateLine, ...]
    overridden: tuple[OverrideLine, ...]
    digests: tuple[DigestLine, ...]
    signatures: tuple[Signature, ...]
    journal_head: tuple[int, str]
    statements: tuple[str, ...] = STATEMENTS

    def to_json(self) -> dict[str, Any]:
        """Plain dicts and lists, as the record keeps the certificate."""
        content: dict[str, Any] = _plain(asdict(self))
        return content


def build_certificate(
    progress: Progress,
    *,
    number: str,
    issued_at: str,
    vehicle: CertificateVehicle,
    digests: Sequence[DigestLine],
    signatures: Sequence[Signature],
    journal_head: tuple[int, str],
) -> Certificate:
    """Put together what is printed. A certificate can be drafted at any time: open steps stand under not verified.

    Raises BadInput when it is signed although it may not be.
    """
    if signatures and not progress.may_sign_off:
        raise BadInput("This restore still has open steps; close or override them before signing.", field="signatures")
    work = [s for s in progress.states if s.step.evidence != "sign-off"]
    overridden = tuple(_override_line(s) for s in work if s.override is not None)
    verified = tuple(_line(s) for s in work if s.override is None and s.state == "done")
    not_verified = tuple(_open_line(s) for s in work if s.override is None and s.state != "done")
    return Certificate(
        number=number,
        issued_at=issued_at,
        vehicle=vehicle,
        headline=_headline(len(verified), len(overridden), len(not_verified)),
        verified=verified,
        not_verified=not_verified,
        overridden=overridden,
        digests=tuple(digests),
        signatures=tuple(signatures),
        journal_head=journal_head,
    )


def _headline(verified: int, overridden: int, not_verified: int) -> str:
    total = verified + overridden + not_verified
    if verified == total:
        return f"All {total} checks of this restore to stock were verified."
    parts = [f"{verified} of {total} checks verified"]
    if overridden:
        parts.append(f"{overridden} overridden without being verified")
    if not_verified:
        parts.append(f"{not_verified} not verified")
    return f"{', '.join(parts)}."


def _line(state: StepState) -> CertificateLine:
    assert state.verdict is not None
    return CertificateLine(state.step.title, state.verdict.sentence, state.verdict.details)


def _open_line(state: StepState) -> CertificateLine:
    if state.verdict is None:
        return CertificateLine(state.step.title, "No evidence was recorded.")
    if state.verdict.outcome == "verified":
        why = "A step it rests on was repeated afterwards" if state.stale else "A step it rests on is not closed"
        sentence = f"{why}, so this does not count: {state.verdict.sentence}"
        return CertificateLine(state.step.title, sentence, state.verdict.details)
    return _line(state)


def _override_line(state: StepState) -> OverrideLine:
    assert state.override is not None
    finding = "No evidence was recorded." if state.verdict is None else state.verdict.sentence
    return OverrideLine(state.step.title, state.override.reason.strip(), state.override.by, finding)


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    return [_plain(item) for item in value] if isinstance(value, list | tuple) else value
