"""The manifest of a release package: everything that a person or a program must know before the image is written.

It holds no time of issue and no recipient: the same release in the same format gives the same bytes.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

SCHEMA = "revledger release package"
SCHEMA_VERSION = 1
MANIFEST_NAME, README_NAME, SUMS_NAME = "manifest.json", "README.txt", "SHA256SUMS"
CODING_NAME, FORM_NAME = "coding.json", "return-form.txt"


@dataclass(frozen=True, slots=True)
class CodingKept:
    """The coding snapshot that is to be written back: when it was read, and of what size."""

    occasion: str
    taken_at: str
    digest: str
    modules: int
    values: int


@dataclass(frozen=True, slots=True)
class PackageFacts:
    """What the record says about the release. `checksums` as `results_to_json` gives them; addresses in bytes."""

    workshop: str
    vin: str
    make: str
    model: str
    year: int | None
    hybrid: bool
    role: str
    hardware_number: str
    software_number: str
    calibration_ids: tuple[str, ...]
    revision_number: int
    title: str
    purpose: str
    released_by: str
    released_at: str
    legal_basis: str
    fuel_requirement: str
    hardware_requirement: str
    loses_coding: bool
    coding: CodingKept | None
    checksums: tuple[Mapping[str, Any], ...]
    supply_minimum_v: float


@dataclass(frozen=True, slots=True)
class ImageFile:
    """The image as the customer gets it: its file, and what its bytes are apart from any format."""

    name: str
    format: str
    file_sha256: str
    size_bytes: int
    sha256: str
    crc32: int
    spans: tuple[tuple[int, int], ...]


def cautions(facts: PackageFacts) -> tuple[str, ...]:
    """Short and neutral; local codes and licensed practice decide."""
    said = [
        "Write it only to the vehicle and control unit named here.",
        f"Keep the supply above {facts.supply_minimum_v:g} V for the whole write and do not interrupt it: a broken "
        "write, a wrong image or a failed checksum can leave a control unit dead.",
        "Lean mixture, knock, exhaust temperature and boost beyond the hardware's limits destroy engines: meet the "
        "requirements first, and stop at the first sign.",
        "Changing emission-relevant calibration is prohibited on public roads in many places; local law and the "
        "terms of insurance decide. The legal basis of use stated here is the customer's to keep.",
    ]
    if facts.loses_coding:
        said.insert(
            2,
            "This vehicle loses its option coding when flashed: write the coding back and verify it before the "
            "engine is first started.",
        )
    if facts.hybrid:
        said.append(
            "High-voltage work only by people licensed for it, isolated per the manufacturer's procedure; local "
            "rules apply."
        )
    return tuple(said)


def send_back(facts: PackageFacts) -> tuple[tuple[str, str], ...]:
    """(what, why) of everything that the workshop asks for."""
    wanted = [
        ("the filled-in return form", "when and how it was written, at which supply voltage"),
        ("a read-back of the control unit", "compared byte by byte with the image of this package"),
    ]
    if facts.loses_coding:
        wanted.append(("the option coding of every module, read again", "compared key by key with what was kept"))
    wanted.append(("a scan of the fault codes of every module", "after the first drive"))
    wanted.append(("logs of the first full-load pulls", "lambda, knock, boost and temperatures against the limits"))
    return tuple(wanted)


def manifest(facts: PackageFacts, image: ImageFile) -> bytes:
    """The manifest as UTF-8 JSON, keys sorted, ended by a line feed."""
    content = {
        "schema": SCHEMA,
        "schema_version": SCHEMA_VERSION,
        "workshop": facts.workshop,
        "vehicle": {"vin": facts.vin, "make": facts.make, "model": facts.model, "year": facts.year},
        "control_unit": {
            "role": facts.role,
            "hardware_number": facts.hardware_number,
            "software_number": facts.software_number,
            "calibration_ids": list(facts.calibration_ids),
        },
        "revision": {
            "number": facts.revision_number,
            "title": facts.title,
            "purpose": facts.purpose,
            "released_by": facts.released_by,
            "released_at": facts.released_at,
            "legal_basis": facts.legal_basis,
        },
        "image": _image(image),
        "block_checksums": [dict(one) for one in facts.checksums],
        "requirements": {"fuel": facts.fuel_requirement, "hardware": facts.hardware_requirement},
        "coding": {"lost_when_flashed": facts.loses_coding, "file": None, "snapshot": None}
        if facts.coding is None
        else {"lost_when_flashed": facts.loses_coding, "file": CODING_NAME, "snapshot": _coding(facts.coding)},
        "cautions": list(cautions(facts)),
        "send_back": [{"what": what, "why": why} for what, why in send_back(facts)],
    }
    return (json.dumps(content, indent=2, sort_keys=True, ensure_ascii=False) + "\n").encode()


def _image(image: ImageFile) -> dict[str, Any]:
    return {
        "file": image.name,
        "format": image.format,
        "file_sha256": image.file_sha256,
        "size_bytes": image.size_bytes,
        "sha256": image.sha256,
        "crc32": f"{image.crc32:08X}",
        "spans": [{"address": f"0x{start:X}", "length_bytes": length} for start, length in image.spans],
    }


def _coding(kept: CodingKept) -> dict[str, Any]:
    return {
        "occasion": kept.occasion,
        "taken_at": kept.taken_at,
        "digest": kept.digest,
        "modules": kept.modules,
        "values": kept.values,
    }


def coding_json(modules: Mapping[str, Mapping[str, str]]) -> bytes:
    """The coding to be written back, modules → keys → values, as `read_coding` takes it."""
    return (json.dumps({"modules": modules}, indent=2, sort_keys=True, ensure_ascii=False) + "\n").encode()


def checksum_sentence(checksums: Sequence[Mapping[str, Any]]) -> str:
    """How many block checksums hold, in words."""
    if not checksums:
        return "Not known: no layout describes this software."
    held = sum(one["state"] == "holds" for one in checksums)
    open_ones = len(checksums) - held
    return f"{held} hold" + (f", {open_ones} could not be computed." if open_ones else ".")
