"""What the page of a gain shows."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Any
from urllib.parse import urlencode

from sqlalchemy.orm import Session

from app.calc.dyno.comparability import Item
from app.calc.dyno.correction import STANDARDS
from app.calc.dyno.gain import BandAverage, Gain, ReadOff, at_speed
from app.calc.number_text import counted, rpm
from app.pages.dyno.session_view import factor_words
from app.pages.gain.charts import gain_chart
from app.pages.gain.words import (
    Quantity,
    average_of,
    judged,
    peak_words,
    read_off_of,
    verdict_words,
)
from app.readers.speed_lists import read_bands, read_speeds
from app.record import dyno, gains
from app.record.car_state import vehicle_label
from app.record.gain_report import GainReport, report
from app.record.gains import Compared, Side
from app.record.tables import DynoSession
from app.web.page import View, when, writing_as

MOST_OTHERS = 5


@dataclass(frozen=True, slots=True)
class GainQuery:
    """What the address asks for; text as typed."""

    before_id: int
    after_id: int
    others: tuple[int, ...] = ()
    at_rpm: str = ""
    band: str = ""
    standard: str | None = None
    quantity: str = "power"

    def address(self, path: str = "/gains", /, **changed: object) -> str:
        """The same question with something changed."""
        asked: dict[str, object] = {
            "from": self.before_id,
            "to": self.after_id,
            "with": list(self.others),
            "at_rpm": self.at_rpm,
            "band": self.band,
            "standard": self.standard or "",
            "quantity": self.quantity if self.quantity != "power" else "",
        } | changed
        return path + "?" + urlencode({key: value for key, value in asked.items() if value}, doseq=True)


@dataclass(frozen=True, slots=True)
class SideView:
    """One session of the comparison in words."""

    name: str
    href: str
    at: dt.datetime
    purpose: str
    pulls: str
    left_out: tuple[str, ...]
    factor: str
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ConditionRow:
    name: str
    before: str
    after: str
    state: str
    verdict: str


@dataclass(frozen=True, slots=True)
class ReadOffRow:
    speed: str
    before: str
    after: str
    gain: str
    percent: str
    state: str
    verdict: str


@dataclass(frozen=True, slots=True)
class BandRow:
    band: str
    gain: str
    state: str
    verdict: str


@dataclass(frozen=True, slots=True)
class OtherRow:
    """A further session told against the same one before."""

    name: str
    sentence: str
    href: str
    without: str


@dataclass(frozen=True, slots=True)
class Found:
    """The figures of a gain."""

    verdict: str
    headline: tuple[str, str, str]
    shares: tuple[tuple[str, str], ...]
    peaks: tuple[tuple[str, str, str], ...]
    read_offs: tuple[ReadOffRow, ...]
    bands: tuple[BandRow, ...]
    method: str
    warnings: tuple[str, ...]
    loss: str
    chart: dict[str, Any]
    chart_summary: str
    chart_rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class GainPage:
    vehicle_id: int
    vehicle: str
    title: str
    standard: str
    converted: bool
    refusals: tuple[str, ...]
    conversions: tuple[tuple[str, str], ...]
    sides: tuple[SideView, SideView]
    comparability: str
    conditions: tuple[ConditionRow, ...]
    found: Found | None
    others: tuple[OtherRow, ...]
    quantities: tuple[tuple[str, str, bool], ...]
    query: dict[str, str]
    choices: tuple[tuple[str, str], ...]
    addable: tuple[tuple[str, str], ...]
    exports: tuple[tuple[str, str], ...]
    sentence: str


def gain_page(session: Session, query: GainQuery, view: View, sentence: str = "") -> GainPage:
    """The whole page; BadInput for speeds or bands that cannot be read, NotFound for a session that is not there."""
    speeds, bands = read_speeds(query.at_rpm), read_bands(query.band)
    main = gains.compared(session, query.before_id, query.after_id, standard=query.standard)
    further = [
        gains.compared(session, query.before_id, one, standard=main.standard or query.standard)
        for one in query.others[:MOST_OTHERS]
        if one not in (query.before_id, query.after_id)
    ]
    rows = dyno.sessions_of_vehicle(session, main.vehicle.id)
    named, choices = session_names(session, rows, view), session_choices(session, rows, view)
    quantity = Quantity(query.quantity, "Torque" if query.quantity == "torque" else "Power", view.units)
    found = None
    if main.result is not None:
        figures = report(session, main, speeds=speeds, bands=bands)
        others = [(named[one.after.row.id], one) for one in further]
        found = _found(main, figures, others, (named[query.before_id], named[query.after_id]), quantity)
    return GainPage(
        vehicle_id=main.vehicle.id,
        vehicle=vehicle_label(main.vehicle),
        title=f"{named[query.before_id]} → {named[query.after_id]}",
        standard="" if main.standard is None else STANDARDS[main.standard],
        converted=main.converted,
        refusals=tuple(text[:1].upper() + text[1:].rstrip(".") + "." for text in main.refusals),
        conversions=_conversions(main, query),
        sides=(side_view(main.before, named), side_view(main.after, named)),
        comparability=main.comparability.sentence,
        conditions=tuple(condition_row(item, view) for item in main.comparability.items),
        found=found,
        others=tuple(_other(one, named, query, quantity) for one in further),
        quantities=tuple(
            (label, query.address(quantity="" if name == "power" else name), name == query.quantity)
            for name, label in (("power", "Power"), ("torque", "Torque"))
        ),
        query={"at_rpm": query.at_rpm, "band": query.band, "from": str(query.before_id), "to": str(query.after_id)}
        | {"standard": query.standard or "", "quantity": query.quantity, "with": ",".join(map(str, query.others))},
        choices=choices,
        addable=tuple(one for one in choices if int(one[0]) not in (query.before_id, query.after_id, *query.others)),
        exports=_exports(query),
        sentence=sentence,
    )


def session_names(session: Session, rows: Sequence[DynoSession], view: View) -> dict[int, str]:
    """Session id → what was on the car and when: "engine revision 2, 4 Mar 2026, 10:00"."""
    on_car = dyno.on_car_words(session, [row.id for row in rows])
    with writing_as(view):
        return {row.id: f"{_first_up(on_car[row.id])}, {when(row.measured_at)}" for row in rows}


def session_choices(session: Session, rows: Sequence[DynoSession], view: View) -> tuple[tuple[str, str], ...]:
    """The same to choose from: the moment first, which alone tells them apart where a phone cuts the rest off."""
    on_car = dyno.on_car_words(session, [row.id for row in rows])
    with writing_as(view):
        return tuple((str(row.id), f"{when(row.measured_at)}, {on_car[row.id]}") for row in rows)


def _first_up(text: str) -> str:
    return text[:1].upper() + text[1:]


def side_view(side: Side, named: dict[int, str]) -> SideView:
    row, count = side.row, len(side.positions)
    left_out = tuple(f"Pull {position} left out: {reason}" for position, reason in side.left_out)
    factor = "not known" if side.factor is None else factor_words(side.factor)
    if side.by_dyno:
        factor = f"corrected by the dyno, as {STANDARDS[row.correction_standard]}"
    return SideView(
        name=named[row.id],
        href=f"/dyno-sessions/{row.id}",
        at=row.measured_at,
        purpose=row.purpose,
        pulls=counted(count, "pull"),
        left_out=left_out,
        factor=factor,
        flags=() if side.factor is None else side.factor.flags,
    )


_STATES = {"same": "ok", "within bounds": "ok", "differs": "attention", "not recorded": "unknown"}
_QUANTITIES = {"hPa": "pressure", "°C": "temperature"}


def condition_row(item: Item, view: View) -> ConditionRow:
    """One condition of both sessions, in the reader's units."""
    return ConditionRow(
        item.name,
        _condition(item, item.before, view),
        _condition(item, item.after, view),
        _STATES[item.verdict],
        item.verdict,
    )


def _condition(item: Item, text: str, view: View) -> str:
    quantity = _QUANTITIES.get(item.unit)
    if text == "not recorded" or not item.unit:
        return text
    return f"{text} {item.unit}" if quantity is None else view.units.text(float(text), quantity)


def _conversions(main: Compared, query: GainQuery) -> tuple[tuple[str, str], ...]:
    """The ways to one standard, where the sessions' own ones differ."""
    if main.standard is not None:
        return ()
    own = {main.before.row.correction_standard, main.after.row.correction_standard}
    first = [standard for standard in main.offered if standard in own]
    return tuple(
        (STANDARDS[standard], query.address(standard=standard))
        for standard in [*first, *(one for one in main.offered if one not in own)]
    )


def _found(
    main: Compared,
    figures: GainReport,
    others: list[tuple[str, Compared]],
    names: tuple[str, str],
    quantity: Quantity,
) -> Found:
    result = main.result
    assert result is not None
    peaks = figures.power if quantity.name == "power" else figures.torque
    low, high = rpm(float(result.speed_rpm[0])), rpm(float(result.speed_rpm[-1]))
    place = gains.place_words([main.before, main.after])
    return Found(
        verdict=verdict_words(result, quantity),
        headline=_headline(figures, quantity),
        shares=()
        if figures.shares is None
        else tuple(
            (label, f"{100 * share:.0f} %")
            for label, share in (
                ("proven more", figures.shares.better),
                ("within what repeats", figures.shares.within),
                ("proven less", figures.shares.worse),
            )
        ),
        peaks=tuple(
            (label, f"{quantity.label.lower()} {place}", peak_words(one, quantity))
            for label, one in zip(names, peaks, strict=True)
        ),
        read_offs=tuple(_read_off(one, quantity) for one in figures.read_offs),
        bands=tuple(_band(one, quantity) for one in figures.bands),
        method=result.method,
        warnings=result.warnings,
        loss=figures.loss_note if figures.loss is None else figures.loss.sentence,
        chart=gain_chart(main, names, others, quantity, place),
        chart_summary=(
            f"Both sessions cover {low} to {high}; peaks are those of each whole curve. "
            f"Peak before {peak_words(peaks[0], quantity)}; after "
            f"{peak_words(peaks[1], quantity)}."
        ),
        chart_rows=_chart_rows(result, quantity),
    )


def _chart_rows(result: Gain, quantity: Quantity) -> tuple[tuple[str, ...], ...]:
    """The chart as a table, every 250 rpm."""
    first, last = float(result.speed_rpm[0]), float(result.speed_rpm[-1])
    speeds = [250.0 * k for k in range(ceil(first / 250), int(last // 250) + 1)]
    rows = [_read_off(at_speed(result, speed), quantity) for speed in speeds]
    return tuple((row.speed, row.before, row.after, row.gain) for row in rows)


def _headline(figures: GainReport, quantity: Quantity) -> tuple[str, str, str]:
    """(label, figure, note): the gain where the curve after peaks, to be read from afar."""
    found = figures.at_peak if quantity.name == "power" else figures.at_torque_peak
    one, peak = found.read, f"{quantity.label.lower()} peak"
    _, _, change, half = read_off_of(one, quantity.name)
    note = "± covers the whole curve at once" if half is not None else "uncertainty not known"
    if found.shared:
        return (f"Gain at the {peak}, {rpm(one.speed_rpm)}", quantity.difference(change, half), note)
    note = f"{note}; no gain can be told at the {peak} after, {rpm(found.peak_rpm)}, which before does not cover"
    return (f"Gain at {rpm(one.speed_rpm)}, an end of what both cover", quantity.difference(change, half), note)


def _read_off(one: ReadOff, quantity: Quantity) -> ReadOffRow:
    before, after, change, half = read_off_of(one, quantity.name)
    state, verdict = judged(change, half)
    return ReadOffRow(
        speed=rpm(one.speed_rpm),
        before=quantity.text(before),
        after=quantity.text(after),
        gain=quantity.difference(change, half),
        percent=f"{100 * change / before:+.1f} %".replace("-", "−") if before else "",
        state=state,
        verdict=verdict,
    )


def _band(one: BandAverage, quantity: Quantity) -> BandRow:
    change, half = average_of(one, quantity.name)
    state, verdict = judged(change, half)
    return BandRow(f"{one.low_rpm:,.0f} to {rpm(one.high_rpm)}", quantity.difference(change, half), state, verdict)


def _other(one: Compared, named: dict[int, str], query: GainQuery, quantity: Quantity) -> OtherRow:
    own = one.after.row.id
    refused = "; ".join(one.refusals)
    return OtherRow(
        named[own],
        f"Not shown: {refused}." if one.result is None else verdict_words(one.result, quantity),
        query.address(to=own, **{"with": []}),
        query.address(**{"with": [other for other in query.others if other != own]}),
    )


def _exports(query: GainQuery) -> tuple[tuple[str, str], ...]:
    api = query.address("/api/v1/gains", **{"with": [], "quantity": ""})
    return (
        ("Curves as CSV", query.address("/gains/curves.csv", **{"with": [], "at_rpm": "", "band": "", "quantity": ""})),
        ("All figures as JSON", api),
    )
