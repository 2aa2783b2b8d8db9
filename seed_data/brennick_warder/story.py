"""Brennick Warder 3.0 T: engine and transmission units; right now the transmission is written and the coding is not."""

from dataclasses import replace
from functools import partial

from seed_data import catalogue, revisions
from seed_data.acts import (
    add_layout,
    add_unit,
    attach_form,
    check_identity,
    coding_back,
    first_start,
    flash,
    keep_coding,
    later,
    log_revision,
    read_back,
    read_stock_twice,
    scan_faults,
)
from seed_data.images import revision_file
from seed_data.pulls import Air, Engine
from seed_data.story import Setting, Story, When, day, dyno_session, today
from seed_data.vin import with_check_digit
from seed_data.workshop import NORTH, TUNER, WRITER

FOLDER, CAR = "brennick_warder", "warder"
ENGINE_UNIT, TRANSMISSION_UNIT = "warder.engine", "warder.transmission"
VIN = with_check_digit("30TWD3T80RC018824")
USE = "competition on closed courses"
RATIOS = (4.7, 3.13, 2.1, 1.67, 1.28, 1.0, 0.84, 0.67)
FINAL_DRIVE, TYRE_RADIUS_M = 3.15, 0.338
ENGINE_CVN, TRANSMISSION_CVN = "71FE0C29", "0008B4D6"

STOCK = Engine(
    torque_nm=((1400, 402), (1700, 478), (2000, 501), (4800, 500), (5700, 452), (6600, 374)),
    lambda_ratio=((1400, 0.99), (2600, 0.965), (4500, 0.895), (6600, 0.84)),
    boost_hpa=((1400, 1610), (2000, 1920), (4800, 1950), (5800, 1850), (6600, 1700)),
    start_rpm=1900,
    end_rpm=6500,
    loss=0.155,
    air_share=0.3,
    kmh_per_1000=376.99112 * TYRE_RADIUS_M / (RATIOS[4] * FINAL_DRIVE),
)
FIRST = replace(
    STOCK,
    torque_nm=((1400, 408), (1700, 497), (2000, 538), (2400, 546), (4800, 545), (5700, 490), (6600, 390)),
    boost_hpa=((1400, 1620), (2000, 2010), (2400, 2068), (4800, 2070), (5800, 1950), (6600, 1720)),
    lambda_ratio=((1400, 0.99), (2600, 0.96), (4500, 0.885), (6600, 0.832)),
)
SETTING = Setting(
    vehicle=CAR,
    folder=FOLDER,
    shown_as="Brennick Warder 3.0 T",
    correction_standard="none",
    gear="5",
    drive_mode="sport, manual gate",
    driven_axles="rear",
    tyre="265/40 R20",
    tyre_pressure_bar=2.6,
    fuel="98 RON",
)


def tell(story: Story) -> None:
    """Intake of two units, the engine tuned, a transmission file refused, and this morning's write."""
    _intake(story)
    _engine(story)
    _transmission(story)


def _intake(story: Story) -> None:
    at = day(12, "08:50")
    story.step(
        "register_vehicle", at, WRITER, label=CAR, vin=VIN, plate="EB 188 BW", make="Brennick", model="Warder 3.0 T",
        customer_name="Rufus Amberley", customer_contact="rufus.amberley@example.org", year=2024,
        engine="3.0 l six cylinders, turbocharger", fuel="petrol", boosted=True, hybrid=False, driven_axles="rear",
        rated_power_kw=280.0, rated_torque_nm=500.0, rated_standard="SAE J1349", test_mass_kg=1845.0,
        gear_ratios=list(RATIOS), final_drive=FINAL_DRIVE, tyre="265/40 R20", tyre_radius_m=TYRE_RADIUS_M,
        legal_basis=USE, loses_coding=True, odometer_km=15230.0, visit_reason="Engine and transmission for track days",
    )  # fmt: skip
    engine, transmission = catalogue.warder_engine(), catalogue.warder_transmission()
    add_unit(story, ENGINE_UNIT, "engine", engine, ENGINE_CVN, later(at, 10), WRITER)
    add_unit(story, TRANSMISSION_UNIT, "transmission", transmission, TRANSMISSION_CVN, later(at, 12), WRITER)
    check_identity(story, ENGINE_UNIT, engine, ENGINE_CVN, later(at, 13), WRITER)
    check_identity(story, TRANSMISSION_UNIT, transmission, TRANSMISSION_CVN, later(at, 14), WRITER)
    attach_form(story, CAR, FOLDER, "Rufus Amberley", "Brennick Warder 3.0 T", VIN, USE, later(at, 20))
    scan_faults(story, CAR, "intake", f"{FOLDER}/faults-intake.txt", later(at, 24), WRITER)
    path = f"{FOLDER}/warder-engine.a2l"
    add_layout(story, engine, "Brennick BN30T-4102-F3", path, later(at, 35), TUNER)
    path = f"{FOLDER}/warder-transmission-addresses.csv"
    add_layout(story, transmission, "Brennick BN8AT-0733-D", path, later(at, 37), TUNER)
    read_stock_twice(story, ENGINE_UNIT, engine, FOLDER, "bin", later(at, 50), TUNER)
    read_stock_twice(story, TRANSMISSION_UNIT, transmission, FOLDER, "bin", later(at, 90), TUNER)
    keep_coding(story, "warder.coding", "as found", f"{FOLDER}/coding-as-found.json", later(at, 130), TUNER)
    for channel, bound, value in (("manifold_pressure_hpa", "max", 2200.0), ("lambda_", "max", 0.94)):
        story.step(
            "set_limit", later(at, 140), TUNER, vehicle=CAR, channel=channel, bound=bound, value=value,
            speed_lo_rpm=4500.0, speed_hi_rpm=6800.0, severity="stop", note="",
        )  # fmt: skip


def _session(story: Story, name: str, when: When, purpose: str, engine: Engine, air: Air) -> None:
    dyno_session(
        story, SETTING, NORTH, name=name, when=when, purpose=purpose, engine=engine, air=air,
        coolant_c=(90.0, 92.0, 93.0),
        intake_c=(air.temperature_c + 9, air.temperature_c + 12, air.temperature_c + 14),
    )  # fmt: skip


def _engine(story: Story) -> None:
    _session(story, "baseline", day(11, "09:30"), "baseline", STOCK, Air(1003.8, 15.1, 66.0))
    car = revisions.warder_engine_first()
    log_revision(
        story, f"{ENGINE_UNIT}.r1", car, f"{FOLDER}/warder-engine-r1.bin", day(9, "09:00"), TUNER, parent=None,
        title="Closed course", purpose="A tenth more torque from 2,000 to 5,500 1/min; the road speed limiter is "
        "set as high as its cell allows, for closed courses only", fuel="98 RON", hardware="Series turbocharger",
    )  # fmt: skip
    label, at = "warder.flash1", day(9, "09:25")
    flash(story, label, f"{ENGINE_UNIT}.r1", at, TUNER, control_unit=ENGINE_UNIT, volts=(13.7, 13.4))
    path = f"{FOLDER}/warder-engine-r1-read-back.bin"
    read_back(story, label, path, partial(revision_file, car, "bin"), later(at, 12), TUNER)
    coding_back(story, label, "warder.coding", f"{FOLDER}/coding-as-found.json", later(at, 22), TUNER)
    first_start(story, label, later(at, 28), TUNER)
    _session(story, "r1", day(9, "11:30"), "measurement", FIRST, Air(1008.1, 14.7, 60.0))
    story.step(
        "decide_revision", day(9, "13:10"), TUNER, revision=f"{ENGINE_UNIT}.r1", decision="kept",
        reason="Released together with the transmission",
    )  # fmt: skip


def _transmission(story: Story) -> None:
    car, unit = revisions.warder_transmission_first(), TRANSMISSION_UNIT
    purpose = "Bear the engine's torque: limit by gear and line pressure up, torque handover quicker"
    log_revision(
        story, f"{unit}.r1", car, f"{FOLDER}/warder-transmission-r1.bin", day(1, "15:10"), TUNER, parent=None,
        title="For the engine's revision 1", purpose=purpose, fuel="", sums=False,
    )  # fmt: skip
    story.step(
        "decide_revision", day(1, "15:20"), TUNER, revision=f"{unit}.r1", decision="withdrawn",
        reason="Exported without correcting the checksum of the calibration block; never flashed",
    )  # fmt: skip
    log_revision(
        story, f"{unit}.r2", car, f"{FOLDER}/warder-transmission-r2.bin", today(130), TUNER, parent=None,
        title="For the engine's revision 1, checksum corrected", purpose=purpose, fuel="",
    )  # fmt: skip
    label = "warder.flash2"
    flash(story, label, f"{unit}.r2", today(48), TUNER, control_unit=unit, volts=(13.6, 13.3))
    path = f"{FOLDER}/warder-transmission-r2-read-back.bin"
    read_back(story, label, path, partial(revision_file, car, "bin"), today(36), TUNER)
    keep_coding(
        story, "warder.coding-lost", "after the flash", f"{FOLDER}/coding-after-flash.json", today(22), TUNER
    )  # fmt: skip
