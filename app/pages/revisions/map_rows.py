"""Changed maps of a revision as rows: from their kept figures, or as numbers for those entered by hand."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from app.calc.calibration.map_delta import MapDelta, in_a_word
from app.calc.number_text import with_unit
from app.pages.diff.address import quoted
from app.pages.diff.map_view import MapView, map_view
from app.pages.diff.words import number
from app.record import revisions
from app.record.tables import MapDelta as Row


@dataclass(frozen=True, slots=True)
class HandMap:
    """A map's change entered by hand: before, difference and after where they have numbers."""

    anchor: str
    view: MapView
    before: dict[str, Any] | None
    after: dict[str, Any] | None


def map_rows(session: Session, revision_id: int, analysis_id: int, compare: str | None) -> tuple[dict[str, Any], ...]:
    """Rows of the table of changed maps; each leads to its panel in the diff view against the parent."""
    return tuple(_row(one, revision_id, compare) for one in revisions.map_deltas(session, analysis_id))


def _row(row: Row, revision_id: int, compare: str | None) -> dict[str, Any]:
    summary = row.summary
    largest, decimals = summary["largest"], summary["decimals"]
    change: dict[str, Any] = {"text": in_a_word(summary["compared"], summary["changed"]), "sort": ""}
    percent: dict[str, Any] = {"text": "–", "sort": ""}
    place = ""
    if largest is not None:
        text = with_unit(number(largest["change"], decimals, sign=True), row.unit)
        change = {"text": text, "sort": abs(largest["change"])}
        if largest["percent"] is not None:
            percent = {"text": number(largest["percent"], 1, sign=True), "sort": largest["percent"]}
        place = ", ".join(with_unit(number(_read(a["value"]), a["decimals"]), a["unit"]) for a in largest["at"])
    cells = {"text": f"{summary['changed']} of {summary['cells']}", "sort": summary["changed"]}
    history = {"text": "cell by cell", "href": f"/revisions/{revision_id}/maps/{quoted(row.name)}"}
    return {
        "cells": (row.name, row.category, change, percent, place or "–", cells, history),
        "href": f"{compare}&map={quoted(row.name)}" if compare else None,
    }


def _read(value: float | str | None) -> float | None:
    """A number as the kept figures have it: an infinite one is text."""
    return None if value is None else float(value)


def hand_maps(deltas: Sequence[MapDelta]) -> tuple[HandMap, ...]:
    """The numbers themselves, since no image can show them."""
    return tuple(_hand_map(f"map-{place}", delta) for place, delta in enumerate(deltas, start=1))


def _hand_map(anchor: str, delta: MapDelta) -> HandMap:
    view = map_view(delta, "change")
    if delta.subject.entered_change is not None:  # nobody noted the values
        return HandMap(anchor, view, None, None)
    return HandMap(anchor, view, map_view(delta, "before").table, map_view(delta, "after").table)
