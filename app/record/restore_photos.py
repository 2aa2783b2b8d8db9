"""Photos that a step of a restore rests on: of the parts as fitted, of the meter on the supply.

A photo proves nothing by itself: a person says what it shows, part by part or as a reading, and that is judged. The
photo is kept with what was said, and its digest is printed on the certificate.
"""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from app.errors import Conflict
from app.record import attachments, vehicles
from app.record.restore_evidence import Photo
from app.record.restore_judging import Bench, Judged


def with_photos(bench: Bench, judged: Judged, photos: Sequence[Photo]) -> Judged:
    """What was judged, resting on these photos as well.

    Raises Conflict for a photo that the car had before the case was opened.
    """
    if not photos:
        return judged
    restore = bench.case.restore
    digests = [hashlib.sha256(photo.data).hexdigest() for photo in photos]
    known = {row.sha256: row for row in vehicles.attachments(bench.session, restore.vehicle_id)}
    for photo, digest in zip(photos, digests, strict=True):
        if digest in known and known[digest].entry_seq < restore.entry_seq:
            raise Conflict(
                f"“{photo.name[:60]}” is on record from before this restore; take a new one now.", field="photos"
            )
    lines = tuple(f"photo kept: {photo.name}" for photo in photos)
    verdict = replace(judged.verdict, details=(*judged.verdict.details, *lines))
    given = judged.given | {"photos": digests}
    return Judged(verdict, given, _keeping(bench, judged, photos), judged.once)


def _keeping(bench: Bench, judged: Judged, photos: Sequence[Photo]) -> Callable[[], dict[str, Any]]:
    restore = bench.case.restore

    def keep() -> dict[str, Any]:
        kept = judged.keep()
        rows = [
            attachments.keep(
                bench.session,
                person=bench.person,
                at=bench.at,
                vehicle_id=restore.vehicle_id,
                uploaded=photo.data,
                file_name=photo.name,
                kind="photo",
                picture=photo.media_type,
                note=f"Restore {restore.number}: {bench.step.title}",
            )[0]
            for photo in photos
        ]
        named = [{"attachment_id": row.id, "name": row.file_name, "sha256": row.sha256} for row in rows]
        return kept | {"photos": named}

    return keep
