"""What became of each map of a port, in words."""

from collections.abc import Mapping
from typing import Any

from app.pages.diff.words import number, with_unit

LOOKS = {"ported": "ok", "missing": "unknown", "refused": "attention"}


def port_rows(maps: tuple[Mapping[str, Any], ...]) -> tuple[dict[str, Any], ...]:
    """Rows of the report from its plain values: map, outcome, what was found."""
    return tuple(
        {
            "cells": (
                one["name"],
                {"text": one["outcome"], "state": _look(one)},
                {"text": one["written"], "sort": one["written"]},
                finding(one),
            ),
        }
        for one in maps
    )


def _look(one: Mapping[str, Any]) -> str:
    questionable = one["saturated"] or one["base_differs"] or one["outside"] or one["unknown"]
    return "attention" if one["outcome"] == "ported" and questionable else LOOKS[one["outcome"]]


def finding(one: Mapping[str, Any]) -> str:
    """Everything that a person should decide about, as sentences."""
    if one["outcome"] != "ported":
        return str(one["reason"])
    unit = one["unit"]
    found = []
    if not one["written"]:
        found.append("The target has these values already.")
    if one["saturated"]:
        found.append(f"{_cells(one['saturated'], 'is', 'are')} held at the limit of what can be stored.")
    if one["base_differs"]:
        size = with_unit(number(one["largest_base_difference"], 3), unit)
        found.append(
            f"{_cells(one['base_differs'], 'does', 'do')} not hold what the change started from in the target, "
            f"by up to {size}."
        )
    if one["outside"]:
        found.append(
            f"{_cells(one['outside'], 'lies', 'lie')} beyond the source's breakpoints; its end value was used."
        )
    if one["unknown"]:
        found.append(f"{_cells(one['unknown'], 'is', 'are')} left alone: the change says nothing about them.")
    if one["largest_rounding"]:
        found.append(f"Rounded by up to {with_unit(number(one['largest_rounding'], 4), unit)}.")
    if one["converted_from"]:
        found.append(f"Converted from {one['converted_from']} to {unit}.")
    if one["axes_written"]:
        found.append(f"Breakpoints written: {', '.join(one['axes_written'])}.")
    return " ".join(found) or "Nothing to decide about."


def _cells(count: int, one: str, many: str) -> str:
    return f"1 cell {one}" if count == 1 else f"{count} cells {many}"
