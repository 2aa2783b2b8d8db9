"""Revisions as JSON: log, read, changes with all numbers, image, decide, port."""

import json
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Form, Query, Request, status
from fastapi.responses import Response
from pydantic import BaseModel, Field
from sqlalchemy.orm import Session

from app.actions.decide_revision import decide_revision
from app.actions.enter_deltas import enter_deltas
from app.actions.log_by_hand import log_by_hand
from app.actions.log_revision import NewRevision, log_revision
from app.actions.port_revision import Wanted, port_revision
from app.api.model import ApiIn, ApiOut, Time
from app.api.revision_out import RevisionOut, revision_out
from app.calc.calibration.comparison import Comparison
from app.calc.calibration.delta_json import comparison_to_json
from app.calc.calibration.layout import CATEGORIES
from app.calc.calibration.manual_delta import comparison_by_hand, manual_delta
from app.calc.calibration.map_delta import DeltaAxis, MapDelta
from app.errors import BadInput
from app.readers.image_writer import WriteFormat, write_image
from app.record import analyses, images, noted, revisions, vehicles
from app.record.row_id import row_id
from app.record.tables import Revision, Stock
from app.web.download import attachment
from app.web.image_upload import read_image_upload
from app.web.now import Now
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload

router = APIRouter(tags=["calibration"])

Numbers = float | list[float] | list[list[float]]


class RevisionUpload(BaseModel):
    """Without a file the revision is one entered by hand; its changes follow with POST /revisions/{id}/deltas."""

    file: Upload = None
    title: str = ""
    purpose: str = ""
    parent_id: int | None = None
    layout_id: int | None = None
    fuel_requirement: str = ""
    hardware_requirement: str = ""


class AxisIn(ApiIn):
    name: str = ""
    unit: str = ""
    values: list[float]
    decimals: int = Field(2, ge=0, le=6)


class MapIn(ApiIn):
    """Either `before` and `after` or only `change`; one number, a row, or rows over y."""

    name: str
    category: str = "other"
    unit: str = ""
    decimals: int = Field(2, ge=0, le=6)
    x_axis: AxisIn | None = None
    y_axis: AxisIn | None = None
    before: Numbers | None = None
    after: Numbers | None = None
    change: Numbers | None = None


class DeltasIn(ApiIn):
    maps: list[MapIn] = Field(max_length=2000)


class DecisionIn(ApiIn):
    decision: str
    reason: str = ""
    legal_basis: str = ""
    limits_reason: str = ""


class DecisionOut(ApiOut):
    id: int
    revision_id: int
    decision: str
    reason: str
    legal_basis: str
    limits_reason: str
    digest: str | None
    at: Time


class PortIn(ApiIn):
    """target: the node whose image is changed, such as stock-3 or r12. maps: None takes every changed map."""

    target: str
    mode: str = "relative"
    since: str = "parent"
    maps: list[str] | None = Field(None, max_length=2000)
    title: str
    purpose: str
    fuel_requirement: str = ""
    hardware_requirement: str = ""


@router.post("/control-units/{unit_id:int}/revisions", status_code=status.HTTP_201_CREATED, max_body_size=UPLOAD_LIMIT)
def log(
    request: Request,
    unit_id: int,
    form: Annotated[RevisionUpload, Form(media_type="multipart/form-data")],
    session: Write,
    person: Tuner,
    now: Now,
) -> RevisionOut:
    """Log a revision from its image; what it changes is computed from the bytes and the layout."""
    new = NewRevision(
        form.title,
        form.purpose,
        form.parent_id,
        form.layout_id,
        form.fuel_requirement,
        form.hardware_requirement,
    )
    if form.file is None or not form.file.filename:
        row = log_by_hand(session, person=person, at=now, control_unit_id=unit_id, revision=new)
        return revision_out(session, row)
    file = read_image_upload(request, form.file, lambda reads: vehicles.control_unit(reads, unit_id))
    row = log_revision(
        session,
        person=person,
        at=now,
        control_unit_id=unit_id,
        revision=new,
        uploaded=file.data,
        file_name=file.label,
        read=file.read,
    )
    return revision_out(session, row)


@router.get("/revisions/{revision_id:int}")
def one(revision_id: int, session: Read, _person: Viewer) -> RevisionOut:
    """The revision with what it changes from its parent."""
    return revision_out(session, revisions.revision(session, revision_id))


@router.get(
    "/revisions/{revision_id:int}/deltas",
    responses={200: {"content": {"application/json": {"schema": {"type": "object"}}}}},
    response_class=Response,
)
def deltas(
    revision_id: int, session: Read, _person: Viewer, base: Annotated[str, Query(alias="from")] = "parent"
) -> Response:
    """Every changed map with all its numbers before and after, from stock, the parent or another revision's id.

    `not_known` says what nobody can say of a revision that was entered by hand; it is empty where there are images.
    """
    row = revisions.revision(session, revision_id)
    key, comparison, not_known = _compared(session, row, base)
    plain = comparison_to_json(comparison)
    whole = {
        "from": key,
        "to": f"r{row.id}",
        "sentence": plain["sentence"],
        "changed_bytes": plain["changed_bytes"],
        "explained_bytes": plain["explained_bytes"],
        "checksum_bytes": plain["checksum_bytes"],
        "unexplained_bytes": plain["unexplained_bytes"],
        "deltas": plain["deltas"],
        "unexplained_ranges": plain["unexplained"],
        "block_checksums": plain["checksums"],
        "unreadable": plain["unreadable"],
        "warnings": plain["warnings"],
        "not_known": list(not_known),
    }
    return Response(json.dumps(whole, allow_nan=False), media_type="application/json")


def _compared(session: Session, row: Revision, base: str) -> tuple[str, Comparison, tuple[str, ...]]:
    """The short name of what the revision is compared with, the comparison, and what of it is not known."""
    if row.kind == "by hand" and base == "parent":
        found = revisions.analysis(session, row.id)
        entered = [] if found is None else analyses.deltas_of(session, found.id)
        return _key(revisions.parent_of(session, row)), comparison_by_hand(entered), noted.NOT_KNOWN
    if base == "parent":
        key = _key(revisions.base_of(session, row))
    elif base == "stock":
        key = _key(revisions.stock_of(session, row))
    elif (chosen := row_id(base)) is not None:
        key = f"r{chosen}"
    else:
        raise BadInput("Compare from stock, parent, or the id of a revision.", field="from")
    compared = noted.of_any_nodes(session, key, f"r{row.id}")
    return key, compared.comparison, compared.not_known


def _key(node: Revision | Stock | None) -> str:
    if node is None:
        raise BadInput("There is nothing on record that this revision was made from.", field="from")
    return f"stock-{node.id}" if isinstance(node, Stock) else f"r{node.id}"


@router.get("/revisions/{revision_id:int}/image", response_class=Response)
def image(revision_id: int, session: Read, _person: Tuner, format: WriteFormat = "bin") -> Response:
    """The image as a file: raw binary, Intel HEX or S-record."""
    row = revisions.revision(session, revision_id)
    data = write_image(images.load(session, row), format)
    return attachment(data, f"revision-{row.number}-{(row.sha256 or '')[:12]}.{format}")


@router.post("/revisions/{revision_id:int}/deltas", status_code=status.HTTP_201_CREATED)
def enter(revision_id: int, body: DeltasIn, session: Write, person: Tuner, now: Now) -> RevisionOut:
    """Enter by hand what a revision without an image changes; a map entered again takes the earlier one's place."""
    entered = [_manual(one) for one in body.maps]
    enter_deltas(session, person=person, at=now, revision_id=revision_id, deltas=entered)
    return revision_out(session, revisions.revision(session, revision_id))


def _manual(one: MapIn) -> MapDelta:
    category = next((known for known in CATEGORIES if known == one.category), None)
    if category is None:
        raise BadInput(f"{one.category!r} is no category; choose one of {', '.join(CATEGORIES)}.", field="category")
    axes = [
        DeltaAxis(axis.name or which, axis.unit, np.array(axis.values, np.float64), axis.decimals)
        for which, axis in (("x", one.x_axis), ("y", one.y_axis))
        if axis is not None
    ]
    return manual_delta(
        one.name,
        before=one.before,
        after=one.after,
        change=one.change,
        unit=one.unit,
        category=category,
        axes=axes,
        decimals=one.decimals,
    )


@router.post("/revisions/{revision_id:int}/decision", status_code=status.HTTP_201_CREATED)
def decide(revision_id: int, body: DecisionIn, session: Write, person: Tuner, now: Now) -> DecisionOut:
    """Keep, release or withdraw; a release asks for the legal basis of use."""
    given: dict[str, Any] = body.model_dump()
    row = decide_revision(session, person=person, at=now, revision_id=revision_id, **given)
    return DecisionOut.model_validate(row)


@router.post("/revisions/{revision_id:int}/port", status_code=status.HTTP_201_CREATED)
def port(revision_id: int, body: PortIn, session: Write, person: Tuner, now: Now) -> RevisionOut:
    """Take the changes over to another image; the result is computed, not validated on a vehicle."""
    maps = None if body.maps is None else frozenset(body.maps)
    wanted = Wanted(revision_id, body.target, body.since, body.mode, maps)
    new = NewRevision(
        body.title,
        body.purpose,
        fuel_requirement=body.fuel_requirement,
        hardware_requirement=body.hardware_requirement,
    )
    return revision_out(session, port_revision(session, person=person, at=now, wanted=wanted, revision=new))
