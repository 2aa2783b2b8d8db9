"""Corvane Astrel Estate 2.0 T: the sister car. Same software, same stock, so the released tables fit it as they are."""

from dataclasses import replace
from functools import partial

from seed_data import catalogue, revisions
from seed_data.acts import (
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
from seed_data.corvane_astrel import story as astrel
from seed_data.images import revision_file
from seed_data.pulls import Air, Engine
from seed_data.story import Setting, Story, When, day, dyno_session
from seed_data.workshop import NORTH, TUNER, WRITER

FOLDER, CAR, UNIT = "corvane_estate", "estate", "estate.engine"
VIN = "U2VAS2EKZRA200915"
USE = "closed course and private ground"
CVN = "7C21E04A"

STOCK = replace(astrel.STOCK, loss=0.131)
FIRST = replace(astrel.FOURTH, loss=0.131)
SETTING = Setting(
    vehicle=CAR,
    folder=FOLDER,
    shown_as="Corvane Astrel Estate",
    correction_standard="none",
    gear="4",
    drive_mode="normal, traction control off",
    driven_axles="front",
    tyre="225/45 R17",
    tyre_pressure_bar=2.6,
    fuel="98 RON",
)


def tell(story: Story) -> None:
    """Intake, the image taken over, measured, released."""
    at = day(58, "09:30")
    story.step(
        "register_vehicle", at, WRITER, label=CAR, vin=VIN, plate="EB 915 W", make="Corvane",
        model="Astrel Estate 2.0 T", customer_name="Nadia Wenlock", customer_contact="n.wenlock@example.org", year=2024,
        engine="2.0 l four cylinders, turbocharger", fuel="petrol", boosted=True, hybrid=False, driven_axles="front",
        rated_power_kw=180.0, rated_torque_nm=370.0, rated_standard="UN R85", test_mass_kg=1590.0,
        gear_ratios=list(astrel.RATIOS), final_drive=astrel.FINAL_DRIVE, tyre="225/45 R17",
        tyre_radius_m=astrel.TYRE_RADIUS_M, legal_basis=USE, loses_coding=True, odometer_km=12870.0,
        visit_reason="Has seen the sister car on the rollers",
    )  # fmt: skip
    software = catalogue.astrel_engine()
    add_unit(story, UNIT, "engine", software, CVN, later(at, 10), WRITER)
    check_identity(story, UNIT, software, CVN, later(at, 11), WRITER)
    attach_form(story, CAR, FOLDER, "Nadia Wenlock", "Corvane Astrel Estate 2.0 T", VIN, USE, later(at, 15))
    scan_faults(story, CAR, "intake", f"{FOLDER}/faults-intake.txt", later(at, 18), WRITER)
    read_stock_twice(story, UNIT, software, FOLDER, "bin", later(at, 40), TUNER)
    keep_coding(story, "estate.coding", "as found", f"{FOLDER}/coding-as-found.csv", later(at, 80), TUNER)
    _session(story, "baseline", day(57, "09:00"), "baseline", STOCK, Air(1016.2, 18.3, 51.0))
    car = revisions.astrel_fourth()
    log_revision(
        story, f"{UNIT}.r1", car, f"{FOLDER}/estate-engine-r1.bin", day(56, "09:10"), TUNER, parent=None,
        title="As the sister car's revision 4", purpose="Same software number and same stock bytes as the saloon: its "
        "released tables taken over unchanged, measured on this car all the same", fuel="98 RON",
        hardware="Series turbocharger and intercooler",
    )  # fmt: skip
    label, start = "estate.flash1", day(56, "09:30")
    flash(story, label, f"{UNIT}.r1", start, TUNER, control_unit=UNIT, volts=(13.6, 13.5))
    path = f"{FOLDER}/estate-engine-r1-read-back.bin"
    read_back(story, label, path, partial(revision_file, car, "bin"), later(start, 8), TUNER)
    coding_back(story, label, "estate.coding", f"{FOLDER}/coding-as-found.csv", later(start, 15), TUNER)
    first_start(story, label, later(start, 20), TUNER)
    _session(story, "r1", day(56, "11:00"), "measurement", FIRST, Air(1013.7, 18.9, 50.0))
    story.step(
        "decide_revision", day(55, "10:00"), TUNER, revision=f"{UNIT}.r1", decision="released", legal_basis=USE,
        reason="Gain as on the sister car, within the repeatability of the rollers",
    )  # fmt: skip
    story.step("end_visit", day(55, "15:40"), WRITER, vehicle=CAR)


def _session(story: Story, name: str, when: When, purpose: str, engine: Engine, air: Air) -> None:
    dyno_session(
        story, SETTING, NORTH, name=name, when=when, purpose=purpose, engine=engine, air=air,
        coolant_c=(88.0, 89.0, 90.0), intake_c=(air.temperature_c + 8, air.temperature_c + 10, air.temperature_c + 11),
    )  # fmt: skip
