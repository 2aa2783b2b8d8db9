"""The page that `revledger gain --plot` writes: one file with the curves and the figures, to be opened offline."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup

from app.calc.dyno.gain import BandAverage, Gain, ReadOff, verdict
from app.calc.number_text import plain, rpm
from app.cli.gain_sides import Side
from app.errors import BadInput
from app.web.assets import load_assets
from app.web.page import environment

_BEFORE, _AFTER = "#5b6763", "#0b5a69"


@dataclass(frozen=True, slots=True)
class GainPage:
    """What the page shows. figure: traces and layout for the drawing library, which stands in `script`."""

    sentence: str
    method: str
    sides: tuple[tuple[str, str, str], ...]
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    bands: tuple[str, ...]
    warnings: tuple[str, ...]
    figure: dict[str, Any]
    script: Markup


def write_plot(
    file: Path,
    result: Gain,
    before: Side,
    after: Side,
    rows: Sequence[ReadOff],
    bands: Sequence[BandAverage],
    warnings: Sequence[str],
) -> None:
    """Raises BadInput when the file cannot be written."""
    page = GainPage(
        sentence=verdict(result),
        method=result.method,
        sides=tuple(
            (name, ", ".join(side.files), side.repeats.sentence)
            for name, side in (("Before", before), ("After", after))
        ),
        columns=("rpm", "before kW", "after kW", "gain kW", "before N·m", "after N·m", "gain N·m"),
        rows=tuple(_row(one) for one in rows),
        bands=tuple(
            f"{b.low_rpm:,.0f} to {rpm(b.high_rpm)}: {signed(b.gain_kw, b.half_kw)} kW, "
            f"{signed(b.gain_nm, b.half_nm)} N·m"
            for b in bands
        ),
        warnings=tuple(warnings),
        figure={"data": [*_pulls(before, _BEFORE), *_pulls(after, _AFTER), *_traces(result)], "layout": _layout()},
        script=Markup(load_assets().files["plotly.js"].decode()),  # noqa: S704  # the library's own file
    )
    values = {name: getattr(page, name) for name in GainPage.__slots__}
    text = environment().get_template("dyno/gain_file.html").render(values)
    try:
        file.write_text(text, encoding="utf-8")
    except OSError as error:
        raise BadInput(f"The page cannot be written: {error.strerror}.", where=str(file)) from error


def signed(value: float, half: float | None) -> str:
    """
    >>> signed(12.34, 2.0), signed(-3.0, None)
    ('+12.3 ± 2.0', '−3.0')
    """
    told = plain(value, 1, sign=True)
    return told if half is None else f"{told} ± {plain(half, 1)}"


def _row(one: ReadOff) -> tuple[str, ...]:
    return (
        f"{one.speed_rpm:,.0f}",
        plain(one.before_kw, 1),
        plain(one.after_kw, 1),
        signed(one.gain_kw, one.half_kw),
        plain(one.before_nm, 1),
        plain(one.after_nm, 1),
        signed(one.gain_nm, one.half_nm),
    )


def _pulls(side: Side, colour: str) -> list[dict[str, Any]]:
    """Every pull as a thin line."""
    return [
        {
            "x": side.pulls.speed_rpm.tolist(),
            "y": [round(float(v), 3) for v in power],
            "mode": "lines",
            "line": {"color": colour, "width": 1},
            "opacity": 0.5,
            "showlegend": False,
            "hoverinfo": "skip",
        }
        for power in side.pulls.power_kw
    ]


def _traces(result: Gain) -> list[dict[str, Any]]:
    speed = result.speed_rpm.tolist()

    def line(name: str, values: Any, unit: str, **look: Any) -> dict[str, Any]:
        rounded = [round(float(v), 3) for v in values]
        hover = f"{name}: %{{y:.1f}} {unit}<extra></extra>"
        return {"name": name, "x": speed, "y": rounded, "mode": "lines", "hovertemplate": hover, **look}

    before, after = {"color": _BEFORE, "width": 3, "dash": "dash"}, {"color": _AFTER, "width": 3}
    traces = [
        line("Power before", result.before.power_kw, "kW", line=before),
        line("Power after", result.after.power_kw, "kW", line=after),
    ]
    half = result.half_kw
    if half is not None:
        edge = {"line": {"width": 0}, "showlegend": False, "hoverinfo": "skip", "yaxis": "y2"}
        traces.append(line("Lower edge", result.gain_kw - half, "kW") | edge)
        traces.append(line("Upper edge", result.gain_kw + half, "kW") | edge)
        traces[-1] |= {"fill": "tonexty", "fillcolor": "rgba(11, 90, 105, 0.2)"}
        for trace in traces[-2:]:
            del trace["hovertemplate"]
    traces.append(line("Gain", result.gain_kw, "kW", line=after, yaxis="y2", showlegend=False))
    return traces


def _layout() -> dict[str, Any]:
    return {
        "height": 640,
        "margin": {"l": 70, "r": 20, "t": 30, "b": 60},
        "font": {"size": 15},
        "hovermode": "x unified",
        "legend": {"orientation": "h", "y": 1.06, "traceorder": "normal"},
        "xaxis": {"title": {"text": "Engine speed [rpm]"}, "anchor": "y2"},
        "yaxis": {"title": {"text": "Power [kW]"}, "domain": [0.44, 1], "rangemode": "tozero"},
        "yaxis2": {
            "title": {"text": "Gain [kW]"},
            "domain": [0, 0.38],
            "zeroline": True,
            "zerolinecolor": "#14201d",
            "zerolinewidth": 2,
        },
    }
