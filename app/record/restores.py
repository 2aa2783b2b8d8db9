"""Back-to-stock cases as they stand: the plan, what was found for each step, who signed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.calc.restore.plan import Override, Plan, Progress, Step, StepState, progress
from app.calc.restore.verdicts import Outcome, Verdict
from app.errors import BadInput, Conflict, NotFound
from app.record.tables import Certificate, Flash, Person, Restore, RestoreAbandonment, RestoreSignOff, RestoreStep

SIGN_OFF_KEYS = ("sign_off", "second_sign_off")


@dataclass(frozen=True, slots=True)
class Case:
    """One case with everything recorded for it.

    entries : step key → its entries, oldest first; the last one applies. replaced_by : a later case of the same car
    that was opened while this one was open.
    """

    restore: Restore
    plan: Plan
    entries: Mapping[str, Sequence[RestoreStep]]
    sign_offs: tuple[RestoreSignOff, ...]
    certificate: Certificate | None
    abandonment: RestoreAbandonment | None
    replaced_by: Restore | None
    progress: Progress

    def state(self, key: str) -> StepState:
        """Where one step stands; NotFound when the plan has none of that key."""
        for state in self.progress.states:
            if state.step.key == key:
                return state
        raise NotFound(f"This restore has no step “{key[:40]}”.")

    def latest_evidence(self, key: str) -> RestoreStep | None:
        """The last entry of a step that carries evidence, also under an override."""
        return next((row for row in reversed(self.entries.get(key, ())) if row.outcome != "overridden"), None)

    def kept(self, key: str, name: str) -> Any:
        """What the last evidence of a step left on record, for example its flash_id; None without any."""
        row = self.latest_evidence(key)
        return None if row is None else row.evidence.get("kept", {}).get(name)

    def photos(self, key: str) -> list[dict[str, Any]]:
        """The photos that a step's last evidence rests on: attachment_id, name, sha256."""
        return list(self.kept(key, "photos") or ())

    @property
    def unit_ids(self) -> tuple[int, ...]:
        """The control units of the case in the plan's order."""
        return tuple(dict.fromkeys(s.unit_id for s in self.plan.steps if s.unit_id is not None))

    @property
    def is_open(self) -> bool:
        """Whether anything may still be recorded for it."""
        return self.certificate is None and self.abandonment is None and self.replaced_by is None

    @property
    def standing(self) -> str:
        """ "open", "certified", "abandoned" or "replaced by restore 2"."""
        if self.certificate is not None:
            return "certified"
        if self.abandonment is not None:
            return "abandoned"
        return "open" if self.replaced_by is None else f"replaced by restore {self.replaced_by.number}"

    def require_open(self) -> None:
        """Raise Conflict when nothing may be recorded for this case any more."""
        if self.certificate is not None:
            raise Conflict("The certificate of this restore is issued; open a new restore to check anything again.")
        if self.abandonment is not None:
            raise Conflict("This restore was abandoned; open a new one to go back to stock.")
        if self.replaced_by is not None:
            raise Conflict(f"Restore {self.replaced_by.number} took the place of this one; go on there.")

    def require_unsigned(self) -> None:
        """Raise Conflict once somebody has signed: what was signed must stay as it was."""
        if self.sign_offs:
            raise Conflict("This restore is signed already; nothing may change under a signature. Open a new restore.")

    def work_step(self, key: str) -> Step:
        """The step of that key, to be closed by evidence or override; BadInput for a sign-off."""
        step = self.state(key).step
        if step.evidence == "sign-off":
            raise BadInput("A sign-off takes no evidence and no override: sign with your name and password.")
        return step

    def require_reached(self, key: str) -> StepState:
        """The step's state; Conflict while it waits for others, with their titles."""
        state = self.state(key)
        if state.waits_for:
            titles = [self.plan.step(needed).title for needed in state.waits_for]
            raise Conflict(f"This step waits for: {', '.join(titles)}.", details=titles)
        return state


def restore(session: Session, restore_id: int, *, lock: bool = False) -> Restore:
    """The row; `lock` makes others who would record something for the case wait."""
    found = session.get(Restore, restore_id, with_for_update=True if lock else None)
    if found is None:
        raise NotFound(f"There is no restore {restore_id}.")
    return found


def of_vehicle(session: Session, vehicle_id: int) -> list[Case]:
    """Newest first."""
    ids = session.scalars(select(Restore.id).where(Restore.vehicle_id == vehicle_id).order_by(Restore.number.desc()))
    return [case(session, restore_id) for restore_id in ids.all()]


def next_number(session: Session, vehicle_id: int) -> int:
    return (session.scalar(select(func.max(Restore.number)).where(Restore.vehicle_id == vehicle_id)) or 0) + 1


def case(session: Session, restore_id: int, *, lock: bool = False) -> Case:
    """The case with its progress."""
    row = restore(session, restore_id, lock=lock)
    plan = Plan.from_json(row.steps)
    entries: dict[str, list[RestoreStep]] = {}
    for entry in session.scalars(select(RestoreStep).where(RestoreStep.restore_id == row.id).order_by(RestoreStep.id)):
        entries.setdefault(entry.key, []).append(entry)
    sign_offs = tuple(
        session.scalars(select(RestoreSignOff).where(RestoreSignOff.restore_id == row.id).order_by(RestoreSignOff.id))
    )
    certificate = session.scalar(select(Certificate).where(Certificate.restore_id == row.id))
    abandonment = session.scalar(select(RestoreAbandonment).where(RestoreAbandonment.restore_id == row.id))
    later = select(Restore).where(Restore.vehicle_id == row.vehicle_id, Restore.number > row.number)
    replaced_by = None if certificate or abandonment else session.scalar(later.order_by(Restore.number).limit(1))
    return Case(
        restore=row,
        plan=plan,
        entries=entries,
        sign_offs=sign_offs,
        certificate=certificate,
        abandonment=abandonment,
        replaced_by=replaced_by,
        progress=_progress(session, plan, entries, sign_offs, issued=certificate is not None),
    )


def _progress(
    session: Session,
    plan: Plan,
    entries: Mapping[str, Sequence[RestoreStep]],
    sign_offs: Sequence[RestoreSignOff],
    *,
    issued: bool,
) -> Progress:
    verdicts: dict[str, Verdict] = {}
    overrides: dict[str, Override] = {}
    for key, rows in entries.items():
        if rows[-1].outcome == "overridden":
            overrides[key] = Override(rows[-1].reason, _name(session, rows[-1].by_id))
        found = [row for row in rows if row.outcome != "overridden"]
        if found:
            verdicts[key] = verdict_of(found[-1])
    if not issued:
        verdicts |= _written_since(session, plan, entries, verdicts)
    for key, sign_off in zip(SIGN_OFF_KEYS, sign_offs, strict=False):
        verdicts[key] = Verdict("verified", f"Signed by {_name(session, sign_off.by_id)}: {sign_off.statement}")
    return progress(plan, verdicts, overrides, order={key: rows[-1].id for key, rows in entries.items()})


def verdict_of(row: RestoreStep) -> Verdict:
    """What the evidence of one entry came to."""
    outcome: Outcome = row.outcome  # type: ignore[assignment]  # held by the table's check
    return Verdict(outcome, row.sentence, tuple(str(line) for line in row.details))


def _written_since(
    session: Session, plan: Plan, entries: Mapping[str, Sequence[RestoreStep]], verdicts: Mapping[str, Verdict]
) -> dict[str, Verdict]:
    """Units that were written again after the write that this case rests on."""
    found: dict[str, Verdict] = {}
    for step in plan.steps:
        if step.evidence != "flash log" or step.key not in verdicts:
            continue
        evidence = [row for row in entries[step.key] if row.outcome != "overridden"][-1]
        newest = newest_flash(session, step.unit_id or 0)
        if newest is not None and newest.id != evidence.evidence["kept"]["flash_id"]:
            found[step.key] = Verdict(
                "failed",
                f"Another write to this control unit was logged after this one (flash {newest.id}): "
                "write stock again, or choose that write if it was stock.",
            )
    return found


def newest_flash(session: Session, unit_id: int) -> Flash | None:
    return session.scalar(select(Flash).where(Flash.control_unit_id == unit_id).order_by(Flash.id.desc()).limit(1))


def _name(session: Session, person_id: int | None) -> str:
    person = None if person_id is None else session.get(Person, person_id)
    return "the program" if person is None else person.name
