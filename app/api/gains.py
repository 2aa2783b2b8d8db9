"""What a change did, as JSON."""

from typing import Annotated

from fastapi import APIRouter, Query

from app.api.measured import finite, known, numbers
from app.api.model import ApiOut, Time
from app.calc.dyno.gain import BandAverage, Gain, ReadOff
from app.calc.dyno.peaks import CurvePeak
from app.errors import Conflict
from app.readers.speed_lists import read_bands, read_speeds
from app.record import gains, unit_gains, vehicles
from app.record.gain_report import GainReport, report
from app.record.gains import Compared, Side
from app.record.unit_gains import Step, glance_of
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter(tags=["dyno"])

Speeds = Annotated[str, Query(max_length=400, description="Engine speeds, like 3000,4500.")]
Bands = Annotated[str, Query(max_length=400, description="Bands of engine speed, like 3000-5500,5500-6500.")]
Standard = Annotated[
    str | None, Query(max_length=24, description="Compute both sessions under this correction standard.")
]


class SideOut(ApiOut):
    session_id: int
    measured_at: Time
    correction_standard: str
    correction_factor: float | None
    correction_flags: list[str]
    corrected_by_dyno: bool
    pulls: list[int]
    pulls_left_out: list[dict[str, int | str]]


class ConditionOut(ApiOut):
    name: str
    unit: str
    before: str
    after: str
    verdict: str


class ComparabilityOut(ApiOut):
    sentence: str
    items: list[ConditionOut]


class GainCurveOut(ApiOut):
    """Arrays over the same engine speeds; half widths of the simultaneous band are null where it is not known."""

    speed_rpm: list[float]
    before_power_kw: list[float]
    after_power_kw: list[float]
    gain_power_kw: list[float]
    half_power_kw: list[float] | None
    before_torque_nm: list[float]
    after_torque_nm: list[float]
    gain_torque_nm: list[float]
    half_torque_nm: list[float] | None


class ReadOffOut(ApiOut):
    speed_rpm: float
    before_power_kw: float
    after_power_kw: float
    gain_power_kw: float
    half_power_kw: float | None
    before_torque_nm: float
    after_torque_nm: float
    gain_torque_nm: float
    half_torque_nm: float | None


class BandOut(ApiOut):
    low_rpm: float
    high_rpm: float
    gain_power_kw: float
    half_power_kw: float | None
    gain_torque_nm: float
    half_torque_nm: float | None


class PeakOut(ApiOut):
    """The highest point of a session's own mean curve; `shared` false: the other session does not cover that speed, so
    no gain can be told there."""

    value: float
    half: float | None
    speed_rpm: float
    speed_low_rpm: float
    speed_high_rpm: float
    at_end: bool
    shared: bool


class PeaksOut(ApiOut):
    before_power_kw: PeakOut
    after_power_kw: PeakOut
    before_torque_nm: PeakOut
    after_torque_nm: PeakOut


class SharesOut(ApiOut):
    """Fractions of the common range."""

    better: float
    within: float
    worse: float


class LossOut(ApiOut):
    loss: float
    loss_uncertainty: float | None
    usual_low: float
    usual_high: float
    judgement: str
    sentence: str


class GainOut(ApiOut):
    """The band covers the whole curve at once with 95 % confidence; band averages have an interval of their own."""

    vehicle_id: int
    before: SideOut
    after: SideOut
    standard: str
    converted: bool
    comparability: ComparabilityOut
    verdict: str
    method: str
    warnings: list[str]
    degrees_of_freedom: float
    threshold: float | None
    used_history: bool
    history_sessions: int
    curve: GainCurveOut
    read_offs: list[ReadOffOut]
    band_averages: list[BandOut]
    peaks: PeaksOut
    shares: SharesOut | None
    drivetrain_loss: LossOut | None


class UnitGainOut(ApiOut):
    """One revision against what it was made from (base_revision_id null: stock); gain at the power peak after or,
    where only the session after covers that speed (peak_speed_rpm), at the nearest that both cover (speed_rpm)."""

    revision_id: int
    base_revision_id: int | None
    before_session_id: int | None
    after_session_id: int | None
    standard: str | None
    nothing_else_changed: bool
    speed_rpm: float | None
    peak_speed_rpm: float | None
    gain_power_kw: float | None
    half_power_kw: float | None
    refusal: str | None


@router.get("/control-units/{unit_id:int}/gains")
def gains_of_unit(unit_id: int, session: Read, _person: Viewer) -> list[UnitGainOut]:
    """Which step brought what: every revision of a control unit over its parent, oldest first."""
    return [_step(one) for one in unit_gains.steps(session, vehicles.control_unit(session, unit_id).id)]


def _step(one: Step) -> UnitGainOut:
    glance = glance_of(one.found)
    return UnitGainOut(
        revision_id=one.revision.id,
        base_revision_id=None if one.base is None else one.base.id,
        before_session_id=None if one.pair is None else one.pair[0].id,
        after_session_id=None if one.pair is None else one.pair[1].id,
        standard=None if one.found is None else one.found.standard,
        nothing_else_changed=one.alone,
        speed_rpm=None if glance is None else glance.speed_rpm,
        peak_speed_rpm=None if glance is None else glance.peak_rpm,
        gain_power_kw=None if glance is None else glance.gain_kw,
        half_power_kw=None if glance is None else finite(glance.half_kw),
        refusal=one.refusal or None,
    )


@router.get("/gains")
def gain(
    session: Read,
    _person: Viewer,
    before_id: Annotated[int, Query(alias="from", description="The session before.")],
    after_id: Annotated[int, Query(alias="to", description="The session after.")],
    at_rpm: Speeds = "",
    band: Bands = "",
    standard: Standard = None,
) -> GainOut:
    """The gain between two sessions of a car; 409 when they cannot be compared as they stand, with what could help."""
    speeds, bands = read_speeds(at_rpm), read_bands(band)
    found = gains.compared(session, before_id, after_id, standard=standard or None)
    result = found.result
    if result is None or found.standard is None:
        raise Conflict("These sessions cannot be compared: " + "; ".join(found.refusals) + ".", details=_help(found))
    return _out(found, result, report(session, found, speeds=speeds, bands=bands))


def _help(found: Compared) -> list[str]:
    if found.standard is None and found.offered:
        return [f"Ask again with standard= one of {', '.join(found.offered)}."]
    return []


def _out(found: Compared, result: Gain, figures: GainReport) -> GainOut:
    loss = figures.loss
    return GainOut(
        vehicle_id=found.vehicle.id,
        before=_side(found.before),
        after=_side(found.after),
        standard=found.standard or "none",
        converted=found.converted,
        comparability=ComparabilityOut(
            sentence=found.comparability.sentence,
            items=[ConditionOut.model_validate(item) for item in found.comparability.items],
        ),
        verdict=figures.verdict,
        method=result.method,
        warnings=list(result.warnings),
        degrees_of_freedom=result.dof,
        threshold=result.threshold,
        used_history=result.used_history,
        history_sessions=0 if found.history is None or not result.used_history else found.history.sessions,
        curve=_curve(result),
        read_offs=[_read_off(one) for one in figures.read_offs],
        band_averages=[_band(one) for one in figures.bands],
        peaks=PeaksOut(
            before_power_kw=_peak(figures.power[0]),
            after_power_kw=_peak(figures.power[1]),
            before_torque_nm=_peak(figures.torque[0]),
            after_torque_nm=_peak(figures.torque[1]),
        ),
        shares=None if figures.shares is None else SharesOut.model_validate(figures.shares),
        drivetrain_loss=None
        if loss is None
        else LossOut(
            loss=loss.loss,
            loss_uncertainty=loss.loss_uncertainty,
            usual_low=loss.usual[0],
            usual_high=loss.usual[1],
            judgement=loss.judgement,
            sentence=loss.sentence,
        ),
    )


def _side(side: Side) -> SideOut:
    return SideOut(
        session_id=side.row.id,
        measured_at=side.row.measured_at,
        correction_standard=side.row.correction_standard,
        correction_factor=None if side.factor is None else side.factor.factor,
        correction_flags=[] if side.factor is None else list(side.factor.flags),
        corrected_by_dyno=side.by_dyno,
        pulls=list(side.positions),
        pulls_left_out=[{"position": position, "reason": reason} for position, reason in side.left_out],
    )


def _curve(result: Gain) -> GainCurveOut:
    return GainCurveOut(
        speed_rpm=numbers(result.speed_rpm),
        before_power_kw=numbers(result.before.power_kw),
        after_power_kw=numbers(result.after.power_kw),
        gain_power_kw=numbers(result.gain_kw),
        half_power_kw=known(result.half_kw),
        before_torque_nm=numbers(result.before.torque_nm),
        after_torque_nm=numbers(result.after.torque_nm),
        gain_torque_nm=numbers(result.gain_nm),
        half_torque_nm=known(result.half_nm),
    )


def _read_off(one: ReadOff) -> ReadOffOut:
    return ReadOffOut(
        speed_rpm=one.speed_rpm,
        before_power_kw=one.before_kw,
        after_power_kw=one.after_kw,
        gain_power_kw=one.gain_kw,
        half_power_kw=finite(one.half_kw),
        before_torque_nm=one.before_nm,
        after_torque_nm=one.after_nm,
        gain_torque_nm=one.gain_nm,
        half_torque_nm=finite(one.half_nm),
    )


def _band(one: BandAverage) -> BandOut:
    return BandOut(
        low_rpm=one.low_rpm,
        high_rpm=one.high_rpm,
        gain_power_kw=one.gain_kw,
        half_power_kw=finite(one.half_kw),
        gain_torque_nm=one.gain_nm,
        half_torque_nm=finite(one.half_nm),
    )


def _peak(one: CurvePeak) -> PeakOut:
    return PeakOut(
        value=one.at.value,
        half=finite(one.half),
        speed_rpm=one.at.speed_rpm,
        speed_low_rpm=one.at.speed_low_rpm,
        speed_high_rpm=one.at.speed_high_rpm,
        at_end=one.at_end,
        shared=one.shared,
    )
