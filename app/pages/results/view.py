"""What the page of strip runs and economy trials shows."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sqlalchemy.orm import Session

from app.calc.dyno.economy import EconomyChange, Trial, economy_change
from app.calc.dyno.strip_rules import RULES, estimates, plausibility, power_from_et_kw, power_from_trap_kw
from app.calc.number_text import counted, plain
from app.calc.units import convert
from app.errors import BadInput
from app.pages.attribution import Correction
from app.pages.results.figures import LABELS, slip
from app.record import dyno, results, revisions, strip, vehicles
from app.record.car_state import vehicle_label
from app.record.results import build_of
from app.record.tables import Attribution, EconomyTrial, Person, StripRun, Vehicle
from app.web.page import View
from app.web.units_view import UnitsView


@dataclass(frozen=True, slots=True)
class OnUnit:
    """What a result is attributed to on one control unit, and what it could be."""

    unit_id: int
    role: str
    on_car: str
    reason: str
    options: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class StripRow:
    id: int
    at: dt.datetime
    place: str
    how: str
    note: str
    on_car: str
    figures: tuple[tuple[str, str], ...]
    state: str
    verdict: str
    rules: tuple[tuple[str, str, str, str], ...]
    units: tuple[OnUnit, ...]


@dataclass(frozen=True, slots=True)
class TrialRow:
    id: int
    at: dt.datetime
    distance: str
    fuel: str
    consumption: str
    conditions: str
    on_car: str
    units: tuple[OnUnit, ...]


@dataclass(frozen=True, slots=True)
class EconomyView:
    """Consumption before and after."""

    sentence: str
    facts: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Typed:
    """A refused form: what was typed, and the sentence at its field; correction: where it corrects an attribution."""

    values: dict[str, str] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)
    sentence: str = ""
    correction: Correction | None = None


@dataclass(frozen=True, slots=True)
class ResultsPage:
    vehicle_id: int
    vehicle: str
    may_tune: bool
    strips: tuple[StripRow, ...]
    rated: tuple[tuple[str, str, str, str], ...]
    trials: tuple[TrialRow, ...]
    builds: tuple[tuple[str, str], ...]
    before: str
    after: str
    economy: EconomyView | None
    labels: tuple[tuple[str, str], ...]
    values: dict[str, str]
    errors: dict[str, str]
    sentence: str
    correction: Correction | None


def results_page(
    session: Session,
    vehicle_id: int,
    person: Person,
    view: View,
    *,
    before: str = "",
    after: str = "",
    typed: Typed | None = None,
) -> ResultsPage:
    """Everything measured away from the dyno, newest first, and what speaks for or against it."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    runs, trials = results.strip_runs(session, vehicle.id), results.economy_trials(session, vehicle.id)
    attributed = results.economy_attributions(session, [one.id for one in trials])
    options = _options(session, vehicle.id)
    groups = _groups(session, trials, attributed)
    keys = list(groups)
    chosen = (
        before if before in groups else keys[0] if keys else "",
        after if after in groups else keys[-1] if keys else "",
    )
    typed = typed or Typed()
    return ResultsPage(
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        may_tune=person.role != "front_desk",
        strips=tuple(_strips(session, vehicle, runs, options, view.units)),
        rated=_rated(vehicle, view.units),
        trials=tuple(_trials(session, trials, attributed, options, view.units)),
        builds=tuple((key, f"{words}, {counted(len(found), 'trial')}") for key, (words, found) in groups.items()),
        before=chosen[0],
        after=chosen[1],
        economy=_economy(groups, chosen, view.units),
        labels=tuple(LABELS.items()),
        values=typed.values,
        errors=typed.errors,
        sentence=typed.sentence,
        correction=typed.correction,
    )


Options = Mapping[int, tuple[str, tuple[tuple[str, str], ...]]]


def _options(session: Session, vehicle_id: int) -> Options:
    """Control unit id → (role, what could be on it)."""
    found = {}
    for unit in vehicles.control_units(session, vehicle_id):
        rows = revisions.of_unit(session, unit.id)
        choices = [("stock", "Stock"), *((str(r.id), f"Revision {r.number} “{r.title}”") for r in rows)]
        found[unit.id] = (unit.role, tuple(choices))
    return found


def _on_units(attributed: Mapping[int, Attribution], options: Options) -> tuple[OnUnit, ...]:
    rows = []
    for unit_id, (role, choices) in options.items():
        one = attributed.get(unit_id)
        words = "not attributed"
        if one is not None:
            words = dict(choices)["stock" if one.revision_id is None else str(one.revision_id)]
        rows.append(OnUnit(unit_id, role, words, "" if one is None else one.reason, choices))
    return tuple(rows)


def _strips(
    session: Session, vehicle: Vehicle, runs: Sequence[StripRun], options: Options, units: UnitsView
) -> list[StripRow]:
    attributed = results.strip_attributions(session, [one.id for one in runs])
    words = dyno.attributed_words(session, attributed)
    rows = []
    for one in runs:
        recorded = {name: float(value) for name, value in one.results.items()}
        state, verdict = _judged(session, vehicle, recorded, attributed[one.id])
        rows.append(
            StripRow(
                one.id,
                one.run_at,
                one.place,
                one.how,
                one.note,
                words[one.id],
                slip(recorded, units),
                state,
                verdict,
                _rules(vehicle, recorded, units),
                _on_units(attributed[one.id], options),
            )
        )
    return rows


def _judged(
    session: Session, vehicle: Vehicle, recorded: Mapping[str, float], attributed: dict[int, Attribution]
) -> tuple[str, str]:
    """(state, sentence): does anything that is known of the car speak against this run?"""
    # A run computed with usual figures for drag, grip and gear changes is no yardstick: those are not this car's.
    measured = strip.session_with(session, vehicle.id, attributed)
    peak = None if measured is None else float(strip.wheel_power(session, measured)[1].max())
    found = plausibility(recorded, mass_kg=vehicle.test_mass_kg, wheel_power_kw=peak)
    if not found.plausible:
        return "attention", found.sentence
    if "et_1320ft_s" not in recorded or "trap_1320ft_kmh" not in recorded:
        return "unknown", "Not checked: that takes elapsed time and trap speed of the quarter mile."
    checks = "elapsed time against trap speed"
    if peak is not None and vehicle.test_mass_kg is not None:
        checks += ", and the power it took against the wheel power measured with the same on the car"
    return "ok", f"Nothing speaks against it: checked {checks}."


def _rules(vehicle: Vehicle, recorded: Mapping[str, float], units: UnitsView) -> tuple[tuple[str, str, str, str], ...]:
    """(rule, power from the trap speed, power from the elapsed time, origin); only where the mass is known."""
    mass, et, trap = vehicle.test_mass_kg, recorded.get("et_1320ft_s"), recorded.get("trap_1320ft_kmh")
    if mass is None or (et is None and trap is None):
        return ()
    return tuple(
        (
            rule.name,
            "–" if trap is None else units.text(power_from_trap_kw(rule, mass, trap), "power", decimals=0),
            "–" if et is None else units.text(power_from_et_kw(rule, mass, et), "power", decimals=0),
            rule.source,
        )
        for rule in RULES
    )


def _rated(vehicle: Vehicle, units: UnitsView) -> tuple[tuple[str, str, str, str], ...]:
    """(rule, elapsed time, trap speed, origin) that the rules give for the rated power."""
    if vehicle.test_mass_kg is None or vehicle.rated_power_kw is None:
        return ()
    return tuple(
        (
            one.rule.name,
            f"{plain(one.et_1320ft_s, 1)} s",
            units.text(one.trap_1320ft_kmh, "vehicle speed", decimals=0),
            one.rule.source,
        )
        for one in estimates(vehicle.test_mass_kg, vehicle.rated_power_kw)
    )


Groups = dict[str, tuple[str, list[EconomyTrial]]]


def _groups(
    session: Session, trials: Sequence[EconomyTrial], attributed: Mapping[int, dict[int, Attribution]]
) -> Groups:
    """Key of what was on the car → (in words, its trials), the earliest first."""
    words = dyno.attributed_words(session, attributed)
    found: Groups = {}
    for one in sorted(trials, key=lambda trial: trial.driven_at):
        build = build_of(attributed[one.id])
        key = "_".join(f"{unit}-{'stock' if revision is None else revision}" for unit, revision in build) or "none"
        found.setdefault(key, (words[one.id], []))[1].append(one)
    return found


def _trials(
    session: Session,
    trials: Sequence[EconomyTrial],
    attributed: Mapping[int, dict[int, Attribution]],
    options: Options,
    units: UnitsView,
) -> list[TrialRow]:
    words = dyno.attributed_words(session, attributed)
    return [
        TrialRow(
            one.id,
            one.driven_at,
            units.text(one.distance_km, "distance"),
            units.text(one.fuel_l, "volume", decimals=2),
            units.text(100 * one.fuel_l / one.distance_km, "fuel consumption"),
            one.conditions,
            words[one.id],
            _on_units(attributed[one.id], options),
        )
        for one in trials
    ]


def _economy(groups: Groups, chosen: tuple[str, str], units: UnitsView) -> EconomyView | None:
    if chosen[0] == chosen[1]:
        return None
    try:
        found = economy_change(*([Trial(one.distance_km, one.fuel_l) for one in groups[key][1]] for key in chosen))
    except BadInput as error:
        return EconomyView(error.sentence, ())
    names = [groups[key][0] for key in chosen]
    return EconomyView(_economy_sentence(found), _economy_facts(found, names, units))


def _economy_sentence(found: EconomyChange) -> str:
    """The change in percent, which is the same in every unit."""
    shown = f"{plain(found.change_percent, 1, sign=True)} %"
    if found.low is None or found.high is None:
        return f"Consumption changed by {shown}; make at least two trials on each side to know how sure that is."
    low, high = (100 * end / found.before_l_per_100km for end in (found.low, found.high))
    interval = f"95 % interval {plain(low, 1, sign=True)} to {plain(high, 1, sign=True)} %"
    if found.verdict == "not resolved":
        return f"No change of consumption is shown: {shown}, {interval}."
    return f"Consumption is {'lower' if found.verdict == 'less' else 'higher'}: {shown}, {interval}."


def _economy_facts(found: EconomyChange, names: list[str], units: UnitsView) -> tuple[tuple[str, str], ...]:
    before, after = found.in_unit(units.symbol("fuel consumption"))
    places, unit = units.decimals("fuel consumption"), units.symbol("fuel consumption")
    return (
        (f"Before: {names[0]}", f"{plain(before, places)} {unit}"),
        (f"After: {names[1]}", f"{plain(after, places)} {unit}"),
        ("Change", f"{plain(after - before, places, sign=True)} {unit}{_economy_interval(found, places, unit)}"),
    )


def _economy_interval(found: EconomyChange, places: int, unit: str) -> str:
    """The ends of the change as seen from the mean before: in distance per volume they do not lie evenly about it."""
    if found.low is None or found.high is None or found.before_l_per_100km + found.low <= 0:
        return ""
    mean = found.before_l_per_100km
    before, *ends = (convert(one, "L/100 km", unit) for one in (mean, mean + found.low, mean + found.high))
    low, high = (plain(end - before, places, sign=True) for end in sorted(ends))
    return f", 95 % interval {low} to {high} {unit}"
