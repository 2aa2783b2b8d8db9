"""Naming a range: guesses of what lies there, and the decoded numbers of what the form describes."""

from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlencode

from sqlalchemy.orm import Session

from app.calc.calibration.datatype import DATA_TYPES, storage
from app.calc.calibration.decode import decode, undecodable
from app.calc.calibration.delta import compare
from app.calc.calibration.footprint import footprints
from app.calc.calibration.layout import CATEGORIES, Layout, MapDefinition
from app.calc.calibration.layout_check import check_layout
from app.calc.calibration.shape_guess import ShapeGuess, suggest_shape_in
from app.errors import AppError, BadInput
from app.pages.diff.map_cells import state_table, table_of
from app.pages.diff.map_form import KINDS, MapFields, definition_of, fields_of_guess, flat
from app.pages.diff.map_view import MOST_CELLS
from app.pages.diff.words import sentence_of
from app.record import comparisons
from app.record.comparisons import ComparedImages

_WIDEST = 4096
_TRIED = 400
_SHOWN = 5


@dataclass(frozen=True, slots=True)
class Preview:
    """The numbers that the description gives, before and after; or why it gives none."""

    sentence: str
    problem: str
    before: dict[str, Any] | None
    after: dict[str, Any] | None


@dataclass(frozen=True, slots=True)
class PreviewPage:
    """The preview alone, for htmx."""

    preview: Preview


@dataclass(frozen=True, slots=True)
class NamePage:
    """The form. `hidden` are the fields that say which range of which comparison is named."""

    title: str
    hidden: tuple[tuple[str, str], ...]
    back: str
    layout: str
    new_layout: str
    guesses: tuple[tuple[str, str, bool], ...]
    categories: tuple[tuple[str, str], ...]
    kinds: tuple[tuple[str, str], ...]
    data_types: tuple[tuple[str, str], ...]
    values: dict[str, str]
    errors: dict[str, str]
    sentence: str
    preview: Preview


@dataclass(frozen=True, slots=True)
class NamedRange:
    """Which range of which comparison."""

    before: str
    after: str
    layout_id: int | None
    start: int
    end: int

    @property
    def fields(self) -> dict[str, str]:
        """As they stand in addresses and hidden fields."""
        layout = {} if self.layout_id is None else {"layout": str(self.layout_id)}
        return {"from": self.before, "to": self.after} | layout | {"start": f"{self.start:#x}", "end": f"{self.end:#x}"}


def name_page(
    session: Session,
    subject: NamedRange,
    *,
    guess: int = 0,
    typed: MapFields | None = None,
    error: AppError | None = None,
    new_layout: str = "",
) -> NamePage:
    """The form, filled from a guess or with what was typed."""
    if not 0 < subject.end - subject.start <= _WIDEST:
        raise BadInput(f"A range of 1 to {_WIDEST} bytes can be named at once.", field="end")
    compared = comparisons.of_nodes(session, subject.before, subject.after, layout_id=subject.layout_id)
    guesses = _free_guesses(compared, subject)
    chosen = min(guess, len(guesses) - 1)
    shown = typed if typed is not None else fields_of_guess(guesses[chosen])
    number = compared.after.unit.software_number
    return NamePage(
        title=f"Name 0x{subject.start:X}–0x{subject.end - 1:X}",
        hidden=tuple(subject.fields.items()),
        back="/compare?" + urlencode({k: v for k, v in subject.fields.items() if k not in ("start", "end")}),
        layout="" if compared.layout is None else f"{compared.layout.name} v{compared.layout.version}",
        new_layout=new_layout or (f"Software {number}" if number else ""),
        guesses=_guesses(guesses, subject, None if typed is not None else chosen),
        categories=tuple((one, one.capitalize()) for one in CATEGORIES),
        kinds=KINDS,
        data_types=tuple((one, one) for one in DATA_TYPES),
        values=flat(shown),
        errors={} if error is None else {error.field or "name": error.sentence},
        sentence="" if error is None else str(error),
        preview=preview_of(compared, shown),
    )


def _free_guesses(compared: ComparedImages, subject: NamedRange) -> tuple[ShapeGuess, ...]:
    """The best guesses that take no bytes of maps that have a name already; the best of all when each does."""
    before, after = compared.image_before, compared.image_after
    guesses = suggest_shape_in(before, after, subject.start, subject.end, most=_TRIED)
    if compared.definitions is None:
        return guesses[:_SHOWN]
    prints = footprints(after, compared.definitions)
    free = [guess for guess in guesses if not prints.rows(*zip(*_taken(guess), strict=True)).size]
    return tuple(free or guesses)[:_SHOWN]


def _taken(guess: ShapeGuess) -> list[tuple[int, int]]:
    """The bytes that a guess would give to the map."""
    axes = [axis for axis in (guess.x_axis, guess.y_axis) if axis is not None]
    ends = [(axis.address, axis.address + axis.count * storage(axis.data_type).itemsize) for axis in axes]
    return [(guess.address, guess.end), *ends]


def _guesses(
    guesses: tuple[ShapeGuess, ...], subject: NamedRange, chosen: int | None
) -> tuple[tuple[str, str, bool], ...]:
    return tuple(
        (guess.sentence, "/compare/name?" + urlencode(subject.fields | {"guess": place}), place == chosen)
        for place, guess in enumerate(guesses)
    )


def readable(compared: ComparedImages, typed: MapFields) -> tuple[MapDefinition, Layout]:
    """The described map, and a layout of it alone; BadInput when one of the images does not hold it."""
    base = 0 if compared.definitions is None else compared.definitions.address_base
    definition = definition_of(typed, address_base=base)
    layout = Layout("preview", maps=(definition,), address_base=base)
    check_layout(layout)
    for image in (compared.image_before, compared.image_after):
        for _, reason in undecodable(image, layout):
            raise BadInput(f"This cannot be read: {reason.rstrip('.')}.", field="address")
    return definition, layout


def preview_of(compared: ComparedImages, typed: MapFields) -> Preview:
    """What the description reads from both images; a name is not needed yet."""
    try:
        definition, layout = readable(compared, replace(typed, name=typed.name.strip() or "unnamed"))
    except AppError as error:
        return Preview("", str(error), None, None)
    found = compare(compared.image_before, compared.image_after, layout, checksums=False)
    (delta,) = found.deltas or (None,)
    if delta is None:
        cells = decode(compared.image_after, layout)[definition.name].raw.size
        return Preview(
            "1 cell, which did not change." if cells == 1 else f"{cells:,} cells, none of which changed.",
            "",
            None,
            None,
        )
    if max(delta.before.size, delta.after.size) > MOST_CELLS:
        return Preview(sentence_of(delta), "Too many cells to show.", None, None)
    grid = delta.grid
    if grid is None or delta.axis_changed:
        tables = state_table(delta, delta.state_before), state_table(delta, delta.state_after)
    else:
        tables = table_of(delta, grid, "before"), table_of(delta, grid, "after")
    return Preview(sentence_of(delta), "", *tables)
