"""Velmora Sirrus HX: hybrid with all wheels driven, two control units, on its way back to stock and half way there."""

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
from seed_data.images import revision_file, stock_file
from seed_data.pulls import Air, Engine
from seed_data.restoring import close_step, open_restore, secure_and_supply
from seed_data.story import Setting, Story, When, day, dyno_session
from seed_data.workshop import NORTH, SECOND_TUNER, TUNER, WRITER

FOLDER, CAR = "velmora_sirrus", "sirrus"
ENGINE_UNIT, DRIVE_UNIT = "sirrus.engine", "sirrus.drive"
VIN = "PX7SRHX25SA015533"
USE = "closed course"
TYRE_RADIUS_M, RATIO = 0.345, 5.36
ENGINE_CVN, DRIVE_CVN = "C3118D4F", "5500A2E7"

STOCK = Engine(
    torque_nm=((1500, 288), (2500, 331), (3500, 346), (4500, 338), (5500, 302), (6300, 256)),
    lambda_ratio=((1500, 1.0), (3000, 0.99), (4500, 0.94), (6300, 0.9)),
    boost_hpa=None,
    start_rpm=1900,
    end_rpm=6100,
    loss=0.17,
    air_share=0.65,
    kmh_per_1000=376.99112 * TYRE_RADIUS_M / RATIO,
)
FIRST = replace(STOCK, torque_nm=((1500, 293), (2500, 340), (3500, 358), (4500, 351), (5500, 314), (6300, 263)))
SETTING = Setting(
    vehicle=CAR,
    folder=FOLDER,
    shown_as="Velmora Sirrus HX",
    correction_standard="sae_j1349",
    gear="fixed ratio",
    drive_mode="dyno mode, full assistance",
    driven_axles="all",
    tyre="235/55 R19",
    tyre_pressure_bar=2.5,
    fuel="95 RON",
)
CHARGE = (68.0, 64.0, 61.0)


def tell(story: Story) -> None:
    """Intake, one revision, and a restore that waits for parts, faults, readiness and the verification pull."""
    _intake(story)
    _tuned(story)
    _restore(story)


def _intake(story: Story) -> None:
    at = day(44, "09:10")
    story.step(
        "register_vehicle", at, WRITER, label=CAR, vin=VIN, plate="EB 533 HX", make="Velmora", model="Sirrus HX",
        customer_name="Petra Solheim", customer_contact="petra.solheim@example.org", year=2025,
        engine="2.5 l four cylinders with two electric machines", fuel="petrol", boosted=False, hybrid=True,
        driven_axles="all", rated_power_kw=184.0, rated_torque_nm=None, rated_standard="UN R85, system power",
        test_mass_kg=1985.0, gear_ratios=[1.0], final_drive=RATIO, tyre="235/55 R19", tyre_radius_m=TYRE_RADIUS_M,
        legal_basis=USE, loses_coding=True, odometer_km=8840.0, visit_reason="Longer electric assistance for a test",
    )  # fmt: skip
    engine, drive = catalogue.sirrus_engine(), catalogue.sirrus_drive()
    add_unit(story, ENGINE_UNIT, "engine", engine, ENGINE_CVN, later(at, 10), WRITER)
    add_unit(story, DRIVE_UNIT, "hybrid drive", drive, DRIVE_CVN, later(at, 12), WRITER)
    check_identity(story, ENGINE_UNIT, engine, ENGINE_CVN, later(at, 13), WRITER)
    check_identity(story, DRIVE_UNIT, drive, DRIVE_CVN, later(at, 14), WRITER)
    attach_form(story, CAR, FOLDER, "Petra Solheim", "Velmora Sirrus HX", VIN, USE, later(at, 18))
    scan_faults(story, CAR, "intake", f"{FOLDER}/faults-intake.txt", later(at, 22), WRITER)
    path = f"{FOLDER}/sirrus-engine-addresses.csv"
    add_layout(story, engine, "Velmora VM25H-0316-B2", path, later(at, 30), TUNER)
    read_stock_twice(story, ENGINE_UNIT, engine, FOLDER, "s19", later(at, 45), TUNER)
    read_stock_twice(story, DRIVE_UNIT, drive, FOLDER, "hex", later(at, 85), TUNER)
    keep_coding(story, "sirrus.coding", "as found", f"{FOLDER}/coding-as-found.txt", later(at, 120), TUNER)
    story.step(
        "set_limit", later(at, 130), TUNER, vehicle=CAR, channel="intake_temperature_c", bound="max", value=55.0,
        speed_lo_rpm=None, speed_hi_rpm=None, severity="watch", note="Hybrid battery shares this air",
    )  # fmt: skip


def _session(story: Story, name: str, when: When, purpose: str, engine: Engine, air: Air) -> None:
    dyno_session(
        story, SETTING, NORTH, name=name, when=when, purpose=purpose, engine=engine, air=air,
        coolant_c=(82.0, 84.0, 85.0), intake_c=(air.temperature_c + 6, air.temperature_c + 8, air.temperature_c + 9),
        state_of_charge_percent=CHARGE,
    )  # fmt: skip


def _tuned(story: Story) -> None:
    _session(story, "baseline", day(44, "14:00"), "baseline", STOCK, Air(1010.6, 17.2, 56.0))
    car = revisions.sirrus_first()
    log_revision(
        story, f"{ENGINE_UNIT}.r1", car, f"{FOLDER}/sirrus-engine-r1.s19", day(43, "09:00"), TUNER, parent=None,
        title="Longer assistance", purpose="Electric torque held longer at middling charge, ignition for 95 RON summer "
        "fuel", fuel="95 RON",
    )  # fmt: skip
    label, at = "sirrus.flash1", day(43, "09:20")
    flash(story, label, f"{ENGINE_UNIT}.r1", at, TUNER, control_unit=ENGINE_UNIT, volts=(13.5, 13.3))
    path = f"{FOLDER}/sirrus-engine-r1-read-back.s19"
    read_back(story, label, path, partial(revision_file, car, "s19"), later(at, 9), TUNER)
    coding_back(story, label, "sirrus.coding", f"{FOLDER}/coding-as-found.txt", later(at, 18), TUNER)
    first_start(story, label, later(at, 25), TUNER)
    _session(story, "r1", day(43, "11:10"), "measurement", FIRST, Air(1012.2, 16.8, 54.0))
    story.step(
        "decide_revision", day(42, "09:00"), TUNER, revision=f"{ENGINE_UNIT}.r1", decision="released", legal_basis=USE,
        reason="Small but real, for the length of the customer's test",
    )  # fmt: skip
    story.step("end_visit", day(42, "15:00"), WRITER, vehicle=CAR)


def _restore(story: Story) -> None:
    """The engine's unit alone: the hybrid drive's was never written."""
    at, restore = day(1, "09:00"), "sirrus.restore"
    story.step("begin_visit", at, WRITER, vehicle=CAR, reason="End of the test: back to stock", odometer_km=11902.0)
    open_restore(
        story, restore, [ENGINE_UNIT], later(at, 15), SECOND_TUNER, reason="The customer's test has ended",
        coding_snapshot="sirrus.coding", baseline_session="sirrus.baseline", two_sign_offs=False,
    )  # fmt: skip
    check_identity(story, ENGINE_UNIT, catalogue.sirrus_engine(), None, later(at, 19), SECOND_TUNER)
    close_step(story, restore, "identify", later(at, 20), SECOND_TUNER, control_unit=ENGINE_UNIT)
    secure_and_supply(story, restore, ENGINE_UNIT, later(at, 25), SECOND_TUNER)
    label, write = "sirrus.flash2", later(at, 45)
    flash(story, label, None, write, SECOND_TUNER, control_unit=ENGINE_UNIT, volts=(13.6, 13.4), note="Back to stock")
    close_step(story, restore, "flash", later(write, 1), SECOND_TUNER, control_unit=ENGINE_UNIT, flash=label)
    path = f"{FOLDER}/sirrus-engine-stock-read-back.s19"
    maker = partial(stock_file, catalogue.sirrus_engine(), "s19")
    read_back(story, label, path, maker, later(write, 10), SECOND_TUNER)
    close_step(story, restore, "read_back", later(write, 11), SECOND_TUNER, control_unit=ENGINE_UNIT, flash=label)
    coding_back(story, label, "sirrus.coding", f"{FOLDER}/coding-as-found.txt", later(write, 22), SECOND_TUNER)
    close_step(story, restore, "write_coding", later(write, 26), SECOND_TUNER, flash=label)
