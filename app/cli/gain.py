"""`revledger gain`: what a change did, from two sets of pulls in files, without a database."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperCommand

from app.errors import BadInput

if TYPE_CHECKING:
    from app.calc.dyno.gain import BandAverage, Gain, ReadOff
    from app.cli.gain_sides import Side


class SeveralAgainst(TyperCommand):
    """Takes every file up to the next option for --against, as one writes it: --against a.csv b.csv c.csv."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        return super().parse_args(ctx, repeated(args))


def repeated(args: list[str]) -> list[str]:
    """
    >>> repeated(["a.csv", "--against", "b.csv", "c.csv", "--json"])
    ['a.csv', '--against', 'b.csv', '--against', 'c.csv', '--json']
    """
    written: list[str] = []
    taking = False
    for arg in args:
        if taking and not arg.startswith("-") and written[-1] != "--against":
            written.append("--against")
        if arg.startswith("-"):
            taking = arg == "--against"
        written.append(arg)
    return written


def gain(
    base: Annotated[
        list[Path],
        typer.Argument(metavar="BASE...", help="Pulls before the change, one or several files.", exists=True),
    ],
    against: Annotated[
        list[Path],
        typer.Option("--against", metavar="NEW...", help="Pulls after the change, one or several files.", exists=True),
    ],
    standard: Annotated[
        str,
        typer.Option(
            help="Correction of both sides: none, sae_j1349, sae_j1349_2004, sae_j607, iso_1585, iso_1585_ci, "
            "din_70020 or jis_d1001. All but none need the air."
        ),
    ] = "none",
    pressure: Annotated[
        list[float] | None, typer.Option(help="Ambient pressure at the intake, hPa; twice when the sides differ.")
    ] = None,
    temperature: Annotated[
        list[float] | None, typer.Option(help="Intake air temperature, °C; twice when the sides differ.")
    ] = None,
    humidity: Annotated[
        list[float] | None, typer.Option(help="Relative humidity, %; twice when the sides differ.")
    ] = None,
    diesel: Annotated[bool, typer.Option("--diesel", help="Compression ignition.")] = False,
    boosted: Annotated[bool, typer.Option("--boosted", help="Turbocharged or supercharged.")] = False,
    at: Annotated[
        list[float] | None, typer.Option("--at", metavar="RPM", help="Read off here; again for more speeds.")
    ] = None,
    band: Annotated[
        list[str] | None, typer.Option("--band", metavar="LO-HI", help="Average over these speeds; again for more.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE.html", help="Write the curves as one page to open offline.")
    ] = None,
) -> None:
    """Tell the gain between two sets of pulls, with a band that covers the whole curve at once.

    Files are text tables of any dialect or MDF4 logs. Power and torque are told in kW and N·m.
    """
    from app.calc.dyno.gain import band_average
    from app.calc.dyno.gain import gain as gain_of
    from app.cli.gain_sides import Engine, common_warnings, read_side

    engine = Engine(diesel, boosted)
    sides = [
        read_side(files, standard, _air(side, pressure, temperature, humidity), engine)
        for side, files in enumerate((base, against))
    ]
    before, after = sides
    warnings = common_warnings(before, after)
    result = gain_of(before.pulls, after.pulls)
    warnings += [text for text in result.warnings if text not in warnings]
    rows = _read_off(result, at)
    bands = [band_average(result, low, high) for low, high in _bands(result, band)]
    if plot is not None:
        from app.cli.gain_plot import write_plot

        write_plot(plot, result, before, after, rows, bands, warnings)
    if as_json:
        typer.echo(json.dumps(_as_json(result, sides, rows, bands, warnings), indent=2, ensure_ascii=False))
    else:
        typer.echo(_as_text(result, sides, rows, bands, warnings))
        if plot is not None:
            typer.echo(f"\nCurves: {plot}")


def _air(side: int, *given: list[float] | None) -> Any:
    from app.cli.gain_sides import Air

    for values in given:
        if values is not None and len(values) > 2:
            raise typer.BadParameter("give pressure, temperature and humidity once for both sides, or twice")
    return Air(*(None if not values else values[min(side, len(values) - 1)] for values in given))


def _read_off(result: "Gain", at: list[float] | None) -> "list[ReadOff]":
    from app.calc.dyno.gain import at_speed

    low, high = float(result.speed_rpm[0]), float(result.speed_rpm[-1])
    every = [500.0 * k for k in range(int(-(-low // 500)), int(high // 500) + 1)]
    return [at_speed(result, speed) for speed in at or every]


def _bands(result: "Gain", band: list[str] | None) -> list[tuple[float, float]]:
    if not band:
        return [(float(result.speed_rpm[0]), float(result.speed_rpm[-1]))]
    found = []
    for text in band:
        parts = text.replace("–", "-").split("-")
        try:
            low, high = (float(part) for part in parts)
        except ValueError:
            raise BadInput(f"{text!r} is no band of speeds; write it like 2500-5500.", field="band") from None
        found.append((min(low, high), max(low, high)))
    return found


def _as_text(
    result: "Gain", sides: "list[Side]", rows: "list[ReadOff]", bands: "list[BandAverage]", warnings: list[str]
) -> str:
    from app.calc.dyno.gain import verdict
    from app.calc.number_text import plain, rpm
    from app.cli.gain_plot import signed

    lines = [verdict(result), ""]
    for name, side in zip(("Before", "After"), sides, strict=True):
        speed = side.pulls.speed_rpm
        lines += [
            f"{name}: {', '.join(side.files)}",
            f"  {speed[0]:,.0f} to {rpm(float(speed[-1]))}, {_factor(side)}",
            f"  {side.repeats.sentence}",
        ]
    lines += [
        "",
        f"{'rpm':>6} {'kW before':>10} {'after':>8} {'gain kW':>16} {'N·m before':>11} {'after':>8} {'gain N·m':>16}",
    ]
    lines += [
        f"{r.speed_rpm:6,.0f} {plain(r.before_kw, 1):>10} {plain(r.after_kw, 1):>8} "
        f"{signed(r.gain_kw, r.half_kw):>16} {plain(r.before_nm, 1):>11} {plain(r.after_nm, 1):>8} "
        f"{signed(r.gain_nm, r.half_nm):>16}"
        for r in rows
    ]
    lines.append("")
    lines += [
        f"Average {b.low_rpm:,.0f} to {rpm(b.high_rpm)}: {signed(b.gain_kw, b.half_kw)} kW, "
        f"{signed(b.gain_nm, b.half_nm)} N·m"
        for b in bands
    ]
    return "\n".join([*lines, *_peaks(result, sides), "", result.method, *(f"- {text}" for text in warnings)])


def _factor(side: "Side") -> str:
    if side.corrected:
        return "corrected by the dyno"
    if side.factor.standard == "none":
        return "uncorrected"
    return f"{side.factor.label}, factor {side.factor.factor:.4f}"


def _peaks(result: "Gain", sides: "list[Side]") -> list[str]:
    """Each side's own peaks; what the other side does not cover is no place for a gain."""
    from app.calc.dyno.peaks import curve_peaks
    from app.calc.number_text import plain, rpm

    before, after = (curve_peaks(side.pulls, result) for side in sides)
    lines = []
    for name, unit, pair in zip(("power", "torque"), ("kW", "N·m"), zip(before, after, strict=True), strict=True):
        told = [
            f"{plain(one.at.value, 1)}{'' if one.half is None else f' ± {plain(one.half, 1)}'} {unit} at "
            f"{rpm(one.at.speed_rpm)} {when}"
            for one, when in zip(pair, ("before", "after"), strict=True)
        ]
        lines.append(f"Highest {name} of each side's whole curve: {', '.join(told)}")
        lines += [
            f"- {rpm(one.at.speed_rpm)} is not covered {other}: no gain can be told there"
            for one, other in zip(pair, ("after", "before"), strict=True)
            if not one.shared
        ]
    return lines


def _as_json(
    result: "Gain", sides: "list[Side]", rows: "list[ReadOff]", bands: "list[BandAverage]", warnings: list[str]
) -> dict[str, Any]:
    from dataclasses import asdict

    from app.calc.dyno.gain import shares, verdict

    found, half_kw, half_nm = shares(result), result.half_kw, result.half_nm
    return {
        "verdict": verdict(result),
        "method": result.method,
        "warnings": warnings,
        "shares": None if found is None else asdict(found),
        "before": _side_json(sides[0]),
        "after": _side_json(sides[1]),
        "read_off": [asdict(row) for row in rows],
        "bands": [asdict(one) for one in bands],
        "peaks": _peaks_json(result, sides),
        "curve": {
            "speed_rpm": result.speed_rpm.tolist(),
            "before_power_kw": _rounded(result.before.power_kw),
            "after_power_kw": _rounded(result.after.power_kw),
            "gain_kw": _rounded(result.gain_kw),
            "half_kw": None if half_kw is None else _rounded(half_kw),
            "before_torque_nm": _rounded(result.before.torque_nm),
            "after_torque_nm": _rounded(result.after.torque_nm),
            "gain_nm": _rounded(result.gain_nm),
            "half_nm": None if half_nm is None else _rounded(half_nm),
        },
    }


def _peaks_json(result: "Gain", sides: "list[Side]") -> dict[str, Any]:
    from dataclasses import asdict

    from app.calc.dyno.peaks import curve_peaks

    before, after = (curve_peaks(side.pulls, result) for side in sides)
    return {
        "before_power_kw": asdict(before[0]),
        "after_power_kw": asdict(after[0]),
        "before_torque_nm": asdict(before[1]),
        "after_torque_nm": asdict(after[1]),
    }


def _side_json(side: "Side") -> dict[str, Any]:
    return {
        "files": list(side.files),
        "pulls": side.pulls.count,
        "standard": side.factor.standard,
        "factor": side.factor.factor,
        "corrected_by_dyno": side.corrected,
        "level_percent": list(side.repeats.level_percent),
        "s_level_percent": side.repeats.s_level_percent,
        "s_shape_percent": side.repeats.s_shape_percent,
        "s_r_kw": side.repeats.s_r_kw,
        "r_kw": side.repeats.r_kw,
        "trend_percent_per_pull": side.repeats.trend_percent_per_pull,
        "trend_p": side.repeats.trend_p,
        "sentence": side.repeats.sentence,
    }


def _rounded(values: Any) -> list[float]:
    return [round(float(value), 4) for value in values]
