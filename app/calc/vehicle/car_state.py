"""What is on a control unit now, and whether coding must still be written back: derived, never typed in."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class StockConfirmed:
    """Two reads of the unit agreed."""

    at: dt.datetime
    stock_id: int


@dataclass(frozen=True, slots=True)
class FlashLogged:
    """A write to the unit; revision_id None means that stock was written.

    checksum_broken : a block checksum of what was written does not hold.
    """

    at: dt.datetime
    flash_id: int
    revision_id: int | None
    stock_id: int | None
    outcome: str
    read_back_equal: bool | None
    label: str
    checksum_broken: bool = False


@dataclass(frozen=True, slots=True)
class IdentityChecked:
    """A scan compared with the record."""

    at: dt.datetime
    matches: bool


Event = StockConfirmed | FlashLogged | IdentityChecked
Kind = Literal["revision", "stock", "unknown"]
Certainty = Literal["verified by read-back", "from the flash log", "as read", "not known"]


@dataclass(frozen=True, slots=True)
class OnUnit:
    """What a control unit carries, how that is known, and the sentence for a person.

    checksum_broken : it is an image whose block checksum does not hold.
    """

    kind: Kind
    certainty: Certainty
    revision_id: int | None
    stock_id: int | None
    flash_id: int | None
    sentence: str
    since: dt.datetime | None
    checksum_broken: bool = False


_NOTHING = OnUnit(
    "unknown",
    "not known",
    None,
    None,
    None,
    "Not known: no stock has been confirmed for this control unit.",
    None,
)


def on_unit(events: Sequence[Event]) -> OnUnit:
    """The last successful flash, else stock, else unknown; unknown from a contradicting scan or a broken write on.

    `events` are in the order in which they were recorded.

    >>> at = dt.datetime(2026, 5, 1, tzinfo=dt.UTC)
    >>> on_unit([StockConfirmed(at, 1), IdentityChecked(at, False)]).kind
    'unknown'
    """
    now = _NOTHING
    for event in events:
        now = _after(now, event)
    return now


def _after(now: OnUnit, event: Event) -> OnUnit:
    match event:
        case StockConfirmed():
            return OnUnit(
                "stock",
                "as read",
                None,
                event.stock_id,
                None,
                "Stock, as read twice and found equal.",
                event.at,
            )
        case FlashLogged() if event.outcome == "completed":
            return _after_flash(event)
        case FlashLogged():
            sentence = f"Not known: the last write ({event.label}) {_ended(event.outcome)}. Flash again or read it out."
            return OnUnit("unknown", "not known", None, None, event.flash_id, sentence, event.at)
        case IdentityChecked() if not event.matches:
            sentence = (
                "Not known: the numbers scanned differ from the record, so somebody else has written this unit. "
                "Read it out before you assume anything."
            )
            return OnUnit("unknown", "not known", None, None, None, sentence, event.at)
    return now


def _after_flash(event: FlashLogged) -> OnUnit:
    if event.read_back_equal is False:
        sentence = f"Not known: the read-back after {event.label} differs from what was written. Flash it again."
        return OnUnit("unknown", "not known", None, None, event.flash_id, sentence, event.at)
    sure: Certainty = "verified by read-back" if event.read_back_equal else "from the flash log"
    kind: Kind = "stock" if event.revision_id is None else "revision"
    danger = " On the car: an image whose checksum does not hold." if event.checksum_broken else ""
    return OnUnit(
        kind,
        sure,
        event.revision_id,
        event.stock_id,
        event.flash_id,
        f"{event.label}, {sure}.{danger}",
        event.at,
        event.checksum_broken,
    )


def _ended(outcome: str) -> str:
    return "failed" if outcome == "failed" else "was aborted"


@dataclass(frozen=True, slots=True)
class PendingFlash:
    """A completed or broken-off flash as the coding interlock sees it."""

    flash_id: int
    control_unit: str
    outcome: str
    coding_verified: bool
    waiver_reason: str | None


def coding_pending(*, loses_coding: bool, flashes: Sequence[PendingFlash]) -> tuple[PendingFlash, ...]:
    """Flashes after which the coding is not yet verified; a later verified write-back closes all before it.

    `flashes` are in recorded order. A car that does not lose its coding has nothing pending; an aborted write may
    have erased the coding as well, so it counts like a completed one.
    """
    if not loses_coding:
        return ()
    pending: list[PendingFlash] = []
    for flash in flashes:
        if flash.coding_verified:
            pending.clear()
        elif flash.waiver_reason is None:
            pending.append(flash)
    return tuple(pending)
