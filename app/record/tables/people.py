"""Who can sign in, and the keys they hold."""

import datetime as dt
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from app.record.base import Base

ROLES = ("tuner", "front_desk", "manager")


class Person(Base):
    __tablename__ = "person"
    __table_args__ = (
        CheckConstraint("role in ('tuner', 'front_desk', 'manager')", name="role"),
        CheckConstraint("length(name) > 0", name="name_given"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(64), unique=True)
    role: Mapped[str] = mapped_column(String(16))
    password_hash: Mapped[str | None]
    active: Mapped[bool] = mapped_column(default=True)
    failed_sign_ins: Mapped[int] = mapped_column(default=0)
    locked_until: Mapped[dt.datetime | None]
    preferences: Mapped[dict[str, Any]]
    made_at: Mapped[dt.datetime]


class SignIn(Base):
    """A browser that is signed in. Only the SHA-256 of the cookie is kept."""

    __tablename__ = "sign_in"
    token_hash: Mapped[bytes] = mapped_column(LargeBinary(32), primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    made_at: Mapped[dt.datetime]
    seen_at: Mapped[dt.datetime]


class OneTimeKey(Base):
    """A key that works once: the first manager's set-up page, or a sign-in link."""

    __tablename__ = "one_time_key"
    __table_args__ = (CheckConstraint("purpose in ('first_manager', 'sign_in')", name="purpose"),)
    token_hash: Mapped[bytes] = mapped_column(LargeBinary(32), primary_key=True)
    purpose: Mapped[str] = mapped_column(String(16))
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    expires_at: Mapped[dt.datetime]
    used_at: Mapped[dt.datetime | None]


class ApiToken(Base):
    __tablename__ = "api_token"
    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    label: Mapped[str] = mapped_column(String(80))
    token_hash: Mapped[bytes] = mapped_column(LargeBinary(32), unique=True)
    made_at: Mapped[dt.datetime]
    revoked_at: Mapped[dt.datetime | None]


class FormKey(Base):
    """A form that was taken: the same form sent twice leads to the same place and is recorded once."""

    __tablename__ = "form_key"
    key: Mapped[str] = mapped_column(String(64), primary_key=True)
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    location: Mapped[str]
    at: Mapped[dt.datetime]


class ShopSetting(Base):
    """One setting of the workshop: its name, time zone, bounds and margins."""

    __tablename__ = "shop_setting"
    key: Mapped[str] = mapped_column(String(64), primary_key=True)
    value: Mapped[dict[str, Any]]
