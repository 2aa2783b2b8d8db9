"""The two sides of `revledger gain`: files read, pulls fitted and corrected."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from app.calc.dyno.correction import STANDARDS, CorrectionFactor
from app.calc.dyno.curve import Pulls, curve_of, on_common_grid
from app.calc.dyno.repeatability import Repeatability, repeatability
from app.calc.dyno.session_air import session_factor
from app.errors import BadInput
from app.readers.dyno_csv import DynoFile
from app.readers.dyno_file import read_dyno_file


@dataclass(frozen=True, slots=True)
class Air:
    """The air of one side as given on the command line; None: not given."""

    pressure_hpa: float | None
    temperature_c: float | None
    relative_humidity_percent: float | None


@dataclass(frozen=True, slots=True)
class Engine:
    """What a correction factor depends on besides the air."""

    diesel: bool
    boosted: bool


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """Corrected pulls of one side. `corrected`: the files say so; `warnings`: what was noticed in the files and air."""

    files: tuple[str, ...]
    pulls: Pulls
    repeats: Repeatability
    factor: CorrectionFactor
    corrected: bool
    places: frozenset[str]
    warnings: tuple[str, ...]


def read_side(files: Sequence[Path], standard: str, air: Air, engine: Engine) -> Side:
    """Raises BadInput naming the file that cannot be used, or what the standard misses."""
    read = [(path, _read(path)) for path in files]
    warnings = [f"{path.name}: {text}" for path, one in read for text in _noticed(one)]
    told = {
        one.corrected is True for _, file in read for one in file.columns if one.quantity in ("torque_nm", "power_kw")
    }
    if len(told) > 1:
        raise BadInput("Some of these pulls were corrected by the dyno and some were not; give only one kind.")
    corrected = told == {True}
    factor = _factor(standard, air, engine, corrected)
    curves = []
    for path, file in read:
        for pull in file.pulls:
            try:
                curves.append(curve_of(pull.channels, factor=factor.factor))
            except BadInput as error:
                raise BadInput(f"{pull.label}: {error.sentence}", where=path.name) from error
    pulls = on_common_grid(curves)
    places = {str(c.measured_at) for _, one in read for c in one.columns if c.quantity == "power_kw" and c.measured_at}
    return Side(
        tuple(path.name for path in files),
        pulls,
        repeatability(pulls),
        factor,
        corrected,
        frozenset(places),
        (*warnings, *factor.flags),
    )


def _read(path: Path) -> DynoFile:
    try:
        return read_dyno_file(path.read_bytes())
    except BadInput as error:
        where = path.name if error.where is None else f"{path.name}, {error.where}"
        raise BadInput(error.sentence, where=where, details=error.details) from error
    except OSError as error:
        raise BadInput(f"This file cannot be read: {error.strerror}.", where=path.name) from error


def _noticed(file: DynoFile) -> list[str]:
    return [*file.notes, *(slip.sentence for slip in file.slips)]


def _factor(standard: str, air: Air, engine: Engine, corrected: bool) -> CorrectionFactor:
    if standard not in STANDARDS:
        raise BadInput(f"{standard!r} is no correction standard; choose one of {', '.join(STANDARDS)}.")
    if corrected and standard != "none":
        raise BadInput(
            "These files say that the dyno had corrected the pulls already; leave --standard out, or export them "
            "uncorrected."
        )
    factor = session_factor(
        standard,
        pressure_hpa=air.pressure_hpa,
        temperature_c=air.temperature_c,
        relative_humidity_percent=air.relative_humidity_percent,
        diesel=engine.diesel,
        boosted=engine.boosted,
    )
    if factor is None:
        raise BadInput(f"{STANDARDS[standard]} needs the air: give --pressure and --temperature.")
    return factor


def common_warnings(before: Side, after: Side) -> list[str]:
    """What makes the two sides hard to compare; BadInput where they must not be."""
    if before.corrected != after.corrected:
        raise BadInput(
            "One side was corrected by the dyno and the other was not; corrected and uncorrected pulls never compare."
        )
    found = []
    if before.places and after.places and before.places != after.places:
        raise BadInput("One side tells power at the wheels and the other at the engine; they do not compare.")
    if before.corrected:
        found.append("Corrected by the dyno, as the files say; whether by the same standard is not known.")
    elif before.factor.standard == "none":
        found.append("Uncorrected: the gain holds for pulls in the same air; otherwise give --standard and the air.")
    found += list(dict.fromkeys((*before.warnings, *after.warnings)))
    found += [text for side in (before, after) if (text := _too_few(side))]
    return found


def _too_few(side: Side) -> str:
    if side.pulls.count >= 3:
        return ""
    count = "One pull" if side.pulls.count == 1 else "Two pulls"
    return f"{count} from {', '.join(side.files)}: make at least three, or the uncertainty is large or not known."
