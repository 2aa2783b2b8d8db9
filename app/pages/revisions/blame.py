"""Which revision last changed each cell of a map, and one cell in every revision of the tree."""

import math
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app.calc.calibration.blame import Blame, CellValue, blame, cell_history
from app.calc.calibration.layout import Layout
from app.calc.calibration.map_delta import DeltaAxis
from app.calc.number_text import unit_of, with_unit
from app.errors import NotFound
from app.pages.diff.address import quoted
from app.pages.diff.map_cells import axis_of, rows_of
from app.pages.diff.map_view import MOST_CELLS
from app.pages.diff.words import number
from app.pages.revisions.names import key_of, label_of, page_of_node
from app.record import layouts, lines, nodes, revisions, vehicles
from app.record.car_state import vehicle_label
from app.record.lines import Node
from app.record.tables import Revision
from app.web.page import render, render_fragment
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter()

START = "·"


@dataclass(frozen=True, slots=True)
class ChangedBy:
    """A node of the line and how many cells it changed last; `mark` is what stands in its cells."""

    mark: str
    label: str
    href: str
    cells: int


@dataclass(frozen=True, slots=True)
class CellPage:
    """One cell in every node of the tree."""

    place: str
    columns: tuple[dict[str, Any], ...]
    rows: tuple[dict[str, Any], ...]


@dataclass(frozen=True, slots=True)
class BlamePage:
    revision: tuple[str, str]
    vehicle: tuple[str, str]
    name: str
    layout: str
    address: str
    show: str
    table: dict[str, Any]
    changed_by: tuple[ChangedBy, ...]
    breakpoints: tuple[str, ...]
    point: tuple[int, int]
    size: tuple[int, int]
    cell: CellPage


@dataclass(frozen=True, slots=True)
class CellFragment:
    """The cell's history alone, for htmx."""

    cell: CellPage


@router.get("/revisions/{revision_id:int}/maps/{name:path}")
def show(
    request: Request,
    revision_id: int,
    name: str,
    session: Read,
    person: Viewer,
    show: str = "revisions",
    row: Annotated[int, Query(ge=1, le=MOST_CELLS)] = 1,
    column: Annotated[int, Query(ge=1, le=MOST_CELLS)] = 1,
) -> HTMLResponse:
    """The page; htmx asks for the history of another cell alone. Rows and columns count from 1."""
    revision = revisions.revision(session, revision_id)
    layout, words = _layout(session, revision, name)
    point = row - 1, column - 1
    if request.headers.get("hx-target") == "cell-history" and "hx-history-restore-request" not in request.headers:
        fragment = CellFragment(_cell(session, revision, layout, name, point))
        return render_fragment(request, "revisions/_cell.html", fragment, session=session, person=person)
    page = _page(session, revision, layout, words, name, show, point)
    return render(request, "revisions/blame.html", page, session=session, person=person, title=f"{name}, cell by cell")


def _layout(session: Session, revision: Revision, name: str) -> tuple[Layout, str]:
    row = nodes.layout(session, nodes.node(session, f"r{revision.id}"))
    found = layouts.definitions(session, row)
    if row is None or found is None or name not in found.positions:
        raise NotFound(f"No layout in use for this revision has a map “{name}”.")
    return found, f"{row.name} v{row.version}"


def _page(
    session: Session,
    revision: Revision,
    layout: Layout,
    words: str,
    name: str,
    show: str,
    point: tuple[int, int],
) -> BlamePage:
    unit = vehicles.control_unit(session, revision.control_unit_id)
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    line = lines.line_to(session, revision)
    found = blame(lines.images_of(session, line), layout, name)
    rows, columns = rows_of(found.table.physical).shape
    if rows * columns > MOST_CELLS:
        raise NotFound(f"The map “{name}” has {rows * columns:,} cells, too many for a page.")
    point = min(point[0], rows - 1), min(point[1], columns - 1)
    return BlamePage(
        revision=(label_of(revision), f"/revisions/{revision.id}"),
        vehicle=(vehicle_label(vehicle), f"/vehicles/{vehicle.id}"),
        name=name,
        layout=words,
        address=f"/revisions/{revision.id}/maps/{quoted(name)}",
        show=show if show == "values" else "revisions",
        table=_table(found, line, show),
        changed_by=_changed_by(found, line),
        breakpoints=_breakpoints(found, line),
        point=point,
        size=(rows, columns),
        cell=_cell(session, revision, layout, name, point),
    )


def _mark(line: list[Node], place: int) -> str:
    node = None if place < 0 else line[place]
    return str(node.number) if isinstance(node, Revision) else START


def _table(found: Blame, line: list[Node], show: str) -> dict[str, Any]:
    table = found.table
    values, places = rows_of(table.physical).tolist(), rows_of(found.cells.astype(float)).astype(int).tolist()
    texts = [
        [
            {
                "text": number(value, table.decimals) if show == "values" else _mark(line, place),
                "step": 0 if place < 0 else 1,
            }
            for value, place in zip(row, row_places, strict=True)
        ]
        for row, row_places in zip(values, places, strict=True)
    ]
    axes = [DeltaAxis(axis.name, axis.unit, axis.values, axis.decimals) for axis in table.axes]
    return {
        "x": axis_of(axes[0] if axes else None, len(texts[0])),
        "y": axis_of(axes[1] if len(axes) > 1 else None, len(texts)) if len(texts) > 1 else None,
        "rows": texts,
        "unit": (unit_of(table.unit) or "no unit") if show == "values" else "revision",
    }


def _changed_by(found: Blame, line: list[Node]) -> tuple[ChangedBy, ...]:
    counts = {place: int((found.cells == place).sum()) for place in range(-1, len(line))}
    start = ChangedBy(START, f"as in {label_of(line[0])}", page_of_node(line[0]), counts[-1])
    changed = [
        ChangedBy(_mark(line, place), label_of(node), page_of_node(node), counts[place])
        for place, node in enumerate(line)
        if counts[place]
    ]
    return (start, *changed)


def _breakpoints(found: Blame, line: list[Node]) -> tuple[str, ...]:
    """Sentences about breakpoints that moved on the way."""
    sentences = []
    for axis, places in zip(found.table.axes, found.axes, strict=True):
        for place in sorted({int(place) for place in places if place >= 0}):
            count = int((places == place).sum())
            points = "1 breakpoint" if count == 1 else f"{count} breakpoints"
            sentences.append(f"{points} of {axis.name or 'an axis'} last moved in {label_of(line[place])}.")
    return tuple(sentences)


def _cell(session: Session, revision: Revision, layout: Layout, name: str, point: tuple[int, int]) -> CellPage:
    tree = lines.tree_around(session, revision)
    by_key = {key_of(node): node for node, _ in tree}
    images = lines.images_of(session, [node for node, _ in tree])
    definition = layout.map(name)
    index = {0: (), 1: (point[1],), 2: point}[len(definition.shape)]
    history = cell_history(
        (
            (key_of(node), None if parent is None else key_of(parent), image)
            for (node, parent), image in zip(tree, images, strict=True)
        ),
        layout,
        name,
        index,
    )
    return CellPage(
        place=f"row {point[0] + 1}, column {point[1] + 1}" if index else "the value",
        columns=(
            {"text": "In"},
            {"text": "Value", "right": True},
            {"text": "Stored", "right": True},
            {"text": "Change"},
        ),
        rows=tuple(_history_row(one, by_key, definition.scaling.unit) for one in history),
    )


def _history_row(one: CellValue[str], by_key: dict[str, Node], unit: str) -> dict[str, Any]:
    node = by_key[one.key]
    value = one.text or ("–" if one.value is None else with_unit(f"{one.value:,.6g}".replace("-", "\u2212"), unit))
    parent = None if one.parent is None else by_key[one.parent]
    change = "not changed" if parent is not None else "the start"
    if one.changed and parent is not None:
        change = f"changed from {label_of(parent)}"
    return {
        "cells": (label_of(node), value, f"{one.raw:g}" if math.isfinite(one.raw) else number(one.raw, 0), change),
        "href": page_of_node(node),
        "muted": not one.changed,
    }
