"""A computed strip run as it is asked for in an address: the page and the API read it alike."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Query
from sqlalchemy.orm import Session

from app.calc.dyno.strip import FigureChange, StripCar, StripResult
from app.errors import BadInput
from app.record import dyno, gains, strip
from app.record.strip import Assumptions
from app.record.tables import Vehicle
from app.web.form import read_choice, read_number

_CHOOSE = "Choose a session of this car."
USUAL = Assumptions()
# Name in an address → label, lowest, highest.
_FIELDS = {
    "cda": ("Drag area", 0.1, 3.0),
    "crr": ("Rolling resistance", 0.0, 0.05),
    "shift_time": ("Time for a gear change", 0.0, 3.0),
    "friction": ("Tyre grip", 0.1, 3.0),
    "share": ("Weight on the driven wheels", 10.0, 100.0),
    "shift_speed": ("Engine speed at the change", 500.0, 20000.0),
}


@dataclass(frozen=True, slots=True)
class RunAsked:
    """What is asked for, as typed; empty is the usual figure, or no session.

    session : whose wheel power drives the run. against : the session before, to compare with. cda in m², shift_time in
    s, share in %, shift_speed in 1/min; crr and friction are bare shares.
    """

    session: str = ""
    against: str = ""
    cda: str = ""
    crr: str = ""
    shift_time: str = ""
    friction: str = ""
    share: str = ""
    shift_speed: str = ""

    @property
    def values(self) -> dict[str, str]:
        return {name: getattr(self, name) for name in ("session", "against", *_FIELDS)}

    def assumptions(self) -> Assumptions:
        """What is taken for granted; raises `BadInput` that names the field."""
        found = {
            name: read_number(getattr(self, name), field=name, label=label, lowest=low, highest=high)
            for name, (label, low, high) in _FIELDS.items()
        }

        def given(name: str, usual: float) -> float:
            value = found[name]
            return usual if value is None else value

        share = found["share"]
        return Assumptions(
            cda_m2=given("cda", USUAL.cda_m2),
            crr=given("crr", USUAL.crr),
            shift_time_s=given("shift_time", USUAL.shift_time_s),
            friction=given("friction", USUAL.friction),
            driven_weight_share=None if share is None else share / 100,
            shift_speed_rpm=found["shift_speed"],
        )

    def chosen(self, offered: Collection[int]) -> tuple[int | None, int | None]:
        """(the session that drives the run, the one to compare with), both of those offered.

        Where only the second one is given, that drives the run.
        """
        found: list[int] = []
        for name in ("session", "against"):
            typed = getattr(self, name)
            if not typed:
                continue
            one = read_choice(typed, field=name, sentence=_CHOOSE)
            if one not in offered:
                raise BadInput(_CHOOSE, field=name)
            if one in found:
                raise BadInput("That session drives the run already; compare it with another one.", field=name)
            found.append(one)
        return (found[0] if found else None, found[1] if len(found) > 1 else None)


def _from_address(
    after: Annotated[
        str, Query(alias="session", max_length=20, description="Id of the session whose wheel power drives the run.")
    ] = "",
    against: Annotated[str, Query(max_length=20, description="Id of a session before, to compare with.")] = "",
    cda: Annotated[str, Query(max_length=20, description="Drag area, m².")] = "",
    crr: Annotated[str, Query(max_length=20, description="Rolling resistance, a share of the weight.")] = "",
    shift_time: Annotated[str, Query(max_length=20, description="Time for a gear change, s.")] = "",
    friction: Annotated[str, Query(max_length=20, description="Friction coefficient of tyre and strip.")] = "",
    share: Annotated[str, Query(max_length=20, description="Weight on the driven wheels, %.")] = "",
    shift_speed: Annotated[str, Query(max_length=20, description="Engine speed at the gear change, 1/min.")] = "",
) -> RunAsked:
    return RunAsked(after, against, cda, crr, shift_time, friction, share, shift_speed)


AskedRun = Annotated[RunAsked, Depends(_from_address)]


@dataclass(frozen=True, slots=True)
class Computed:
    """What came out: a run of one session, or with `against_id` what changed from that one; the other is None."""

    car: StripCar
    session_id: int
    against_id: int | None
    run: StripResult | None
    changes: dict[str, FigureChange] | None


def compute(session: Session, vehicle: Vehicle, asked: RunAsked, offered: Collection[int]) -> Computed | None:
    """The run that is asked for; None where no session is chosen yet."""
    assumed = asked.assumptions()
    after_id, before_id = asked.chosen(offered)
    if after_id is None:
        return None
    car = strip.strip_car(vehicle, assumed)
    try:
        if before_id is None:
            run = strip.computed_run(session, dyno.dyno_session(session, after_id), car)
            return Computed(car, after_id, None, run, None)
        changes = strip.computed_change(gains.compared(session, before_id, after_id), car)
        return Computed(car, after_id, before_id, None, changes)
    except BadInput as error:
        if error.field != "shift_speed_rpm":
            raise
        # The address has a name of its own for it.
        raise BadInput(error.sentence, field="shift_speed") from error
