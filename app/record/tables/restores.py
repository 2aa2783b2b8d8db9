"""Back-to-stock cases: the plan, the evidence that closes each step, sign-offs, certificates."""

from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.record.base import Base, Evidence


class Restore(Evidence, Base):
    __tablename__ = "restore"
    __table_args__ = (UniqueConstraint("vehicle_id", "number"),)
    vehicle_id: Mapped[int] = mapped_column(ForeignKey("vehicle.id"), index=True)
    number: Mapped[int]
    reason: Mapped[str]
    two_sign_offs: Mapped[bool]
    margin_percent: Mapped[float]
    coding_snapshot_id: Mapped[int | None] = mapped_column(ForeignKey("coding_snapshot.id"))
    baseline_session_id: Mapped[int | None] = mapped_column(ForeignKey("dyno_session.id"))
    steps: Mapped[list[Any]]


class RestoreStep(Evidence, Base):
    """One piece of evidence for one step, with the verdict it led to; the latest for a step applies."""

    __tablename__ = "restore_step"
    __table_args__ = (
        CheckConstraint("outcome in ('verified', 'failed', 'not verified', 'overridden')", name="outcome"),
        CheckConstraint("outcome <> 'overridden' or length(reason) > 0", name="override_needs_reason"),
    )
    restore_id: Mapped[int] = mapped_column(ForeignKey("restore.id"), index=True)
    key: Mapped[str] = mapped_column(String(80))
    outcome: Mapped[str] = mapped_column(String(16))
    sentence: Mapped[str]
    details: Mapped[list[Any]]
    reason: Mapped[str]
    evidence: Mapped[dict[str, Any]]


class RestoreSignOff(Evidence, Base):
    __tablename__ = "restore_sign_off"
    __table_args__ = (UniqueConstraint("restore_id", "by_id"),)
    restore_id: Mapped[int] = mapped_column(ForeignKey("restore.id"), index=True)
    statement: Mapped[str]


class RestoreAbandonment(Evidence, Base):
    """A case that ended without a certificate, and why."""

    __tablename__ = "restore_abandonment"
    __table_args__ = (CheckConstraint("length(reason) > 0", name="abandonment_needs_reason"),)
    restore_id: Mapped[int] = mapped_column(ForeignKey("restore.id"), unique=True)
    reason: Mapped[str]


class Certificate(Evidence, Base):
    __tablename__ = "certificate"
    restore_id: Mapped[int] = mapped_column(ForeignKey("restore.id"), unique=True)
    body: Mapped[dict[str, Any]]
    journal_seq: Mapped[int]
    journal_hash: Mapped[str] = mapped_column(String(64))
