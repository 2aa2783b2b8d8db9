"""`revledger compare`: what changed between two image files, without a database."""

from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from app.calc.number_text import with_unit
from app.errors import AppError, BadInput

if TYPE_CHECKING:
    from app.calc.calibration.comparison import Comparison
    from app.calc.calibration.layout import Layout
    from app.calc.calibration.map_delta import MapDelta

T = TypeVar("T")


class LegacyOrder(StrEnum):
    """What the old byte-order words of an A2L file mean."""

    standard = "standard"
    as_written = "as written"


def compare(
    before: Annotated[Path, typer.Argument(metavar="A", help="Image before the change.", exists=True, dir_okay=False)],
    after: Annotated[Path, typer.Argument(metavar="B", help="Image after the change.", exists=True, dir_okay=False)],
    layout: Annotated[
        Path | None,
        typer.Option(
            help="Map definitions, A2L or our table; without them changed bytes are only listed.",
            exists=True,
            dir_okay=False,
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print everything as JSON.")] = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print a line for each changed cell as CSV.")] = False,
    base_address: Annotated[
        str,
        typer.Option(
            metavar="ADDRESS", help="Address of the first byte of a raw binary in hexadecimal, such as 0x80000000."
        ),
    ] = "0",
    legacy_byte_order: Annotated[
        LegacyOrder | None, typer.Option(help="Meaning of BIG_ENDIAN and LITTLE_ENDIAN in an old A2L file.")
    ] = None,
) -> None:
    """Tell which maps changed, in physical units, and which changed bytes nothing explains."""
    from app.calc.calibration.delta import compare as compare_images
    from app.calc.calibration.delta_export import comparison_csv, comparison_json
    from app.calc.calibration.delta_warnings import WarningRules, with_warnings
    from app.readers.image import read_image

    if as_json and as_csv:
        raise typer.BadParameter("give either --json or --csv, not both")
    address = _address(base_address)
    read = [_read(path, lambda data: read_image(data, base_address=address)) for path in (before, after)]
    for path, one in zip((before, after), read, strict=True):
        for note in one.notes:
            typer.echo(f"{path}: {note}", err=True)
    old, new = (one.image for one in read)
    definitions = None if layout is None else _layout(layout, legacy_byte_order)
    found = with_warnings(compare_images(old, new, definitions), WarningRules())
    if as_json:
        typer.echo(comparison_json(found))
    elif as_csv:
        typer.echo(comparison_csv(found), nl=False)
    else:
        typer.echo("\n".join(_as_text(found)))


def _address(text: str) -> int:
    from app.calc.calibration.address_text import address_of

    try:
        return address_of(text, "base_address")
    except BadInput as error:
        raise typer.BadParameter(error.sentence, param_hint="--base-address") from None


def _read(path: Path, read: Callable[[bytes], T]) -> T:
    """Read a file; an error says which one it is about."""
    try:
        return read(path.read_bytes())
    except OSError as problem:
        raise BadInput(f"{path} cannot be read: {problem.strerror}.") from None
    except AppError as problem:
        raise BadInput(problem.sentence, where=f"{path}, {problem.where}" if problem.where else str(path)) from None


def _layout(path: Path, order: LegacyOrder | None) -> "Layout":
    from app.readers.layout import read_layout

    found = _read(path, lambda data: read_layout(data, legacy_byte_order=None if order is None else order.value))
    for finding in found.findings:
        typer.echo(f"{path}: {finding}", err=True)
    return found.layout


def _as_text(found: "Comparison") -> list[str]:
    """The sentence, then a line for each warning, changed map, unexplained range and block checksum."""
    lines = [found.sentence, *(f"Warning: {one}" for one in found.warnings)]
    if found.deltas:
        width = max(len(delta.name) for delta in found.deltas)
        lines += ["", f"{'map':{width}}  {'category':13}  {'cells':>11}  {'largest change':>20}  {'percent':>8}  where"]
        lines += [_map_line(delta, width) for delta in found.deltas]
    if found.unexplained:
        lines += ["", "unexplained bytes"]
        lines += [
            f"0x{one.address:X}–0x{one.end - 1:X}  {one.changed} of {one.length} changed"
            + (f"  {one.note}" if one.note else "")
            for one in found.unexplained
        ]
    if found.checksums:
        lines += ["", "block checksums"]
        lines += [f"{one.name}  {one.state}" + (f"  {one.reason}" if one.reason else "") for one in found.checksums]
    return lines


def _map_line(delta: "MapDelta", width: int) -> str:
    summary, largest = delta.summary, delta.summary.largest
    cells = f"{summary.changed} of {summary.cells}"
    if largest is None:
        change, percent, place = summary.in_a_word, "", ""
    else:
        change = with_unit(f"{largest.change:+.{delta.decimals}f}", delta.unit)
        percent = "" if largest.percent is None else f"{largest.percent:+.1f} %"
        place = ", ".join(with_unit(f"{at.value:.{at.decimals}f}", at.unit) for at in largest.at)
    return f"{delta.name:{width}}  {delta.category:13}  {cells:>11}  {change:>20}  {percent:>8}  {place}".rstrip()
