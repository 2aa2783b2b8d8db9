"""What happened, in order, chained by hash."""

import datetime as dt

from sqlalchemy import ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from app.record.base import Base


class JournalEntry(Base):
    __tablename__ = "journal_entry"
    append_only = True
    seq: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[dt.datetime]
    action: Mapped[str] = mapped_column(String(60), index=True)
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    vehicle_id: Mapped[int | None] = mapped_column(ForeignKey("vehicle.id"), index=True)
    body: Mapped[str]
    previous_hash: Mapped[str] = mapped_column(String(64))
    hash: Mapped[str] = mapped_column(String(64), unique=True)
