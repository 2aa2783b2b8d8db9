"""Ondrake Hauler 2.2 D: tuned for towing, economy driven, and back with numbers that somebody else has written."""

from dataclasses import replace
from functools import partial

from seed_data import catalogue, revisions
from seed_data.acts import (
    add_layout,
    add_unit,
    attach_form,
    check_identity,
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
from seed_data.pull_text import typed_sheet
from seed_data.pulls import RAD_PER_S, Air, Engine
from seed_data.shapes import rounded
from seed_data.story import Setting, Story, When, day, dyno_session
from seed_data.workshop import SECOND_TUNER, SOUTH_BEFORE, WRITER

FOLDER, CAR, UNIT = "ondrake_hauler", "hauler", "hauler.engine"
VIN = "U9RHV22DZMK731206"
USE = "off-road use on the operator's own ground"
RATIOS = (4.4, 2.42, 1.5, 1.1, 0.84, 0.67)
FINAL_DRIVE, TYRE_RADIUS_M = 3.62, 0.348
CVN = "E51B7730"
OTHER_DYNO = "Rollers at Hollin Road, another workshop"

STOCK = Engine(
    torque_nm=((1100, 210), (1600, 349), (2600, 350), (3200, 312), (3600, 285), (4200, 214)),
    lambda_ratio=((1100, 1.45), (1800, 1.27), (3000, 1.3), (4200, 1.42)),
    boost_hpa=((1100, 1420), (1800, 2290), (3200, 2300), (4200, 2060)),
    start_rpm=1250,
    end_rpm=4150,
    loss=0.15,
    air_share=0.25,
    part_load_lambda=2.6,
    kmh_per_1000=376.99112 * TYRE_RADIUS_M / (RATIOS[3] * FINAL_DRIVE),
)
FIRST = replace(
    STOCK,
    torque_nm=((1100, 222), (1600, 394), (2000, 407), (2600, 406), (3200, 360), (3600, 324), (4200, 238)),
    lambda_ratio=((1100, 1.42), (1800, 1.22), (3000, 1.25), (4200, 1.37)),
    boost_hpa=((1100, 1440), (1800, 2400), (3200, 2425), (4200, 2120)),
)
SETTING = Setting(
    vehicle=CAR,
    folder=FOLDER,
    shown_as="Ondrake Hauler 2.2 D",
    correction_standard="none",
    gear="4",
    drive_mode="normal",
    driven_axles="rear",
    tyre="225/75 R16 C",
    tyre_pressure_bar=4.2,
    fuel="diesel EN 590",
)


def tell(story: Story) -> None:
    """Intake, a sheet from elsewhere, one revision, economy, and the surprise months later."""
    _intake(story)
    _sheet(story)
    _tuned(story)
    _economy(story)
    _somebody_else(story)


def _intake(story: Story) -> None:
    at = day(184, "08:40")
    story.step(
        "register_vehicle", at, WRITER, label=CAR, vin=VIN, plate="EB 73 HVD", make="Ondrake", model="Hauler 2.2 D",
        customer_name="Haverstock Deliveries", customer_contact="fleet@haverstock.example", year=2021,
        engine="2.2 l four cylinders, turbocharger", fuel="diesel", boosted=True, hybrid=False, driven_axles="rear",
        rated_power_kw=112.0, rated_torque_nm=350.0, rated_standard="UN R85", test_mass_kg=2380.0,
        gear_ratios=list(RATIOS), final_drive=FINAL_DRIVE, tyre="225/75 R16 C", tyre_radius_m=TYRE_RADIUS_M,
        legal_basis=USE, loses_coding=True, odometer_km=96310.0, visit_reason="Pulls a trailer, short of torque",
    )  # fmt: skip
    software = catalogue.hauler_engine()
    add_unit(story, UNIT, "engine", software, CVN, later(at, 10), WRITER)
    check_identity(story, UNIT, software, CVN, later(at, 11), WRITER)
    attach_form(story, CAR, FOLDER, "Haverstock Deliveries", "Ondrake Hauler 2.2 D", VIN, USE, later(at, 15))
    scan_faults(story, CAR, "intake", f"{FOLDER}/faults-intake.txt", later(at, 20), WRITER)
    path = f"{FOLDER}/hauler-engine-addresses.csv"
    add_layout(story, software, "Ondrake OD22D-2240-07", path, later(at, 40), SECOND_TUNER)
    read_stock_twice(story, UNIT, software, FOLDER, "bin", later(at, 60), SECOND_TUNER)
    keep_coding(story, "hauler.coding", "as found", f"{FOLDER}/coding-as-found.txt", later(at, 100), SECOND_TUNER)
    story.step(
        "set_limit", later(at, 120), SECOND_TUNER, vehicle=CAR, channel="lambda_", bound="min", value=1.15,
        speed_lo_rpm=1500.0, speed_hi_rpm=4200.0, severity="stop", note="No visible smoke",
    )  # fmt: skip


def sheet(slip: bool) -> bytes:
    """What the other workshop's printed sheet says; with `slip`, as it was typed first: one digit wrong."""
    points = []
    for rpm in range(1500, 4001, 250):
        torque = 0.86 * rounded(list(STOCK.torque_nm), rpm)
        typed = round(torque) + (100 if slip and rpm == 2750 else 0)
        points.append((float(rpm), float(typed), torque * rpm * RAD_PER_S / 1000.0))
    return typed_sheet(points)


def _sheet(story: Story) -> None:
    """A printed sheet the customer brought along, typed in at the desk."""
    at, label = day(183, "08:30"), "hauler.elsewhere"
    story.step("add_dyno", at, SECOND_TUNER, label=OTHER_DYNO, name=OTHER_DYNO, note="Known from a printed sheet only")
    story.step(
        "record_session", later(at, 5), SECOND_TUNER, label=label, vehicle=CAR, dyno=OTHER_DYNO, purpose="measurement",
        correction_standard="none", pressure_hpa=None, temperature_c=None, relative_humidity_percent=None, gear="4",
        drive_mode="", driven_axles="rear", tyre="", tyre_pressure_bar=None, fuel="diesel", start_coolant_c=None,
        start_intake_c=None, battery_soc_percent=None, note="Typed from the sheet that the customer brought along",
    )  # fmt: skip
    story.step(
        "add_runs", later(at, 15), SECOND_TUNER, label=f"{label}.1", session=label,
        file=story.file(f"{FOLDER}/elsewhere-typed.csv", partial(sheet, True)), start_coolant_c=None,
        start_intake_c=None, battery_soc_percent=None,
    )  # fmt: skip
    story.step(
        "decide_run", later(at, 25), SECOND_TUNER, run=f"{label}.1", included=False,
        reason="Torque at 2,750 1/min was typed one hundred too high; the sheet is typed again",
    )  # fmt: skip
    story.step(
        "add_runs", later(at, 30), SECOND_TUNER, label=f"{label}.2", session=label,
        file=story.file(f"{FOLDER}/elsewhere-typed-again.csv", partial(sheet, False)), start_coolant_c=None,
        start_intake_c=None, battery_soc_percent=None,
    )  # fmt: skip


def _session(story: Story, name: str, when: When, purpose: str, engine: Engine, air: Air) -> None:
    dyno_session(
        story, SETTING, SOUTH_BEFORE, name=name, when=when, purpose=purpose, engine=engine, air=air,
        coolant_c=(84.0, 86.0, 87.0), intake_c=(air.temperature_c + 8, air.temperature_c + 10, air.temperature_c + 12),
    )  # fmt: skip


def _tuned(story: Story) -> None:
    _session(story, "baseline", day(183, "10:00"), "baseline", STOCK, Air(1014.8, 16.9, 49.0))
    car = revisions.hauler_first()
    log_revision(
        story, f"{UNIT}.r1", car, f"{FOLDER}/hauler-engine-r1.bin", day(181, "09:00"), SECOND_TUNER, parent=None,
        title="Towing", purpose="A sixth more torque from 1,600 to 3,000 1/min; air and rail pressure follow, so that "
        "lambda stays above the smoke limit", fuel="diesel EN 590",
    )  # fmt: skip
    label, at = "hauler.flash1", day(181, "09:30")
    flash(story, label, f"{UNIT}.r1", at, SECOND_TUNER, control_unit=UNIT, volts=(13.8, 13.5))
    path = f"{FOLDER}/hauler-engine-r1-read-back.bin"
    read_back(story, label, path, partial(revision_file, car, "bin"), later(at, 14), SECOND_TUNER)
    story.step(
        "waive_coding", later(at, 20), SECOND_TUNER, flash=label,
        reason="This unit keeps its coding in a memory of its own; all modules read before and after were equal",
    )  # fmt: skip
    first_start(story, label, later(at, 25), SECOND_TUNER)
    _session(story, "r1", day(181, "11:20"), "measurement", FIRST, Air(1011.5, 18.0, 53.0))
    story.step(
        "decide_revision", day(180, "09:00"), SECOND_TUNER, revision=f"{UNIT}.r1", decision="released", legal_basis=USE,
        reason="Towing torque as ordered, lambda above the limit everywhere",
    )  # fmt: skip


def _economy(story: Story) -> None:
    before = ((182, 212.4, 19.62), (182, 208.9, 19.05), (182, 214.1, 19.88))
    after = ((152, 211.8, 19.02), (151, 213.0, 19.31), (150, 209.5, 18.74))
    for k, (days_ago, distance_km, fuel_l) in enumerate((*before, *after)):
        story.step(
            "record_economy_trial", day(days_ago, f"{12 + k % 3}:{10 + 15 * (k % 3):02d}"), SECOND_TUNER, vehicle=CAR,
            distance_km=distance_km, fuel_l=fuel_l, conditions="Same 70 km loop three times, 900 kg trailer, filled to "
            "the brim before and after",
        )  # fmt: skip
    story.step("end_visit", day(149, "16:45"), WRITER, vehicle=CAR)


def _somebody_else(story: Story) -> None:
    story.step(
        "begin_visit", day(2, "08:35"), WRITER, vehicle=CAR, reason="Pulls like before the work, says the driver",
        odometer_km=112480.0,
    )  # fmt: skip
    story.step(
        "check_identity", day(2, "08:50"), WRITER, control_unit=UNIT, hardware_number="OD22-3108-07",
        software_number="OD22D-2240-09", calibration_ids=["ODHAU22D224009EU"], cvns=["46C0AA18"], expect="differs",
    )  # fmt: skip
    scan_faults(story, CAR, "intake", f"{FOLDER}/faults-return.txt", day(2, "08:58"), WRITER)
