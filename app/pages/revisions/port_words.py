"""What became of each map of a port, in words."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app.calc.number_text import with_unit
from app.pages.diff.words import number

LOOKS = {"ported": "ok", "missing": "unknown", "refused": "attention"}
_NAMED = 4
_NOISE = 1e-9


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


@dataclass(frozen=True, slots=True)
class SharedWords:
    """Breakpoints that a port writes and that further maps are read at: in words, and the maps."""

    sentence: str
    maps: tuple[str, ...]


def shared_words(report: Mapping[str, Any]) -> tuple[SharedWords, ...]:
    """What a person decides about, from the plain values of a report; reports of old may not say."""
    return tuple(_shared(one) for one in report.get("shared_axes", ()))


def _shared(one: Mapping[str, Any]) -> SharedWords:
    maps = tuple(one["also_read_by"])
    others = "one further map is" if len(maps) == 1 else f"{len(maps)} further maps are"
    theirs = "Its values stay, so it gives" if len(maps) == 1 else "Their values stay, so they give"
    sentence = (
        f"The breakpoints of {one['axis'] or 'an axis'} are written for {_listed(one['written_for'])}, and {others} "
        f"read at them too. {theirs} other results than before wherever a breakpoint moved: decide whether that is "
        "wanted."
    )
    return SharedWords(sentence, maps)


def _listed(names: Sequence[str]) -> str:
    if len(names) > _NAMED:
        return f"{', '.join(names[:_NAMED])} and {len(names) - _NAMED} more"
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))


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
        largest = one["largest_base_difference"]
        size = "" if largest is None else f", by up to {with_unit(_size(largest), unit)}"
        found.append(
            f"{_cells(one['base_differs'], 'does', 'do')} not hold what the change started from in the target{size}."
        )
    if one["outside"]:
        found.append(
            f"{_cells(one['outside'], 'lies', 'lie')} beyond the source's breakpoints; its end value was used."
        )
    if one["unknown"]:
        found.append(f"{_cells(one['unknown'], 'is', 'are')} left alone: the change says nothing about them.")
    if (one["largest_rounding"] or 0.0) > _NOISE:
        found.append(f"Rounded by up to {with_unit(_size(one['largest_rounding']), unit)}.")
    if one["converted_from"]:
        found.append(f"Converted from {one['converted_from']} to {unit}.")
    if one["axes_written"]:
        found.append(f"Breakpoints written: {', '.join(one['axes_written'])}.")
    return " ".join(found) or "Nothing to decide about."


def _size(value: float) -> str:
    """A size that may be of any order, to about three digits."""
    if value >= 1:
        return number(value, max(0, 2 - math.floor(math.log10(value))))
    return number(value, 3 if value >= 0.01 else min(9, 1 - math.floor(math.log10(value))) if value else 0)


def _cells(count: int, one: str, many: str) -> str:
    return f"1 cell {one}" if count == 1 else f"{count} cells {many}"
