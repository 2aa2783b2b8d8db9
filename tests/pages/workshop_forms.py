"""One good sending of every form of the pages, in an order in which each is accepted on a record with a tuned car."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from tests.restore_car import CODING, PARTS, PASSWORD, STOCK, TUNED, pull_file
from tests.shop import LAYOUT, vin

File = tuple[str, tuple[str, bytes]]
WHY = "The customer asked for it in writing."
YES = {"reason": WHY, "confirmed": "yes"}


@dataclass(frozen=True)
class Sent:
    """A sending that is accepted: the route, the ids in its address, its fields and files."""

    path: str
    fields: dict[str, Any] = field(default_factory=dict)
    files: tuple[File, ...] = ()
    ids: dict[str, Any] = field(default_factory=dict)
    # Steps of one route that take different fields.
    part: str = ""

    @property
    def name(self) -> str:
        return f"{self.path} {self.part}".strip()


def file(content: bytes, name: str, at: str = "file") -> tuple[File, ...]:
    return ((at, (name, content)),)


def _log(head: str, rows: int, speed: Callable[[float], float]) -> bytes:
    return "\n".join([head, *(f"{n * 0.05:.2f};{speed(n * 0.05):.4f}" for n in range(rows))]).encode()


def _edited(data: bytes, *offsets: int) -> bytes:
    edited = bytearray(data)
    for offset in offsets:
        edited[offset] ^= 0x21
    return bytes(edited)


ROLLERS = {
    "inertia": "2500", "inertia_unit": "kg", "radius": "0.32", "a": "120", "b": "0.5", "c": "0.03", "window": "0.5",
    "ratio": "4.1",
    "tyre": "0.31",
}  # fmt: skip
# Constant power spins the roller up; a constant drag and one with the square of the speed slow it down.
ROLLER_LOG = _log("Time [s];Roller speed [1/min]", 300, lambda t: 30 / math.pi * math.sqrt(80**2 + 3333 * t))
COAST_LOG = _log("Time [s];Road speed [km/h]", 500, lambda t: 3.6 * 155 * math.tan(math.atan(45 / 155) - t * 0.0047))
SCAN = {"hardware_number": "HW-2204", "software_number": "SW-77A", "calibration_ids": "TK36N5507C", "cvns": "0A94D17E"}
CAR = {
    "vin": vin(7), "plate": "AB 12 CD", "make": "Velmora", "model": "Sirrus", "year": "2021", "fuel": "petrol",
    "rated_power": "180", "rated_torque": "320", "test_mass": "1560.5", "gear_ratios": "3.6 2.1 1.4",
    "final_drive": "4.1", "tyre_radius": "0.32", "customer_name": "B. Croy", "customer_contact": "b@example.org",
    "odometer": "40000", "visit_reason": "Service",
}  # fmt: skip
STRIP = {
    "et_60ft_s": "2.0", "et_330ft_s": "5.6", "et_660ft_s": "8.6", "trap_660ft_kmh": "130", "et_1000ft_s": "11.2",
    "et_1320ft_s": "13.4", "trap_1320ft_kmh": "168", "place": "Old runway", "how": "light beams",
    "run_at": "2026-05-02T10:00",
}  # fmt: skip

SENT: tuple[Sent, ...] = (
    # people and settings
    Sent("/sign-in", {"name": "manager", "password": PASSWORD, "next": "/"}),
    Sent("/people", {"name": "Nia Holt", "role": "tuner", "password": "a long enough pass phrase"}),
    Sent("/people/{person_id:int}", {"role": "manager", "active": "yes", "password": ""}, ids={"person_id": 1}),
    Sent("/people/tokens", {"person_id": "2", "label": "bench"}),
    Sent("/people/tokens/{token_id:int}/revoke"),
    Sent("/theme", {"theme": "dark"}),
    Sent("/settings/preferences", {"theme": "light", "power": "hp"}),
    Sent(
        "/settings/shop",
        {
            "name": "North yard",
            "time_zone": "UTC",
            "supply_minimum_v": "12.5",
            "supply_maximum_v": "15",
            "equivalence_margin_percent": "3",
            "alike_tyre_pressure_bar": "0.2",
            "alike_pressure_hpa": "20",
            "alike_temperature_c": "8",
            "alike_relative_humidity_percent": "20",
            "alike_start_intake_c": "10",
            "alike_start_coolant_c": "10",
            "alike_battery_soc_percent": "15",
        },
    ),
    Sent("/settings/warnings", {"at_raw_limit": "yes", "fuel.percent": "5"}),
    # cars
    Sent("/vehicles", CAR),
    Sent(
        "/vehicles/{vehicle_id:int}/edit",
        {
            "make": "Tarkess",
            "model": "Lanner",
            "vin": "30KLN3C62NB004518",
            "plate": "EB 19 LNR",
            "reason": WHY,
            "seen_at": "2026-03-02T08:00:00+00:00",
        },
    ),
    Sent("/vehicles/{vehicle_id:int}/customer", {"customer_name": "C. Lund", "customer_contact": "+1 22"}),
    Sent("/vehicles/{vehicle_id:int}/leave", ids={"vehicle_id": 2}),
    Sent("/vehicles/{vehicle_id:int}/reopen", ids={"vehicle_id": 2}),
    Sent("/vehicles/{vehicle_id:int}/leave", ids={"vehicle_id": 2}, part="again"),
    Sent("/vehicles/{vehicle_id:int}/visits", {"reason": "Knocks", "odometer": "42000"}, ids={"vehicle_id": 2}),
    Sent("/vehicles/{vehicle_id:int}/pin"),
    Sent("/vehicles/{vehicle_id:int}/control-units", {**SCAN, "role": "transmission", "base_address": "0x8000"}),
    Sent(
        "/vehicles/{vehicle_id:int}/files",
        {"kind": "authorisation", "note": "Signed"},
        file(b"%PDF signed", "signed.pdf"),
    ),
    Sent("/attachments/{attachment_id:int}/withdraw", {"reason": WHY}),
    Sent("/attachments/{attachment_id:int}/restore"),
    Sent("/customers/{customer_id:int}/erase", {"confirmed": "yes"}),
    Sent(
        "/revisions/{revision_id:int}/decision",
        {"decision": "released", "reason": WHY, "confirmed": "yes", "legal_basis": "off-road use only"},
    ),
    Sent("/revisions/{revision_id:int}/packages", {"format": "bin", "coding_snapshot_id": "1", "note": "By post"}),
    Sent(
        "/release-packages/{package_id:int}/returns",
        {"outcome": "completed", "flashed_at": "2026-05-02T10:00", "supply_before": "13.6", "supply_lowest": "13.4"},
        file(TUNED, "back.bin", "read_back"),
    ),
    # layouts
    Sent(
        "/layouts",
        {"name": "Engine", "software_number": "SW-77A"},
        file(LAYOUT.replace(b"0x", b"0x8"), "layout.csv"),
    ),
    Sent("/layouts/{layout_id:int}/categories", {"map": "boost target", "category": "torque"}),
    Sent(
        "/layouts/{layout_id:int}/checksums",
        {
            "name": "second",
            "algorithm": "SUM-16/8-BIT",
            "ranges": "0x8200-0x827F",
            "stored_at": "0x8280",
            "byte_order": "big",
        },
        ids={"layout_id": 2},
    ),
    Sent(
        "/layouts/{layout_id:int}/volatile-ranges",
        {"range": "0x8F00-0x8F0F", "reason": "learned values"},
        ids={"layout_id": 3},
    ),
    Sent("/revisions/{revision_id:int}/recompute", {"layout_id": "1"}),
    Sent("/layouts/{layout_id:int}/recompute", {"revision": ["1"]}, ids={"layout_id": 4}),
    Sent(
        "/compare/name",
        {
            "from": "stock-1",
            "to": "r1",
            "layout": "4",
            "start": "0x8400",
            "end": "0x843F",
            "name": "added",
            "category": "torque",
            "kind": "map",
            "address": "0x8400",
            "data_type": "uint16",
            "byte_order": "big",
            "columns": "4",
            "rows": "2",
            "factor": "0.1",
            "offset": "0",
            "unit": "Nm",
            "x_values": "1000 2000 3000 4000",
            "y_values": "20 80",
        },
    ),
    # calibration
    Sent("/control-units/{unit_id:int}/stock-reads", {}, file(STOCK, "box.bin"), {"unit_id": 2}),
    Sent(
        "/control-units/{unit_id:int}/revisions",
        {"parent_id": "1", "title": "Two", "purpose": "More", "hardware_requirement": PARTS},
        file(_edited(TUNED, 0x500), "r2.bin"),
    ),
    Sent(
        "/control-units/{unit_id:int}/revisions",
        {"no_image": "yes", "parent_id": "1", "title": "Deltas", "purpose": "No file"},
        part="without image",
    ),
    Sent(
        "/revisions/{revision_id:int}/deltas",
        {
            "name": "torque",
            "category": "torque",
            "unit": "Nm",
            "x_name": "speed",
            "x_unit": "1/min",
            "x": "1000 2000",
            "y_name": "load",
            "y_unit": "%",
            "y": "10",
            "before": "1 2",
            "after": "2 3",
        },
        ids={"revision_id": 3},
    ),
    Sent(
        "/revisions/{revision_id:int}/deltas/table",
        {"csv": "map;x;y;before;after\nboost;1000;10;1;2\n"},
        ids={"revision_id": 3},
    ),
    Sent("/revisions/{revision_id:int}/recompute", {"layout_id": "5"}, part="with the map named above"),
    Sent(
        "/revisions/{revision_id:int}/port",
        {"target": "stock-1", "mode": "relative", "map": ["added"], "title": "Ported", "purpose": "Same"},
    ),
    Sent(
        "/control-units/{unit_id:int}/flashes",
        {"what": "stock", "supply_before_v": "13.6", "supply_lowest_v": "13.4", "outcome": "completed"},
    ),
    Sent("/flashes/{flash_id:int}/read-back", {}, file(STOCK, "back.bin"), {"flash_id": 3}),
    Sent(
        "/flashes/{flash_id:int}/coding-write-back",
        {"wanted_snapshot_id": "1", "text": CODING.decode()},
        ids={"flash_id": 3},
    ),
    Sent("/flashes/{flash_id:int}/first-start", {"note": "Runs"}, ids={"flash_id": 3}),
    Sent(
        "/control-units/{unit_id:int}/flashes",
        {"what": "stock", "supply_before_v": "13.6", "supply_lowest_v": "13.4", "outcome": "completed"},
        part="again",
    ),
    Sent("/flashes/{flash_id:int}/waive-coding", YES, ids={"flash_id": 4}),
    Sent("/vehicles/{vehicle_id:int}/coding", {"text": CODING.decode(), "occasion": "as found"}),
    Sent("/vehicles/{vehicle_id:int}/fault-scans", {"text": "P0171 lean confirmed", "occasion": "as found"}),
    # dyno
    Sent("/dynos", {"name": "North cell", "note": "Two rollers"}),
    Sent("/dynos/{dyno_id:int}/sample", {}, file(pull_file(1.0), "pull.csv")),
    Sent("/dynos/{dyno_id:int}/columns", {"header": ["Lambda (-)"], "choice": ["ignore"]}),
    Sent(
        "/vehicles/{vehicle_id:int}/dyno-sessions",
        {
            "dyno_id": "1",
            "purpose": "measurement",
            "pressure": "1005",
            "temperature": "22",
            "relative_humidity": "40",
            "gear": "4",
            "tyre_pressure": "2.4",
        },
    ),
    Sent(
        "/dyno-sessions/{session_id:int}/runs",
        {"start_coolant": "85", "start_intake": "25", "battery_soc": "60"},
        file(pull_file(1.01), "p.csv", "files"),
        {"session_id": 2},
    ),
    Sent(
        "/dyno-sessions/{session_id:int}/attribution",
        {"control_unit_id": "1", "revision": "1", "reason": WHY},
        ids={"session_id": 2},
    ),
    Sent("/runs/{run_id:int}/decision", {"included": "no", "reason": WHY}),
    Sent("/inbox", {}, file(pull_file(1.02), "late.csv", "files")),
    Sent("/inbox/{item_id:int}/take", {"session_id": "2"}),
    Sent("/inbox/{item_id:int}/put-back"),
    Sent("/dynos/{dyno_id:int}/rollers", ROLLERS),
    Sent("/dynos/{dyno_id:int}/rollers/power", ROLLERS, file(ROLLER_LOG, "log.csv")),
    Sent("/dynos/{dyno_id:int}/rollers/power.csv", ROLLERS, file(ROLLER_LOG, "log.csv")),
    Sent("/dynos/{dyno_id:int}/rollers/pulls", {**ROLLERS, "session_id": "2"}, file(ROLLER_LOG, "log.csv")),
    Sent("/dynos/{dyno_id:int}/rollers/coast", ROLLERS, file(COAST_LOG, "coast.csv", "coast")),
    Sent(
        "/vehicles/{vehicle_id:int}/limits",
        {
            "channel": "exhaust_temperature_c",
            "bound": "max",
            "value": "950",
            "severity": "stop",
            "speed_lo": "2000",
            "speed_hi": "6000",
            "note": WHY,
        },
    ),
    Sent("/limits/{limit_id:int}/withdraw", YES),
    Sent("/limits/{limit_id:int}/reinstate"),
    Sent("/vehicles/{vehicle_id:int}/strip-runs", STRIP),
    Sent("/strip-runs/{run_id:int}/attribution", {"control_unit_id": "1", "revision": "1", "reason": WHY}),
    Sent(
        "/vehicles/{vehicle_id:int}/economy-trials",
        {"distance": "120", "fuel": "9.1", "conditions": "Motorway", "driven_at": "2026-05-02T10:00"},
    ),
    Sent("/economy-trials/{trial_id:int}/attribution", {"control_unit_id": "1", "revision": "1", "reason": WHY}),
    # restore to stock
    Sent(
        "/vehicles/{vehicle_id:int}/restores",
        {
            "reason": "The owner sells the car",
            "unit_ids": ["1"],
            "coding_snapshot_id": "1",
            "baseline_session_id": "1",
            "margin_percent": "3",
        },
    ),
    *(
        Sent("/restores/{restore_id:int}/steps/{key}", fields, files, {"key": key}, key)
        for key, fields, files in (
            ("identify.1", SCAN, ()),
            ("secure_stock.1", {}, ()),
            ("supply", {"lowest_v": "13.2", "highest_v": "13.8"}, ()),
            ("flash.1", {"outcome": "completed", "supply_before_v": "13.6", "supply_lowest_v": "13.4"}, ()),
            ("read_back.1", {}, file(STOCK, "read-back.bin")),
            ("write_coding", {"outcome": "completed", "note": "All modules"}, ()),
            ("compare_coding", {"text": CODING.decode()}, ()),
            (
                "parts",
                {"part_name": ["Air filter"], "part_state": ["stock"], "part_note": ["Paper element"]},
                (),
            ),
            ("faults", {"text": "No faults stored.\n"}, ()),
            ("readiness", {"readiness_name": ["engine"], "readiness_bytes": ["0007E500"]}, ()),
        )
    ),
    Sent("/restores/{restore_id:int}/steps/{key}/override", {**YES, "password": PASSWORD}, ids={"key": "pull"}),
    Sent("/restores/{restore_id:int}/sign-off", {"name": "manager", "password": PASSWORD, "confirmed": "yes"}),
    Sent(
        "/vehicles/{vehicle_id:int}/restores",
        {
            "reason": "Another sale",
            "unit_ids": ["1"],
            "coding_snapshot_id": "1",
            "baseline_session_id": "1",
            "margin_percent": "3",
        },
        part="again",
    ),
    Sent("/restores/{restore_id:int}/abandon", YES, ids={"restore_id": 2}),
    Sent("/control-units/{unit_id:int}/identity-checks", {**SCAN, "software_number": "SW-78"}),
    Sent("/identity-checks/{check_id:int}/accept", YES, ids={"check_id": 2}),
)
# Forms that no sending here covers, and why.
NOT_HERE = {
    "/journal/verify": "runs on after its answer; tests/pages/test_record_check.py",
    "/first-run": "answers only while nobody is on record; tests/web/test_sign_in.py",
    "/sign-in/link/{key}": "has no field; the key stands in the address",
    "/sign-out": "has no field",
    "/layouts/{layout_id:int}/checksum-search": "has no field",
    "/vehicles/import": "what it takes is made by the preview; tests/pages/test_vehicle_import.py",
    "/vehicles/import/preview": "takes a file only",
}
