"""What the diff view shows, built from a comparison."""

from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy.orm import Session

from app.calc.calibration.checksum import ChecksumResult
from app.calc.calibration.comparison import Comparison
from app.calc.calibration.map_delta import MapDelta
from app.pages.diff.address import SORTS, Address, quoted
from app.pages.diff.byte_view import RANGES, RangeView, range_views
from app.pages.diff.map_list import ListGroup, chosen, counts, groups
from app.pages.diff.map_view import SHOWS, MapView, map_view
from app.record import layouts, nodes
from app.record.comparisons import Compared
from app.record.nodes import Node
from app.record.tables import Person, Revision

LOOKS = {"holds": "ok", "does not hold": "danger", "not known": "unknown"}


@dataclass(frozen=True, slots=True)
class NodeView:
    """One side of the comparison."""

    key: str
    label: str
    vehicle: str
    vehicle_href: str
    href: str
    digest: str
    ported: bool


@dataclass(frozen=True, slots=True)
class PanelView:
    """The selected map with its switch and its neighbours in the list."""

    view: MapView
    shows: tuple[tuple[str, str, bool], ...]
    position: str
    previous: tuple[str, str] | None
    following: tuple[str, str] | None
    layout_href: str


@dataclass(frozen=True, slots=True)
class PanelPage:
    """The panel alone, for htmx."""

    panel: PanelView | None
    missing: str
    title: str


@dataclass(frozen=True, slots=True)
class ComparePage:
    """The whole diff view."""

    before: NodeView
    after: NodeView
    sentence: str
    swap_href: str | None
    choices: tuple[tuple[str, str], ...]
    layout: tuple[str, str] | None
    layout_choices: tuple[tuple[str, str], ...]
    address: Address
    checksums: tuple[dict[str, Any], ...]
    warnings: tuple[str, ...]
    accounts: tuple[tuple[str, str], ...]
    categories: tuple[tuple[str, str, bool, int], ...]
    sorts: tuple[tuple[str, str, bool], ...]
    groups: tuple[ListGroup, ...]
    total: int
    listed: int
    panel: PanelView | None
    missing: str
    ranges: tuple[RangeView, ...]
    range_count: int
    earlier_ranges: str | None
    later_ranges: str | None
    unreadable: tuple[tuple[str, str], ...]
    downloads: tuple[tuple[str, str], ...]
    compare_again: tuple[str, str] | None
    not_known: tuple[str, ...]


def panel_page(compared: Compared, address: Address) -> PanelPage:
    """The panel of `address.map`, or of the first map of the list."""
    listed = chosen(compared.comparison.deltas, address)
    panel = _panel(compared, address, listed)
    name = compared.after.label if panel is None else panel.view.name
    return PanelPage(panel, _missing(compared.comparison, address), name)


def compare_page(session: Session, compared: Compared, address: Address, person: Person) -> ComparePage:
    """Everything on the page."""
    comparison = compared.comparison
    listed = chosen(comparison.deltas, address)
    panel = _panel(compared, address, listed)
    first, last = address.ranges, address.ranges + RANGES
    two_cars = compared.before.unit.vehicle_id != compared.after.unit.vehicle_id
    return ComparePage(
        before=_node_view(compared.before, two_cars),
        after=_node_view(compared.after, two_cars),
        sentence="No change is known." if compared.not_known and not comparison.deltas else comparison.sentence,
        swap_href=None
        if compared.not_known
        else address.href(before=address.after, after=address.before, map=address.map),
        choices=_choices(session, compared),
        layout=None if compared.layout is None else (_layout_name(compared), f"/layouts/{compared.layout.id}"),
        layout_choices=_layout_choices(session, compared),
        address=address,
        checksums=tuple(
            _checksum(after, before)
            for after, before in zip(comparison.checksums, comparison.checksums_before, strict=True)
        ),
        warnings=comparison.warnings,
        accounts=_accounts(comparison),
        categories=_categories(comparison, address),
        sorts=tuple((text, address.href(sort=key), key == (address.sort or "order")) for key, text in SORTS),
        groups=groups(listed, address, "" if panel is None else panel.view.name),
        total=len(comparison.deltas),
        listed=len(listed),
        panel=panel,
        missing=_missing(comparison, address),
        ranges=range_views(comparison.unexplained[first:last], _name_prefix(address, person)),
        range_count=len(comparison.unexplained),
        earlier_ranges=address.href(ranges=max(0, first - RANGES)) + "#unexplained" if first else None,
        later_ranges=address.href(ranges=last) + "#unexplained" if last < len(comparison.unexplained) else None,
        unreadable=comparison.unreadable,
        downloads=tuple(
            (text, f"/compare/deltas.{ending}?{address.subject_query()}")
            for text, ending in (("CSV", "csv"), ("JSON", "json"))
        ),
        compare_again=_compare_again(session, compared, person),
        not_known=compared.not_known,
    )


def _node_view(one: Node, two_cars: bool) -> NodeView:
    revision = isinstance(one.row, Revision)
    return NodeView(
        key=one.key,
        label=f"{one.label} of {one.vehicle}" if two_cars else one.label,
        vehicle=one.vehicle,
        vehicle_href=f"/vehicles/{one.unit.vehicle_id}",
        href=f"/revisions/{one.row.id}" if revision else f"/control-units/{one.unit.id}#stock",
        digest=one.row.sha256 or "",
        ported=isinstance(one.row, Revision) and one.row.kind == "ported",
    )


def _choices(session: Session, compared: Compared) -> tuple[tuple[str, str], ...]:
    """Everything that either side can be changed to: the nodes of both units, those without image too."""
    units = {compared.before.unit.id: compared.before, compared.after.unit.id: compared.after}
    found = []
    for unit_id, node in units.items():
        suffix = "" if len(units) == 1 else f" · {node.vehicle}"
        found += [(key, label + suffix) for key, label in nodes.of_unit(session, unit_id, by_hand=True)]
    return tuple(found)


def _layout_name(compared: Compared) -> str:
    return "" if compared.layout is None else f"{compared.layout.name} v{compared.layout.version}"


def _layout_choices(session: Session, compared: Compared) -> tuple[tuple[str, str], ...]:
    """Versions of the layout in use, and layouts for the software of either unit."""
    found = {} if compared.layout is None else {r.id: r for r in layouts.versions(session, compared.layout.name)}
    for one in (compared.before, compared.after):
        matching = layouts.matching(session, software_number=one.unit.software_number, sha256=one.row.sha256)
        found |= {row.id: row for row in matching}
    return tuple((str(row.id), f"{row.name} v{row.version}") for row in found.values())


def _checksum(after: ChecksumResult, before: ChecksumResult) -> dict[str, Any]:
    """A row of the table of block checksums: state before and after, what is stored and what the bytes give."""

    def value(result: ChecksumResult, which: int | None) -> str:
        return "–" if which is None else f"{which:0{result.digits}X}"

    return {
        "cells": (
            {"text": after.name, "note": after.reason or before.reason},
            after.definition.algorithm,
            {"text": before.state, "state": LOOKS[before.state]},
            {"text": after.state, "state": LOOKS[after.state]},
            value(after, after.stored),
            value(after, after.computed),
        ),
        "state": "danger" if after.state == "does not hold" else None,
    }


def _accounts(comparison: Comparison) -> tuple[tuple[str, str], ...]:
    """Where every changed byte went; the three parts add up to the whole."""
    return (
        ("Changed bytes", f"{comparison.changed_bytes:,}"),
        ("In named maps and axes", f"{comparison.explained_bytes:,}"),
        ("In block checksums", f"{comparison.checksum_bytes:,}"),
        ("Unexplained", f"{comparison.unexplained_bytes:,}"),
    )


def _categories(comparison: Comparison, address: Address) -> tuple[tuple[str, str, bool, int], ...]:
    found = counts(comparison.deltas)
    items = [("All", address.href(category=""), not address.category, len(comparison.deltas))]
    items += [
        (category.capitalize(), address.href(category=category), category == address.category, count)
        for category, count in found.items()
    ]
    return tuple(items)


def _missing(comparison: Comparison, address: Address) -> str:
    """Why the map asked for is not shown."""
    if not address.map or comparison.delta(address.map) is not None:
        return ""
    return f"The map “{address.map}” did not change between these two."


def _panel(compared: Compared, address: Address, listed: list[MapDelta]) -> PanelView | None:
    delta = compared.comparison.delta(address.map) if address.map else next(iter(listed), None)
    if delta is None:
        return None
    names = [one.name for one in listed]
    at = names.index(delta.name) if delta.name in names else None
    show = address.show if address.show in dict(SHOWS) else "change"
    here = replace(address, map=delta.name)
    return PanelView(
        view=map_view(delta, show, address.point if delta.name == address.map else None),
        shows=tuple((text, here.href(show=key), key == show) for key, text in SHOWS),
        position="not in the list as filtered" if at is None else f"{at + 1} of {len(names)}",
        previous=None if at is None or at == 0 else (names[at - 1], here.href(map=names[at - 1])),
        following=None if at is None or at + 1 == len(names) else (names[at + 1], here.href(map=names[at + 1])),
        layout_href="" if compared.layout is None else f"/layouts/{compared.layout.id}?q={quoted(delta.name)}",
    )


def _compare_again(session: Session, compared: Compared, person: Person) -> tuple[str, str] | None:
    """Sentence and address, where revisions were compared with an earlier version of the layout in use here."""
    if compared.layout is None or person.role not in ("tuner", "manager"):
        return None
    count = len(layouts.outdated(session, compared.layout))
    if not count:
        return None
    name = f"{compared.layout.name} v{compared.layout.version}"
    which = "One revision was" if count == 1 else f"{count} revisions were"
    return f"{which} compared before {name} was on record.", f"/layouts/{compared.layout.id}/recompute"


def _name_prefix(address: Address, person: Person) -> str | None:
    if person.role not in ("tuner", "manager"):
        return None
    return f"/compare/name?{address.subject_query()}"
