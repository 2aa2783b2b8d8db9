"""`revledger roller-power`: power of a pull from a dyno that records roller speed alone, without a database."""

import csv
import io
import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from app.errors import BadInput

if TYPE_CHECKING:
    from app.calc.dyno.inertia import RollerPower
    from app.calc.dyno.road_load import CoastDown, RoadLoad
    from app.readers.roller_recording import RollerRecording


def roller_power(
    pull: Annotated[Path, typer.Argument(help="One pull: time and roller speed or road speed.", exists=True)],
    inertia: Annotated[float, typer.Option(help="Inertia of all that the wheels turn on the dyno, kg·m².")],
    radius: Annotated[float, typer.Option(help="Radius of the roller, m.")],
    load: Annotated[
        str | None, typer.Option(metavar="A,B,C", help="The dyno's own drag in N, N/(m/s) and N/(m/s)².")
    ] = None,
    coast: Annotated[
        Path | None, typer.Option(help="A coast-down on the rollers, from which the drag is fitted.", exists=True)
    ] = None,
    window: Annotated[float, typer.Option(help="Time over which the speed is differentiated, s.")] = 0.3,
    ratio: Annotated[
        float | None, typer.Option(help="Engine turns per wheel turn, where the file has no engine speed.")
    ] = None,
    tyre: Annotated[float | None, typer.Option(help="Rolling radius of the tyre, m; goes with --ratio.")] = None,
    write: Annotated[
        Path | None, typer.Option("--csv", help="Write the pull as a table that a dyno session takes.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Tell the power at the roller's surface from how fast the roller gains speed, with its uncertainty."""
    from app.calc.dyno.inertia import roller_power as power_of

    if load is not None and coast is not None:
        raise typer.BadParameter("give the drag by --load or by --coast, not both")
    recording = _read(pull, radius)
    fitted = None if coast is None else _fit(coast, inertia, radius)
    drag = fitted.road_load if fitted is not None else _drag(load)
    found = power_of(
        recording.time_s,
        recording.omega_rad_s,
        inertia_kgm2=inertia,
        radius_m=radius,
        road_load=drag,
        window_s=window,
    )
    speed_rpm = _engine_speed(recording, found, ratio, tyre)
    rows = _rows(found, speed_rpm)
    if write is not None:
        _write(write, rows)
    typer.echo(_as_json(found, rows, drag, fitted) if as_json else _as_text(found, speed_rpm, drag, fitted))
    if write is not None and not as_json:
        typer.echo(f"Pull: {write}")


def _read(file: Path, radius_m: float) -> "RollerRecording":
    from app.readers.roller_recording import read_roller_recording

    try:
        return read_roller_recording(file.read_bytes(), radius_m=radius_m)
    except OSError as error:
        raise BadInput(f"The file cannot be read: {error.strerror}.", where=file.name) from error
    except BadInput as error:
        raise BadInput(error.sentence, where=f"{file.name}{f', {error.where}' if error.where else ''}") from error


def _fit(file: Path, inertia_kgm2: float, radius_m: float) -> "CoastDown":
    """On the rollers it is their inertia that the drag slows down."""
    from app.calc.dyno.inertia import equivalent_mass_kg
    from app.calc.dyno.road_load import fit_coast_down

    recording = _read(file, radius_m)
    if not inertia_kgm2 > 0:
        raise BadInput("The inertia must be above 0.", field="inertia")
    mass = equivalent_mass_kg(inertia_kgm2, radius_m)
    return fit_coast_down(recording.time_s, recording.omega_rad_s * radius_m, mass_kg=mass)


def _drag(text: str | None) -> "RoadLoad | None":
    from app.calc.dyno.road_load import RoadLoad

    if text is None:
        return None
    try:
        a, b, c = (float(part) for part in text.split(","))
    except ValueError:
        raise typer.BadParameter(f"--load takes three numbers such as 95,1.2,0.05; it was {text!r}") from None
    return RoadLoad(a, b, c)


def _engine_speed(
    recording: "RollerRecording", found: "RollerPower", ratio: float | None, tyre: float | None
) -> list[float] | None:
    from app.calc.dyno.inertia import engine_speed_rpm

    if recording.engine_speed_rpm is not None:
        return [float(value) for value in recording.engine_speed_rpm]
    if ratio is None and tyre is None:
        return None
    if ratio is None or tyre is None or not ratio > 0 or not tyre > 0:
        raise typer.BadParameter("--ratio and --tyre go together, both above 0")
    return [engine_speed_rpm(float(value), ratio, tyre) for value in found.speed_ms]


def _rows(found: "RollerPower", speed_rpm: list[float] | None) -> list[dict[str, float]]:
    columns = {"time_s": found.time_s.tolist(), "vehicle_speed_kmh": (found.speed_ms * 3.6).tolist()}
    if speed_rpm is not None:
        columns["engine_speed_rpm"] = speed_rpm
    columns |= {"power_kw": found.power_kw.tolist(), "power_u_kw": found.power_u_kw.tolist()}
    return [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]


# The uncertainty stays out of the table: a reader would take it for a second power.
_HEADERS = {
    "time_s": "time [s]",
    "vehicle_speed_kmh": "road speed [km/h]",
    "engine_speed_rpm": "engine speed [rpm]",
    "power_kw": "wheel power [kW]",
}


def _write(file: Path, rows: list[dict[str, float]]) -> None:
    text = io.StringIO()
    keys = [key for key in _HEADERS if key in rows[0]]
    table = csv.writer(text, lineterminator="\n")
    table.writerow([_HEADERS[key] for key in keys])
    table.writerows([f"{row[key]:.4f}" for key in keys] for row in rows)
    try:
        file.write_text(text.getvalue(), encoding="utf-8")
    except OSError as error:
        raise BadInput(f"The table cannot be written: {error.strerror}.", where=str(file)) from error


def _as_text(
    found: "RollerPower", speed_rpm: list[float] | None, drag: "RoadLoad | None", fitted: "CoastDown | None"
) -> str:
    from app.calc.number_text import plain, rpm

    at = int(found.power_kw.argmax())
    place = f"{found.speed_ms[at] * 3.6:.1f} km/h"
    if speed_rpm is not None:
        place = f"{rpm(speed_rpm[at])} ({place})"
    half = 1.96 * found.power_u_kw[at]
    lines = [
        f"Most power at the roller's surface: {plain(found.power_kw[at], 1)} ± {plain(half, 1)} kW (95 %) at {place}."
    ]
    if fitted is not None:
        a, b, c = fitted.standard_errors
        load = fitted.road_load
        lines.append(
            f"Drag fitted to {fitted.samples:,} samples: A {plain(load.a_n, 1)} ± {plain(1.96 * a, 1)} N, "
            f"B {plain(load.b_n_per_ms, 2)} ± {plain(1.96 * b, 2)} N/(m/s), "
            f"C {plain(load.c_n_per_ms2, 4)} ± {plain(1.96 * c, 4)} N/(m/s)²."
        )
    elif drag is None:
        lines.append("No drag of the dyno is added; its power is missing from these figures.")
    if speed_rpm is None:
        lines.append("No engine speed: give --ratio and --tyre to have one.")
    lines.append("The uncertainty is that of differentiating; the inertia's own comes on top in proportion.")
    return "\n".join(lines)


def _as_json(
    found: "RollerPower", rows: list[dict[str, float]], drag: "RoadLoad | None", fitted: "CoastDown | None"
) -> str:
    at = int(found.power_kw.argmax())
    plain = {
        "peak": rows[at],
        "drag": None
        if drag is None
        else {"a_n": drag.a_n, "b_n_per_ms": drag.b_n_per_ms, "c_n_per_ms2": drag.c_n_per_ms2},
        "drag_standard_errors": None if fitted is None else list(fitted.standard_errors),
        "samples": rows,
    }
    return json.dumps(plain, indent=2, ensure_ascii=False)
