"""Release packages for remote customers, and what came back."""

from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from app.record.base import Base, Evidence


class ReleasePackage(Evidence, Base):
    """A released revision as it was handed out; the archive itself is kept, it is what the customer has."""

    __tablename__ = "release_package"
    __table_args__ = (CheckConstraint("format in ('bin', 'hex', 'srec')", name="format"),)
    revision_id: Mapped[int] = mapped_column(ForeignKey("revision.id"), index=True)
    decision_id: Mapped[int] = mapped_column(ForeignKey("revision_decision.id"))
    format: Mapped[str] = mapped_column(String(8))
    sha256: Mapped[str] = mapped_column(ForeignKey("content.sha256"))
    file_name: Mapped[str] = mapped_column(String(255))
    coding_snapshot_id: Mapped[int | None] = mapped_column(ForeignKey("coding_snapshot.id"))
    note: Mapped[str]


class PackageReturn(Evidence, Base):
    """Files that a customer sent back for a package, each kept and judged where it belongs."""

    __tablename__ = "package_return"
    package_id: Mapped[int] = mapped_column(ForeignKey("release_package.id"), index=True)
    flash_id: Mapped[int] = mapped_column(ForeignKey("flash.id"))
    read_back_id: Mapped[int | None] = mapped_column(ForeignKey("read_back.id"))
    coding_write_back_id: Mapped[int | None] = mapped_column(ForeignKey("coding_write_back.id"))
    fault_scan_id: Mapped[int | None] = mapped_column(ForeignKey("fault_scan.id"))
    attachment_ids: Mapped[list[Any]]
    sentence: Mapped[str]
