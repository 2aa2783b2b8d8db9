"""Verdicts on the evidence of a restore: pure rules, each from what was found to one outcome and its sentence.

"verified" needs evidence that covers the whole question; evidence that contradicts it is "failed"; evidence that
covers only a part, or nothing, is "not verified". Nothing is ever verified for want of evidence.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

from app.calc.calibration.byte_ranges import ByteRanges, ChangedRanges, changed_ranges, held
from app.calc.calibration.image import Image
from app.calc.number_text import counted
from app.calc.vehicle.coding import CodingChange, CodingSnapshot, compare
from app.calc.vehicle.dtc import Fault
from app.calc.vehicle.identity import IdentityComparison
from app.calc.vehicle.readiness import Readiness
from app.errors import BadInput

Outcome = Literal["verified", "failed", "not verified", "overridden"]

MOST_LISTED = 50
_JOIN_GAP = 16
_UNTESTED = {"test_not_completed_since_last_clear", "test_not_completed_this_operation_cycle"}


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the evidence of one step comes to; `details` are single findings, one sentence or range each."""

    outcome: Outcome
    sentence: str
    details: tuple[str, ...] = ()


class Equivalence(Protocol):
    """What a comparison of a pull session with the baseline must tell: None when it could not decide."""

    @property
    def equivalent(self) -> bool | None: ...

    @property
    def sentence(self) -> str: ...


@dataclass(frozen=True, slots=True)
class Part:
    """One physical part on the list: what has to be fitted or removed, and whether somebody saw that it is."""

    name: str
    stock_fitted: bool | None
    note: str = ""


def read_back_verdict(
    stock: Image, read: Image, volatile: Sequence[tuple[int, int, str]] = (), *, written: str = "stock"
) -> Verdict:
    """Compare a read-back with the stock image, or another image called `written`, byte for byte.

    volatile : (start, end exclusive, reason) ranges the control unit rewrites itself, as the layout marks them;
        they are left out of the verdict and named in the details. Addresses that only one of the images holds
        cannot be compared: then the rest may be equal, but the whole is not verified.
    """
    excluded = ByteRanges.of([(start, end) for start, end, _ in volatile])
    found = changed_ranges(stock, read)
    differing = found.common.minus(excluded)
    absent, extra = found.removed.minus(excluded), found.added.minus(excluded)
    compared = held(stock).intersected(held(read)).minus(excluded).size
    details = [
        *_range_lines(differing.merged(_JOIN_GAP), found.common, f"not as in {written}"),
        *_range_lines(absent, absent, "not read back"),
        *_range_lines(extra, extra, f"read back, not in the {written} image"),
        *_volatile_lines(volatile, found),
    ]
    left_out = f"; {excluded.size:,} bytes that the control unit rewrites itself were left out" if excluded.size else ""
    if differing.size:
        sentence = (
            f"{differing.size:,} of {compared:,} compared bytes differ from {written}{left_out}: write {written} again."
        )
        return Verdict("failed", sentence, tuple(details))
    if compared == 0:
        return Verdict("not verified", f"No byte of the {written} image could be compared{left_out}.", tuple(details))
    if absent.size or extra.size:
        sentence = (
            f"{compared:,} bytes equal {written}, but {absent.size:,} were not read back and {extra.size:,} have no "
            f"counterpart in the {written} image{left_out}: read the same range."
        )
        return Verdict("not verified", sentence, tuple(details))
    return Verdict("verified", f"All {compared:,} compared bytes equal {written}{left_out}.", tuple(details))


def stock_image_verdict(recorded_digest: str, computed_digest: str | None) -> Verdict:
    """Does the stock image still hash to what was recorded? `computed_digest` is None when it could not be read."""
    if computed_digest is None:
        return Verdict("not verified", "The stock image could not be read from the store; recover it from a backup.")
    if computed_digest.lower() != recorded_digest.lower():
        return Verdict(
            "failed",
            "The stored stock image is not the one that was recorded: do not write it, recover it from a backup.",
            (f"recorded SHA-256 {recorded_digest}", f"computed SHA-256 {computed_digest}"),
        )
    return Verdict(
        "verified", "The stock image is unchanged since it was recorded.", (f"SHA-256 {computed_digest.lower()}",)
    )


def supply_verdict(lowest_v: float, highest_v: float, *, allowed_v: tuple[float, float]) -> Verdict:
    """Supply voltage while writing, against the bounds the shop set for this vehicle (the maker's figures)."""
    low, high = allowed_v
    if not low < high or lowest_v > highest_v:
        raise BadInput("The lowest voltage must not be above the highest; check what was entered.", field="lowest_v")
    span = f"{lowest_v:.1f} to {highest_v:.1f} V, allowed {low:.1f} to {high:.1f} V"
    if lowest_v < low or highest_v > high:
        return Verdict("failed", f"The supply left its bounds ({span}): stabilise it before anything is written.")
    return Verdict("verified", f"The supply held ({span}).")


def flash_verdict(completed: bool, note: str = "") -> Verdict:
    """The write as logged; whether the right bytes arrived is for the read-back to tell."""
    if completed:
        return Verdict("verified", "The write of the stock image was logged as completed.", (note,) if note else ())
    return Verdict("failed", "The write did not complete: keep the supply on and write again.", (note,) if note else ())


def coding_written_verdict(completed: bool, note: str = "") -> Verdict:
    """The write-back as stated; whether the right values arrived is for the comparison to tell."""
    if completed:
        return Verdict("verified", "The write-back of the coding was logged as completed.", (note,) if note else ())
    return Verdict("failed", "The coding was not written completely: write it again.", (note,) if note else ())


def coding_verdict(
    snapshot: CodingSnapshot, read: CodingSnapshot, *, ignore: Collection[tuple[str, str]] = ()
) -> Verdict:
    """Does the coding read now equal the snapshot, module by module and key by key?"""
    found = compare(snapshot, read, ignore=ignore)
    details = _capped([_coding_line(c) for c in found.changes])
    details += [f"module {name} was not read" for name in found.missing_modules]
    details += [f"module {name} is not in the snapshot" for name in found.new_modules]
    details += [f"left out: {_coding_line(c)}" for c in found.ignored]
    if found.compared == 0:
        return Verdict("not verified", found.sentence, tuple(details))
    return Verdict("verified" if found.equal else "failed", found.sentence, tuple(details))


def faults_verdict(faults: Sequence[Fault], *, as_found: Sequence[Fault] = ()) -> Verdict:
    """No fault may be left after clearing and scanning again.

    A code whose status says only that its test has not run is no fault; it is listed. A code without a status counts
    as a fault. `as_found` are the faults at intake, so that old and new ones can be told apart.
    """
    known = {(f.module, f.dtc) for f in as_found}
    stored = [f for f in faults if not f.flags or not set(f.flags) <= _UNTESTED]
    untested = [f for f in faults if f not in stored]
    details = [
        f.sentence + (", was there at intake" if (f.module, f.dtc) in known else ", not there at intake")
        if as_found
        else f.sentence
        for f in stored
    ]
    details += [f"not tested yet: {f.sentence}" for f in untested]
    if stored:
        sentence = f"{counted(len(stored), 'fault')} stored: find the cause, clear and scan again."
        return Verdict("failed", sentence, tuple(_capped(details)))
    waiting = f"; {counted(len(untested), 'code')} not tested yet" if untested else ""
    return Verdict("verified", f"No fault is stored{waiting}.", tuple(_capped(details)))


def readiness_verdict(readings: Sequence[tuple[str, Readiness]]) -> Verdict:
    """Readiness of every control unit that answered, as (name, readiness)."""
    details = tuple(f"{name}: {reading.sentence}" for name, reading in readings)
    if any(r.mil_on or r.dtc_count for _, r in readings):
        return Verdict("failed", "A control unit reports a fault or commands its warning lamp on.", details)
    if not any(r.supported_count for _, r in readings):
        return Verdict("not verified", "No control unit reported a supported readiness monitor.", details)
    waiting = sum(len(r.incomplete) for _, r in readings)
    if waiting:
        sentence = f"{counted(waiting, 'monitor')} not complete: drive the maker's cycle, then read again."
        return Verdict("not verified", sentence, details)
    total = sum(r.supported_count for _, r in readings)
    return Verdict(
        "verified",
        "The supported monitor is complete." if total == 1 else f"All {total} supported monitors are complete.",
        details,
    )


def parts_verdict(parts: Sequence[Part]) -> Verdict:
    """Every part on the list seen in its stock state; an empty list says that nobody looked."""
    details = tuple(
        f"{p.name}: {'stock' if p.stock_fitted else 'not looked at' if p.stock_fitted is None else 'not stock'}"
        + (f" ({p.note})" if p.note else "")
        for p in parts
    )
    changed = [p.name for p in parts if p.stock_fitted is False]
    unseen = [p.name for p in parts if p.stock_fitted is None]
    if changed:
        return Verdict("failed", f"Not in its stock state: {', '.join(changed)}.", details)
    if unseen or not parts:
        return Verdict("not verified", f"Not looked at: {', '.join(unseen) or 'no part is listed'}.", details)
    return Verdict("verified", f"{counted(len(parts), 'part')} seen in stock state.", details)


def pull_verdict(result: Equivalence | None) -> Verdict:
    """The verification pull against the baseline, by a test of equivalence; None when there is no such pair."""
    if result is None:
        return Verdict("not verified", "There is no pair of comparable sessions to test for equivalence.")
    outcome: Outcome = "not verified"
    if result.equivalent is not None:
        outcome = "verified" if result.equivalent else "failed"
    return Verdict(outcome, result.sentence)


def identity_verdict(comparison: IdentityComparison) -> Verdict:
    """Is this the control unit on record?"""
    outcomes: dict[str, Outcome] = {"match": "verified", "differs": "failed", "not known": "not verified"}
    details = tuple(
        f"{f.name}: {f.verdict} (recorded {f.recorded or '–'}, scanned {f.scanned or '–'}"
        + (f"; {f.note})" if f.note else ")")
        for f in comparison.fields
    )
    return Verdict(outcomes[comparison.outcome], comparison.sentence, details)


def _range_lines(ranges: ByteRanges, within: ByteRanges, what: str) -> list[str]:
    lines = []
    for start, end in list(ranges)[:MOST_LISTED]:
        count = within.intersected(ByteRanges.of([(start, end)])).size
        lines.append(f"0x{start:X} to 0x{end - 1:X}: {counted(count, 'byte')} {what}")
    if len(ranges) > MOST_LISTED:
        lines.append(f"and {counted(len(ranges) - MOST_LISTED, 'more range')} {what}")
    return lines


def _volatile_lines(volatile: Iterable[tuple[int, int, str]], found: ChangedRanges) -> list[str]:
    lines = []
    for start, end, reason in volatile:
        changed = found.all.intersected(ByteRanges.of([(start, end)])).size
        lines.append(f"0x{start:X} to 0x{end - 1:X}: left out ({reason}); {counted(changed, 'byte')} changed there")
    return lines


def _coding_line(change: CodingChange) -> str:
    was = "nothing" if change.before is None else change.before
    now = "nothing" if change.after is None else change.after
    return f"{change.module}, {change.key}: {was[:60]} → {now[:60]}"


def _capped(lines: list[str]) -> list[str]:
    more = len(lines) - MOST_LISTED
    return [*lines[:MOST_LISTED], f"and {more:,} more"] if more > 0 else lines
