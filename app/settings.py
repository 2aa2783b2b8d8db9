"""What the environment decides: where the database is, which names the server answers to, how long a sign-in lasts."""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import platformdirs

from app.errors import BadInput


@dataclass(frozen=True, slots=True)
class Settings:
    """The program's settings, read once.

    A sign-in lasts eight idle hours and twelve in all: the shop PC by the dyno is used with gloves on between pulls,
    and whoever has to type a password every half hour writes it on the monitor. An office that wants it
    shorter sets REVLEDGER_IDLE_HOURS.
    """

    database_url: str
    hosts: tuple[str, ...] = ()
    base_url: str = ""
    time_zone: str = "UTC"
    demo: bool = False
    idle: timedelta = timedelta(hours=8)
    absolute: timedelta = timedelta(hours=12)

    @property
    def secure(self) -> bool:
        """Whether people reach the server over https, so that cookies may insist on it."""
        return self.base_url.startswith("https://")


def default_database_url() -> str:
    folder = Path(platformdirs.user_data_dir("revledger", appauthor=False))
    return f"sqlite:///{folder / 'revledger.db'}"


def sqlite_file(database_url: str) -> Path | None:
    """The file of a SQLite database; None for PostgreSQL."""
    scheme, _, path = database_url.partition(":///")
    return Path(path) if scheme.startswith("sqlite") and path else None


def from_environment(environment: Mapping[str, str] | None = None) -> Settings:
    """Settings from REVLEDGER_… variables; raises `BadInput` that names the variable at fault."""
    given = os.environ if environment is None else environment
    base_url = given.get("REVLEDGER_BASE_URL", "").rstrip("/")
    hosts = [name.strip().lower() for name in given.get("REVLEDGER_HOSTS", "").split(",") if name.strip()]
    if base_url:
        host = urlsplit(base_url).hostname
        if host is None or not base_url.startswith(("http://", "https://")):
            raise BadInput("REVLEDGER_BASE_URL must look like https://shop.example; correct it.")
        hosts.append(host)
    return Settings(
        database_url=given.get("REVLEDGER_DATABASE_URL") or default_database_url(),
        hosts=tuple(dict.fromkeys(hosts)),
        base_url=base_url,
        time_zone=_zone(given.get("REVLEDGER_TIME_ZONE") or "UTC"),
        demo=given.get("REVLEDGER_DEMO") == "1",
        idle=_hours(given, "REVLEDGER_IDLE_HOURS", 8),
        absolute=_hours(given, "REVLEDGER_SIGN_IN_HOURS", 12),
    )


def _zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise BadInput(f"REVLEDGER_TIME_ZONE={name!r} is no time zone; write one like Europe/Lisbon.") from None
    return name


def _hours(given: Mapping[str, str], variable: str, default: float) -> timedelta:
    text = given.get(variable) or str(default)
    try:
        hours = float(text)
    except ValueError:
        hours = 0.0
    if not 0 < hours <= 168:
        raise BadInput(f"{variable}={text!r} must be a number of hours above 0 and up to 168.")
    return timedelta(hours=hours)
