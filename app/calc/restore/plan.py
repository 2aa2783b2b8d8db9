"""The back-to-stock checklist: steps as data, the order they must be closed in, and how far it has come."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

from app.calc.restore.verdicts import Verdict
from app.errors import BadInput

Scope = Literal["control unit", "vehicle"]
State = Literal["done", "open", "blocked"]
Evidence = Literal[
    "identity scan",
    "stock image",
    "supply voltage",
    "flash log",
    "read-back image",
    "coding write-back",
    "coding snapshot",
    "fault scan",
    "readiness",
    "parts list",
    "dyno session",
    "sign-off",
]


@dataclass(frozen=True, slots=True)
class Step:
    """One step, once per control unit or once per vehicle.

    evidence : kind of evidence that closes the step; rule : name of the function in `verdicts` that judges it.
    needs : keys that must be done before. renewed_by : keys whose newer evidence makes this step's evidence stale.
    evidence_possible : False when the record lacks what the evidence would be held against.
    unit_id : the control unit, None for a step of the whole vehicle.
    """

    key: str
    title: str
    guidance: str
    caution: str
    evidence: Evidence
    rule: str
    scope: Scope
    needs: tuple[str, ...] = ()
    renewed_by: tuple[str, ...] = ()
    evidence_possible: bool = True
    unit_id: int | None = None


@dataclass(frozen=True, slots=True)
class RestoreUnit:
    """A control unit to bring back to stock."""

    unit_id: int
    role: str
    has_stock: bool = True


@dataclass(frozen=True, slots=True)
class Plan:
    """The steps of one vehicle in the order to work through; `needs` name only steps of this plan."""

    steps: tuple[Step, ...]

    def step(self, key: str) -> Step:
        """The step of that key; BadInput when the plan has none."""
        for step in self.steps:
            if step.key == key:
                return step
        raise BadInput(f"This restore has no step “{key[:40]}”.", field="key")

    def to_json(self) -> list[dict[str, Any]]:
        """Plain lists and dicts, as the record keeps them."""
        return [{**asdict(s), "needs": list(s.needs), "renewed_by": list(s.renewed_by)} for s in self.steps]

    @classmethod
    def from_json(cls, rows: Sequence[Mapping[str, Any]]) -> "Plan":
        """The inverse of `to_json`."""
        return cls(
            tuple(Step(**{**row, "needs": tuple(row["needs"]), "renewed_by": tuple(row["renewed_by"])}) for row in rows)
        )


_BASE = (
    Step(
        "identify",
        "Identify the control unit",
        "Scan hardware number, software number, calibration IDs and CVNs, and compare them with the record.",
        "If anything differs, somebody else has written the unit: stop and find out what is on it.",
        "identity scan",
        "identity_verdict",
        "control unit",
    ),
    Step(
        "secure_stock",
        "Secure the stock image",
        "The stored stock image is hashed again and compared with the digest recorded at intake.",
        "A wrong image can leave a control unit dead.",
        "stock image",
        "stock_image_verdict",
        "control unit",
        needs=("identify",),
    ),
    Step(
        "supply",
        "Connect a battery supply",
        "Connect a stabilised supply that fits the vehicle, let the voltage settle, note the lowest and highest.",
        "A charger alone is no supply for writing. Never interrupt a write.",
        "supply voltage",
        "supply_verdict",
        "vehicle",
        needs=("identify",),
    ),
    Step(
        "flash",
        "Write the stock image",
        "Write stock with the usual tool, then log when, by whom, and how it ended.",
        "Keep the supply on until the read-back has been compared.",
        "flash log",
        "flash_verdict",
        "control unit",
        needs=("secure_stock", "supply"),
    ),
    Step(
        "read_back",
        "Read back and compare",
        "Read the unit over the same range as the stock image; the bytes are compared one by one.",
        "Where the tool cannot read back, leave the step open: only a manager may override it, with a reason.",
        "read-back image",
        "read_back_verdict",
        "control unit",
        needs=("flash",),
        renewed_by=("flash",),
    ),
    Step(
        "write_coding",
        "Write the option coding back",
        "Write every module's coding from the chosen snapshot, then say how it ended.",
        "Do not start the engine before the coding is written and compared.",
        "coding write-back",
        "coding_written_verdict",
        "vehicle",
        needs=("read_back",),
        renewed_by=("flash",),
    ),
    Step(
        "compare_coding",
        "Compare the option coding",
        "Read the coding of every module again; it is compared with the snapshot module by module, key by key.",
        "Do not start the engine before this comparison holds.",
        "coding snapshot",
        "coding_verdict",
        "vehicle",
        needs=("read_back", "write_coding"),
        renewed_by=("flash", "write_coding"),
    ),
    Step(
        "parts",
        "Go through the physical parts",
        "List every part that was changed and note for each whether the stock part is fitted again.",
        "Stock calibration with changed injectors, sensors or charging parts can damage the engine: fit first, start "
        "after.",
        "parts list",
        "parts_verdict",
        "vehicle",
        needs=("identify",),
    ),
    Step(
        "faults",
        "Clear and re-scan faults",
        "Clear the fault memory, switch the ignition off and on, start the engine, scan all modules and paste the "
        "list.",
        "Clearing resets the readiness monitors. Keep the list as found before clearing.",
        "fault scan",
        "faults_verdict",
        "vehicle",
        needs=("compare_coding", "parts"),
        renewed_by=("flash", "write_coding", "parts"),
    ),
    Step(
        "readiness",
        "Complete the readiness monitors",
        "Drive the cycle the maker gives until every supported monitor is complete, then read readiness.",
        "Drive within the law; a monitor that never completes points to a fault or a removed part.",
        "readiness",
        "readiness_verdict",
        "vehicle",
        needs=("faults",),
        renewed_by=("flash", "faults"),
    ),
    Step(
        "pull",
        "Verify on the dyno",
        "Make pulls under the baseline's conditions; they are tested for equivalence with the baseline.",
        "Restraint straps, tyres, exhaust extraction; nobody in line with the rollers.",
        "dyno session",
        "pull_verdict",
        "vehicle",
        needs=("compare_coding", "parts", "faults"),
        renewed_by=("flash", "parts"),
    ),
)
_HIGH_VOLTAGE = (
    "High-voltage work only by people qualified for it under local rules, isolated by the maker's procedure; "
    "switching the drive off is part of it."
)
_SIGN_OFF = "What was verified, failed, overridden and left open is printed as it stands."


def build_plan(
    units: Sequence[RestoreUnit],
    *,
    coding_snapshot: bool,
    baseline: bool,
    high_voltage: bool,
    two_sign_offs: bool,
) -> Plan:
    """The plan for bringing these control units back to stock.

    coding_snapshot, baseline : whether the record holds a snapshot and a baseline session to compare with; without
        one the comparing step stays and can only be overridden, so that the certificate says so.
    high_voltage : hybrid or electric drive. two_sign_offs : a second person signs as well.
    """
    if not units:
        raise BadInput("Choose at least one control unit to bring back to stock.", field="units")
    if len({u.unit_id for u in units}) != len(units):
        raise BadInput("A control unit was chosen twice.", field="units")
    possible = {"compare_coding": coding_snapshot, "pull": baseline}
    base = [s for s in _BASE if s.key != "write_coding" or coding_snapshot]
    keys = {s.key: [_unit_key(s.key, u) for u in units] if s.scope == "control unit" else [s.key] for s in base}
    steps: list[Step] = []
    for step in base:
        step = _adapted(step, possible.get(step.key, True), high_voltage)
        if step.scope == "vehicle":
            steps.append(_linked(step, keys, None))
        else:
            steps += [_for_unit(_linked(step, keys, unit), unit) for unit in units]
    closing = tuple(s.key for s in steps)
    steps.append(_sign_off("sign_off", "Sign off", closing))
    if two_sign_offs:
        steps.append(_sign_off("second_sign_off", "Second sign-off by another person", (*closing, "sign_off")))
    return Plan(tuple(_grouped(steps, units)))


def _adapted(step: Step, evidence_possible: bool, high_voltage: bool) -> Step:
    """The step as this vehicle needs it: the caution for high voltage, and what the record cannot compare with."""
    if high_voltage and step.key in ("supply", "parts", "pull"):
        step = replace(step, caution=f"{step.caution} {_HIGH_VOLTAGE}")
    if evidence_possible:
        return step
    lacking = "snapshot" if step.key == "compare_coding" else "baseline session"
    guidance = f"The record holds no {lacking} to compare with, so this can only be overridden, with the reason."
    return replace(step, evidence_possible=False, guidance=guidance)


def _unit_key(key: str, unit: RestoreUnit) -> str:
    return f"{key}.{unit.unit_id}"


def _for_unit(step: Step, unit: RestoreUnit) -> Step:
    possible = step.evidence_possible and (unit.has_stock or step.key == "identify")
    without = "No stock is confirmed for this control unit, so this can only be overridden, with the reason."
    return replace(
        step,
        key=_unit_key(step.key, unit),
        title=f"{step.title} – {unit.role}",
        guidance=step.guidance if possible else without,
        unit_id=unit.unit_id,
        evidence_possible=possible,
    )


def _linked(step: Step, keys: Mapping[str, list[str]], unit: RestoreUnit | None) -> Step:
    """Needs in terms of this plan's keys: a unit's step needs its own unit's steps, a vehicle's step all of them."""

    def resolve(names: tuple[str, ...]) -> tuple[str, ...]:
        found: list[str] = []
        for name in names:
            own = _unit_key(name, unit) if unit is not None else ""
            found += [own] if own in keys.get(name, ()) else keys.get(name, ())
        return tuple(found)

    return replace(step, needs=resolve(step.needs), renewed_by=resolve(step.renewed_by))


def _grouped(steps: Sequence[Step], units: Sequence[RestoreUnit]) -> list[Step]:
    """Flash and read-back of one unit directly after one another; everything else keeps its place."""
    writing = [s for u in units for s in steps if s.key in (_unit_key("flash", u), _unit_key("read_back", u))]
    first = next(n for n, s in enumerate(steps) if s in writing)
    return [*steps[:first], *writing, *(s for s in steps[first:] if s not in writing)]


def _sign_off(key: str, title: str, needs: tuple[str, ...]) -> Step:
    guidance = "Read the certificate as it will be printed, then sign with your name."
    return Step(key, title, guidance, _SIGN_OFF, "sign-off", "sign_off", "vehicle", needs)


@dataclass(frozen=True, slots=True)
class Override:
    """A manager's decision that a step counts as closed without (or against) its evidence."""

    reason: str
    by: str

    def __post_init__(self) -> None:
        if not self.reason.strip():
            raise BadInput("Write the reason; it prints on the certificate.", field="reason")


@dataclass(frozen=True, slots=True)
class StepState:
    """Where one step stands. `verdict` is its own evidence's, also under an override; `waits_for` are keys."""

    step: Step
    state: State
    verdict: Verdict | None = None
    override: Override | None = None
    waits_for: tuple[str, ...] = ()
    stale: bool = False


@dataclass(frozen=True, slots=True)
class Progress:
    """Every step's state in plan order; `next_step` is the first open one, None when nothing can be done."""

    states: tuple[StepState, ...]
    next_step: Step | None
    may_sign_off: bool

    @property
    def sentence(self) -> str:
        work = [s for s in self.states if s.step.evidence != "sign-off"]
        done = sum(s.state == "done" for s in work)
        overridden = sum(s.override is not None for s in work)
        by_hand = f", {overridden} of them overridden" if overridden else ""
        following = f" Next: {self.next_step.title}." if self.next_step else ""
        return f"{done} of {len(work)} steps done{by_hand}.{following}"


def progress(
    plan: Plan,
    verdicts: Mapping[str, Verdict],
    overrides: Mapping[str, Override],
    *,
    order: Mapping[str, int] | None = None,
) -> Progress:
    """How far a plan has come.

    verdicts : the latest verdict by step key; a signed sign-off counts as "verified". overrides : by step key.
    order : sequence number of each key's latest evidence or override. A step whose evidence is older than that of a
        step in its `renewed_by` is stale: it is open again, whatever its verdict was.
    A step is blocked while a step it needs is not done, even when it has a verdict.
    """
    known = {s.key for s in plan.steps}
    for key in [*verdicts, *overrides]:
        if key not in known:
            raise BadInput(f"This restore has no step “{key[:40]}”.", field="key")
    order = order or {}
    done: set[str] = set()
    states: list[StepState] = []
    for step in plan.steps:
        verdict, override = verdicts.get(step.key), overrides.get(step.key)
        if override is not None and step.evidence == "sign-off":
            raise BadInput("A sign-off cannot be overridden.", field="key")
        mine = order.get(step.key, 0)
        stale = step.key in order and any(order.get(k, -1) > mine for k in step.renewed_by)
        waits = tuple(k for k in step.needs if k not in done)
        closed = override is not None or (verdict is not None and verdict.outcome in ("verified", "overridden"))
        state: State = "blocked" if waits else "done" if closed and not stale else "open"
        if state == "done":
            done.add(step.key)
        states.append(StepState(step, state, verdict, override, waits, stale))
    following = next((s.step for s in states if s.state == "open"), None)
    work = {s.key for s in plan.steps if s.evidence != "sign-off"}
    return Progress(tuple(states), following, work <= done)
