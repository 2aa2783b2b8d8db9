"""Images, stock, layouts, revisions and their deltas, and what was flashed."""

import datetime as dt
from typing import Any

from sqlalchemy import BigInteger, CheckConstraint, ForeignKey, LargeBinary, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.record.base import Base, Evidence


class Content(Base):
    """A blob known by its SHA-256. `coding` says how `data` gives the bytes back."""

    __tablename__ = "content"
    __table_args__ = (
        CheckConstraint("coding in ('raw', 'zstd', 'runs')", name="coding"),
        CheckConstraint("(coding = 'runs') = (base_sha256 is not null)", name="base_for_runs"),
        CheckConstraint("length(sha256) = 64", name="sha256_length"),
        CheckConstraint("size >= 0", name="size"),
    )
    append_only = True
    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    size: Mapped[int] = mapped_column(BigInteger)
    coding: Mapped[str] = mapped_column(String(8))
    base_sha256: Mapped[str | None] = mapped_column(ForeignKey("content.sha256"))
    depth: Mapped[int]
    data: Mapped[bytes] = mapped_column(LargeBinary, deferred=True)
    at: Mapped[dt.datetime]


class ImageColumns:
    """Columns of a row that holds an image: the payload's digest and where its bytes lie."""

    sha256: Mapped[str | None] = mapped_column(ForeignKey("content.sha256"), index=True)
    spans: Mapped[list[Any] | None]
    crc32: Mapped[int | None] = mapped_column(BigInteger)
    size: Mapped[int | None] = mapped_column(BigInteger)
    file_format: Mapped[str | None] = mapped_column(String(16))
    file_name: Mapped[str | None] = mapped_column(String(255))
    original_sha256: Mapped[str | None] = mapped_column(ForeignKey("content.sha256"))


class StockRead(Evidence, ImageColumns, Base):
    __tablename__ = "stock_read"
    control_unit_id: Mapped[int] = mapped_column(ForeignKey("control_unit.id"), index=True)
    generation: Mapped[int]
    layout_id: Mapped[int | None] = mapped_column(ForeignKey("layout.id"))
    checksums: Mapped[list[Any]]


class Stock(Evidence, ImageColumns, Base):
    """A confirmed stock: two reads agreed. A dealer update makes a new generation, never a change."""

    __tablename__ = "stock"
    __table_args__ = (UniqueConstraint("control_unit_id", "generation"),)
    control_unit_id: Mapped[int] = mapped_column(ForeignKey("control_unit.id"), index=True)
    generation: Mapped[int]
    first_read_id: Mapped[int] = mapped_column(ForeignKey("stock_read.id"))
    second_read_id: Mapped[int] = mapped_column(ForeignKey("stock_read.id"))
    software_number: Mapped[str] = mapped_column(String(60))
    layout_id: Mapped[int | None] = mapped_column(ForeignKey("layout.id"))


class Layout(Evidence, Base):
    __tablename__ = "layout"
    __table_args__ = (UniqueConstraint("name", "version"),)
    name: Mapped[str] = mapped_column(String(120))
    version: Mapped[int]
    software_number: Mapped[str | None] = mapped_column(String(60), index=True)
    sha256: Mapped[str] = mapped_column(ForeignKey("content.sha256"))
    original_sha256: Mapped[str | None] = mapped_column(ForeignKey("content.sha256"))
    file_name: Mapped[str | None] = mapped_column(String(255))
    source: Mapped[str] = mapped_column(String(24))
    map_count: Mapped[int]
    checksum_count: Mapped[int]
    note: Mapped[str]
    findings: Mapped[list[Any]]


class Revision(Evidence, ImageColumns, Base):
    """A calibration file with a parent. parent_id empty: the parent is the stock itself."""

    __tablename__ = "revision"
    __table_args__ = (
        UniqueConstraint("control_unit_id", "number"),
        CheckConstraint("kind in ('image', 'by hand', 'ported')", name="kind"),
        CheckConstraint("(kind = 'by hand') = (sha256 is null)", name="image_unless_by_hand"),
        CheckConstraint("length(title) > 0", name="title_given"),
    )
    control_unit_id: Mapped[int] = mapped_column(ForeignKey("control_unit.id"), index=True)
    number: Mapped[int]
    parent_id: Mapped[int | None] = mapped_column(ForeignKey("revision.id"), index=True)
    stock_id: Mapped[int | None] = mapped_column(ForeignKey("stock.id"))
    title: Mapped[str] = mapped_column(String(120))
    purpose: Mapped[str]
    kind: Mapped[str] = mapped_column(String(8))
    fuel_requirement: Mapped[str] = mapped_column(String(80))
    hardware_requirement: Mapped[str] = mapped_column(String(200))
    ported_from_id: Mapped[int | None] = mapped_column(ForeignKey("revision.id"))
    port_report: Mapped[dict[str, Any] | None]


class Analysis(Evidence, Base):
    """The comparison of a revision with its parent under one layout version; the latest one is shown."""

    __tablename__ = "analysis"
    revision_id: Mapped[int] = mapped_column(ForeignKey("revision.id"), index=True)
    layout_id: Mapped[int | None] = mapped_column(ForeignKey("layout.id"))
    sentence: Mapped[str]
    changed_bytes: Mapped[int]
    explained_bytes: Mapped[int]
    checksum_bytes: Mapped[int]
    unexplained_bytes: Mapped[int]
    unexplained: Mapped[list[Any]]
    checksums: Mapped[list[Any]]
    warnings: Mapped[list[Any]]
    map_count: Mapped[int]


class MapDelta(Evidence, Base):
    __tablename__ = "map_delta"
    __table_args__ = (UniqueConstraint("analysis_id", "position"),)
    analysis_id: Mapped[int] = mapped_column(ForeignKey("analysis.id"), index=True)
    position: Mapped[int]
    name: Mapped[str] = mapped_column(String(255), index=True)
    kind: Mapped[str] = mapped_column(String(8))
    category: Mapped[str] = mapped_column(String(24))
    unit: Mapped[str] = mapped_column(String(40))
    summary: Mapped[dict[str, Any]]
    data: Mapped[bytes] = mapped_column(LargeBinary)


class RevisionDecision(Evidence, Base):
    __tablename__ = "revision_decision"
    __table_args__ = (CheckConstraint("decision in ('kept', 'released', 'withdrawn')", name="decision"),)
    revision_id: Mapped[int] = mapped_column(ForeignKey("revision.id"), index=True)
    decision: Mapped[str] = mapped_column(String(12))
    reason: Mapped[str]
    legal_basis: Mapped[str]
    limits_reason: Mapped[str]
    digest: Mapped[str | None] = mapped_column(String(64))


class Flash(Evidence, Base):
    """One write to a control unit. revision_id empty: stock was written."""

    __tablename__ = "flash"
    __table_args__ = (
        CheckConstraint("outcome in ('completed', 'failed', 'aborted')", name="outcome"),
        CheckConstraint("(revision_id is null) <> (stock_id is null)", name="one_subject"),
        CheckConstraint("supply_before_v is null or supply_before_v between 0 and 60", name="supply_before"),
        CheckConstraint("supply_lowest_v is null or supply_lowest_v between 0 and 60", name="supply_lowest"),
    )
    control_unit_id: Mapped[int] = mapped_column(ForeignKey("control_unit.id"), index=True)
    revision_id: Mapped[int | None] = mapped_column(ForeignKey("revision.id"), index=True)
    stock_id: Mapped[int | None] = mapped_column(ForeignKey("stock.id"))
    sha256: Mapped[str | None] = mapped_column(String(64))
    flashed_at: Mapped[dt.datetime]
    supply_before_v: Mapped[float | None]
    supply_lowest_v: Mapped[float | None]
    outcome: Mapped[str] = mapped_column(String(12))
    checksums: Mapped[list[Any]]
    note: Mapped[str]


class ReadBack(Evidence, ImageColumns, Base):
    __tablename__ = "read_back"
    flash_id: Mapped[int] = mapped_column(ForeignKey("flash.id"), index=True)
    equal: Mapped[bool]
    differences: Mapped[list[Any]]
    sentence: Mapped[str]


class CodingWriteBack(Evidence, Base):
    """The coding written back after a flash, compared key by key; or the reason why none is needed."""

    __tablename__ = "coding_write_back"
    __table_args__ = (
        CheckConstraint("waiver_reason is not null or read_snapshot_id is not null", name="evidence_or_waiver"),
    )
    flash_id: Mapped[int] = mapped_column(ForeignKey("flash.id"), index=True)
    wanted_snapshot_id: Mapped[int | None] = mapped_column(ForeignKey("coding_snapshot.id"))
    read_snapshot_id: Mapped[int | None] = mapped_column(ForeignKey("coding_snapshot.id"))
    equal: Mapped[bool]
    differences: Mapped[list[Any]]
    waiver_reason: Mapped[str | None]


class FirstStart(Evidence, Base):
    __tablename__ = "first_start"
    flash_id: Mapped[int] = mapped_column(ForeignKey("flash.id"), unique=True)
    note: Mapped[str]
    coding_was_pending: Mapped[bool]
