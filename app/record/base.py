"""What every table shares: column types, constraint names, the marks for append-only tables."""

import datetime as dt
from typing import Any, ClassVar

from sqlalchemy import JSON, DateTime, Dialect, ForeignKey, MetaData
from sqlalchemy.dialects.postgresql import JSONB
from sqlalchemy.orm import DeclarativeBase, Mapped, declared_attr, mapped_column
from sqlalchemy.types import TypeDecorator

Json = JSON(none_as_null=True).with_variant(JSONB(none_as_null=True), "postgresql")


class UTC(TypeDecorator[dt.datetime]):
    """Aware in, aware out, stored in UTC on both databases; a naive datetime is refused."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: dt.datetime | None, dialect: Dialect) -> dt.datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a datetime without time zone reached the record")
        return value.astimezone(dt.UTC)

    def process_result_value(self, value: dt.datetime | None, dialect: Dialect) -> dt.datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=dt.UTC) if value.tzinfo is None else value.astimezone(dt.UTC)


class Base(DeclarativeBase):
    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map: ClassVar = {dt.datetime: UTC(), dict[str, Any]: Json, list[Any]: Json}


class Evidence:
    """Mixin of an append-only row: database triggers refuse UPDATE and DELETE, the journal keeps its hash.

    `entry_seq` is the number of the journal entry that tells of the row. What came first is read from it and never
    from a clock, which may go back.
    """

    append_only = True

    @declared_attr
    def id(cls) -> Mapped[int]:
        return mapped_column(primary_key=True, sort_order=-100)

    @declared_attr
    def at(cls) -> Mapped[dt.datetime]:
        return mapped_column(sort_order=90)

    @declared_attr
    def by_id(cls) -> Mapped[int | None]:
        return mapped_column(ForeignKey("person.id"), sort_order=91)

    @declared_attr
    def entry_seq(cls) -> Mapped[int]:
        return mapped_column(sort_order=92)
