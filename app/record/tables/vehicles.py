"""The car, its owner, its control units, and what was found on it at one moment."""

import datetime as dt
from typing import Any

from sqlalchemy import BigInteger, CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.record.base import Base, Evidence


class Customer(Base):
    """The only place for personal data; erasing empties this row alone."""

    __tablename__ = "customer"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    contact: Mapped[str]
    made_at: Mapped[dt.datetime]
    erased_at: Mapped[dt.datetime | None]


class Vehicle(Base):
    __tablename__ = "vehicle"
    __table_args__ = (
        CheckConstraint("length(vin) = 17", name="vin_length"),
        CheckConstraint("test_mass_kg is null or test_mass_kg > 0", name="test_mass_positive"),
        CheckConstraint("rated_power_kw is null or rated_power_kw > 0", name="rated_power_positive"),
        CheckConstraint("driven_axles in ('front', 'rear', 'all')", name="driven_axles"),
        CheckConstraint("fuel in ('petrol', 'diesel', 'ethanol', 'gas', 'electric', 'other')", name="fuel"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    customer_id: Mapped[int | None] = mapped_column(ForeignKey("customer.id"), index=True)
    vin: Mapped[str] = mapped_column(String(17), unique=True)
    plate: Mapped[str] = mapped_column(String(24), index=True)
    make: Mapped[str] = mapped_column(String(60))
    model: Mapped[str] = mapped_column(String(60))
    year: Mapped[int | None]
    engine: Mapped[str] = mapped_column(String(120))
    fuel: Mapped[str] = mapped_column(String(16))
    boosted: Mapped[bool]
    hybrid: Mapped[bool]
    driven_axles: Mapped[str] = mapped_column(String(8))
    rated_power_kw: Mapped[float | None]
    rated_torque_nm: Mapped[float | None]
    rated_standard: Mapped[str | None] = mapped_column(String(40))
    test_mass_kg: Mapped[float | None]
    gear_ratios: Mapped[list[Any]]
    final_drive: Mapped[float | None]
    tyre: Mapped[str] = mapped_column(String(40))
    tyre_radius_m: Mapped[float | None]
    legal_basis: Mapped[str] = mapped_column(String(200))
    loses_coding: Mapped[bool]
    search_text: Mapped[str]
    pinned: Mapped[bool] = mapped_column(default=False)
    made_at: Mapped[dt.datetime]
    changed_at: Mapped[dt.datetime]


class ControlUnit(Base):
    __tablename__ = "control_unit"
    __table_args__ = (
        CheckConstraint("role in ('engine', 'transmission', 'hybrid drive', 'body', 'other')", name="role"),
        UniqueConstraint("vehicle_id", "role", "hardware_number"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    vehicle_id: Mapped[int] = mapped_column(ForeignKey("vehicle.id"), index=True)
    role: Mapped[str] = mapped_column(String(20))
    hardware_number: Mapped[str] = mapped_column(String(60))
    software_number: Mapped[str] = mapped_column(String(60), index=True)
    calibration_ids: Mapped[list[Any]]
    cvns: Mapped[list[Any]]
    base_address: Mapped[int] = mapped_column(BigInteger, default=0)
    made_at: Mapped[dt.datetime]


class Visit(Base):
    """The car in the shop, from arrival to leaving."""

    __tablename__ = "visit"
    __table_args__ = (CheckConstraint("odometer_km is null or odometer_km >= 0", name="odometer"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    vehicle_id: Mapped[int] = mapped_column(ForeignKey("vehicle.id"), index=True)
    reason: Mapped[str]
    odometer_km: Mapped[float | None]
    arrived_at: Mapped[dt.datetime]
    left_at: Mapped[dt.datetime | None]
    by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))


class Attachment(Evidence, Base):
    """A file of a car. picture : media type where the bytes are a picture that a browser may show."""

    __tablename__ = "attachment"
    vehicle_id: Mapped[int] = mapped_column(ForeignKey("vehicle.id"), index=True)
    sha256: Mapped[str] = mapped_column(ForeignKey("content.sha256"))
    file_name: Mapped[str] = mapped_column(String(255))
    kind: Mapped[str] = mapped_column(String(40))
    note: Mapped[str]
    size: Mapped[int]
    picture: Mapped[str | None] = mapped_column(String(40))


class AttachmentWithdrawal(Evidence, Base):
    """A file that was attached by mistake; it stays stored, and why it does not count is told."""

    __tablename__ = "attachment_withdrawal"
    __table_args__ = (CheckConstraint("length(reason) > 0", name="withdrawal_needs_reason"),)
    attachment_id: Mapped[int] = mapped_column(ForeignKey("attachment.id"), unique=True)
    reason: Mapped[str]


class IdentityCheck(Evidence, Base):
    __tablename__ = "identity_check"
    control_unit_id: Mapped[int] = mapped_column(ForeignKey("control_unit.id"), index=True)
    scanned: Mapped[dict[str, Any]]
    fields: Mapped[list[Any]]
    matches: Mapped[bool]
    sentence: Mapped[str]


class IdentityUpdate(Evidence, Base):
    """Numbers of a control unit accepted as the new ones (for example after a dealer update)."""

    __tablename__ = "identity_update"
    control_unit_id: Mapped[int] = mapped_column(ForeignKey("control_unit.id"), index=True)
    before: Mapped[dict[str, Any]]
    after: Mapped[dict[str, Any]]
    reason: Mapped[str]


class CodingSnapshot(Evidence, Base):
    __tablename__ = "coding_snapshot"
    vehicle_id: Mapped[int] = mapped_column(ForeignKey("vehicle.id"), index=True)
    occasion: Mapped[str] = mapped_column(String(120))
    digest: Mapped[str] = mapped_column(String(64), index=True)
    sha256: Mapped[str] = mapped_column(ForeignKey("content.sha256"))
    original_sha256: Mapped[str | None] = mapped_column(ForeignKey("content.sha256"))
    file_name: Mapped[str | None] = mapped_column(String(255))
    modules: Mapped[int]
    keys: Mapped[int]


class FaultScan(Evidence, Base):
    __tablename__ = "fault_scan"
    vehicle_id: Mapped[int] = mapped_column(ForeignKey("vehicle.id"), index=True)
    occasion: Mapped[str] = mapped_column(String(120))
    faults: Mapped[list[Any]]
    text: Mapped[str]
    readiness: Mapped[dict[str, Any] | None]


class VehicleLimit(Evidence, Base):
    """A bound the tuner set for a channel of this car; a later row that names it takes its place."""

    __tablename__ = "vehicle_limit"
    __table_args__ = (
        CheckConstraint("bound in ('max', 'min')", name="bound"),
        CheckConstraint("severity in ('stop', 'watch')", name="severity"),
    )
    vehicle_id: Mapped[int] = mapped_column(ForeignKey("vehicle.id"), index=True)
    channel: Mapped[str] = mapped_column(String(40))
    bound: Mapped[str] = mapped_column(String(4))
    value: Mapped[float]
    speed_lo_rpm: Mapped[float | None]
    speed_hi_rpm: Mapped[float | None]
    load_lo_percent: Mapped[float | None]
    load_hi_percent: Mapped[float | None]
    severity: Mapped[str] = mapped_column(String(8))
    note: Mapped[str]
    supersedes_id: Mapped[int | None] = mapped_column(ForeignKey("vehicle_limit.id"))
    withdrawn: Mapped[bool]
