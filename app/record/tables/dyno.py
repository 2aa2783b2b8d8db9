"""Measurements: dyno sessions and their runs, strip runs, economy trials, and what was on the car."""

import datetime as dt
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from app.record.base import Base, Evidence


class Dyno(Base):
    __tablename__ = "dyno"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(80), unique=True)
    note: Mapped[str]
    profile: Mapped[dict[str, Any] | None]
    made_at: Mapped[dt.datetime]


class DynoSession(Evidence, Base):
    __tablename__ = "dyno_session"
    __table_args__ = (
        CheckConstraint("purpose in ('baseline', 'measurement', 'verification')", name="purpose"),
        CheckConstraint("pressure_hpa is null or pressure_hpa between 300 and 1200", name="pressure"),
        CheckConstraint("temperature_c is null or temperature_c between -60 and 70", name="temperature"),
        CheckConstraint(
            "relative_humidity_percent is null or relative_humidity_percent between 0 and 100",
            name="humidity",
        ),
        CheckConstraint("battery_soc_percent is null or battery_soc_percent between 0 and 100", name="soc"),
    )
    vehicle_id: Mapped[int] = mapped_column(ForeignKey("vehicle.id"), index=True)
    dyno_id: Mapped[int] = mapped_column(ForeignKey("dyno.id"), index=True)
    measured_at: Mapped[dt.datetime] = mapped_column(index=True)
    purpose: Mapped[str] = mapped_column(String(16))
    correction_standard: Mapped[str] = mapped_column(String(24))
    pressure_hpa: Mapped[float | None]
    temperature_c: Mapped[float | None]
    relative_humidity_percent: Mapped[float | None]
    gear: Mapped[str] = mapped_column(String(24))
    drive_mode: Mapped[str] = mapped_column(String(40))
    driven_axles: Mapped[str] = mapped_column(String(8))
    tyre: Mapped[str] = mapped_column(String(40))
    tyre_pressure_bar: Mapped[float | None]
    fuel: Mapped[str] = mapped_column(String(80))
    start_coolant_c: Mapped[float | None]
    start_intake_c: Mapped[float | None]
    battery_soc_percent: Mapped[float | None]
    note: Mapped[str]


class InboxItem(Evidence, Base):
    """A dyno file that came in from a folder and belongs to no session yet."""

    __tablename__ = "inbox_item"
    sha256: Mapped[str] = mapped_column(ForeignKey("content.sha256"), index=True)
    file_name: Mapped[str] = mapped_column(String(255))
    recorded_at: Mapped[dt.datetime]
    summary: Mapped[dict[str, Any]]


class Run(Evidence, Base):
    """One recorded pull: its channels as read, in SI, and the original file."""

    __tablename__ = "run"
    dyno_session_id: Mapped[int] = mapped_column(ForeignKey("dyno_session.id"), index=True)
    position: Mapped[int]
    inbox_item_id: Mapped[int | None] = mapped_column(ForeignKey("inbox_item.id"), index=True)
    sha256: Mapped[str] = mapped_column(ForeignKey("content.sha256"))
    file_name: Mapped[str] = mapped_column(String(255))
    columns: Mapped[list[Any]]
    channels: Mapped[bytes] = mapped_column(LargeBinary)
    start_coolant_c: Mapped[float | None]
    start_intake_c: Mapped[float | None]
    battery_soc_percent: Mapped[float | None]
    findings: Mapped[list[Any]]


class RunDecision(Evidence, Base):
    __tablename__ = "run_decision"
    run_id: Mapped[int] = mapped_column(ForeignKey("run.id"), index=True)
    included: Mapped[bool]
    reason: Mapped[str]


class StripRun(Evidence, Base):
    __tablename__ = "strip_run"
    vehicle_id: Mapped[int] = mapped_column(ForeignKey("vehicle.id"), index=True)
    run_at: Mapped[dt.datetime]
    place: Mapped[str] = mapped_column(String(120))
    how: Mapped[str] = mapped_column(String(40))
    results: Mapped[dict[str, Any]]
    note: Mapped[str]


class EconomyTrial(Evidence, Base):
    __tablename__ = "economy_trial"
    __table_args__ = (CheckConstraint("distance_km > 0 and fuel_l > 0", name="amounts"),)
    vehicle_id: Mapped[int] = mapped_column(ForeignKey("vehicle.id"), index=True)
    driven_at: Mapped[dt.datetime]
    distance_km: Mapped[float]
    fuel_l: Mapped[float]
    conditions: Mapped[str]


class Attribution(Evidence, Base):
    """What was on one control unit when a result was measured; the latest row for a result applies."""

    __tablename__ = "attribution"
    __table_args__ = (
        CheckConstraint(
            "(case when dyno_session_id is null then 0 else 1 end)"
            " + (case when strip_run_id is null then 0 else 1 end)"
            " + (case when economy_trial_id is null then 0 else 1 end) = 1",
            name="one_result",
        ),
    )
    dyno_session_id: Mapped[int | None] = mapped_column(ForeignKey("dyno_session.id"), index=True)
    strip_run_id: Mapped[int | None] = mapped_column(ForeignKey("strip_run.id"), index=True)
    economy_trial_id: Mapped[int | None] = mapped_column(ForeignKey("economy_trial.id"), index=True)
    control_unit_id: Mapped[int] = mapped_column(ForeignKey("control_unit.id"), index=True)
    revision_id: Mapped[int | None] = mapped_column(ForeignKey("revision.id"), index=True)
    reason: Mapped[str]
