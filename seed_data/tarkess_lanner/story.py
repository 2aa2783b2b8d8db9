"""Tarkess Lanner 3.6: tuned and released, then brought back to stock before its owner sold it."""

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
from seed_data.editing import Calibration
from seed_data.images import revision_file
from seed_data.pulls import Air, Engine
from seed_data.restoring import close_step, open_restore, secure_and_supply
from seed_data.story import Rollers, Setting, Story, When, day, dyno_session
from seed_data.vin import with_check_digit
from seed_data.workshop import MANAGER, SECOND_TUNER, SOUTH, SOUTH_BEFORE, WRITER

FOLDER, CAR, UNIT = "tarkess_lanner", "lanner", "lanner.engine"
VIN = with_check_digit("30KLN3C60NB004518")
USE = "competition on closed courses"
RATIOS = (3.91, 2.29, 1.58, 1.19, 1.0, 0.79)
FINAL_DRIVE, TYRE_RADIUS_M = 3.44, 0.325
CVN = "0A94D17E"

STOCK = Engine(
    torque_nm=((1500, 292), (3000, 334), (4800, 362), (5600, 357), (6300, 343), (7200, 300)),
    lambda_ratio=((1500, 1.0), (2600, 0.99), (4500, 0.93), (7200, 0.885)),
    boost_hpa=None,
    start_rpm=2200,
    end_rpm=7000,
    loss=0.145,
    air_share=1.0,
    kmh_per_1000=376.99112 * TYRE_RADIUS_M / (RATIOS[3] * FINAL_DRIVE),
)
FIRST = replace(
    STOCK,
    torque_nm=((1500, 293), (3000, 338), (4200, 364), (4800, 372), (5600, 367), (6300, 352), (7200, 306)),
    lambda_ratio=((1500, 1.0), (2600, 0.99), (4500, 0.918), (7200, 0.872)),
)
SETTING = Setting(
    vehicle=CAR,
    folder=FOLDER,
    shown_as="Tarkess Lanner 3.6",
    correction_standard="sae_j1349",
    gear="4",
    drive_mode="sport, stability control off",
    driven_axles="rear",
    tyre="255/35 R19",
    tyre_pressure_bar=2.4,
    fuel="98 RON",
)


def tell(story: Story) -> None:
    """Intake, one revision, and months later the way back."""
    _intake(story)
    _tuned(story)
    _asked_back(story)
    _written_back(story)
    _proven(story)


def _intake(story: Story) -> None:
    at = day(160, "10:15")
    story.step(
        "register_vehicle", at, WRITER, label=CAR, vin=VIN, plate="EB 18 LNR", make="Tarkess", model="Lanner 3.6",
        customer_name="Bastian Croy", customer_contact="bastian.croy@example.org", year=2022,
        engine="3.6 l six cylinders, no charger", fuel="petrol", boosted=False, hybrid=False, driven_axles="rear",
        rated_power_kw=238.0, rated_torque_nm=362.0, rated_standard="SAE J1349", test_mass_kg=1560.0,
        gear_ratios=list(RATIOS), final_drive=FINAL_DRIVE, tyre="255/35 R19", tyre_radius_m=TYRE_RADIUS_M,
        legal_basis=USE, loses_coding=True, odometer_km=41960.0, visit_reason="Track use: sharper from 3,500 1/min",
    )  # fmt: skip
    software = catalogue.lanner_engine()
    add_unit(story, UNIT, "engine", software, CVN, later(at, 12), WRITER)
    check_identity(story, UNIT, software, CVN, later(at, 13), WRITER)
    attach_form(story, CAR, FOLDER, "Bastian Croy", "Tarkess Lanner 3.6", VIN, USE, later(at, 18))
    scan_faults(story, CAR, "intake", f"{FOLDER}/faults-intake.txt", later(at, 22), WRITER)
    path = f"{FOLDER}/lanner-engine.a2l"
    add_layout(story, software, "Tarkess TK36N-5507-C", path, later(at, 35), SECOND_TUNER)
    read_stock_twice(story, UNIT, software, FOLDER, "hex", later(at, 50), SECOND_TUNER)
    keep_coding(story, "lanner.coding", "as found", f"{FOLDER}/coding-as-found.csv", later(at, 90), SECOND_TUNER)
    story.step(
        "set_limit", later(at, 110), SECOND_TUNER, vehicle=CAR, channel="lambda_", bound="max", value=0.95,
        speed_lo_rpm=5000.0, speed_hi_rpm=7400.0, severity="stop", note="Full load stays richer than this",
    )  # fmt: skip


def _session(story: Story, rollers: Rollers, name: str, when: When, purpose: str, engine: Engine, air: Air) -> None:
    dyno_session(
        story, SETTING, rollers, name=name, when=when, purpose=purpose, engine=engine, air=air,
        coolant_c=(90.0, 91.0, 91.0), intake_c=(air.temperature_c + 5, air.temperature_c + 6.5, air.temperature_c + 7),
    )  # fmt: skip


def _strip(story: Story, when: When, note: str, **results: float) -> None:
    story.step(
        "record_strip_run", when, SECOND_TUNER, vehicle=CAR, place="Harrowmere airfield, closed runway",
        how="timing lights", results=results, note=note,
    )  # fmt: skip


def _tuned(story: Story) -> None:
    _session(story, SOUTH_BEFORE, "baseline", day(159, "09:20"), "baseline", STOCK, Air(1002.6, 22.3, 60.0))
    _strip(
        story, day(158, "16:20"), "Dry, 17 °C", et_60ft_s=2.05, et_330ft_s=5.62, et_660ft_s=8.58, trap_660ft_kmh=131.2,
        et_1000ft_s=11.18, et_1320ft_s=13.36, trap_1320ft_kmh=170.6, t_0_100kmh_s=5.31,
    )  # fmt: skip
    car = revisions.lanner_first()
    log_revision(
        story, f"{UNIT}.r1", car, f"{FOLDER}/lanner-engine-r1.hex", day(157, "09:10"), SECOND_TUNER, parent=None,
        title="Middle and upper range", purpose="Ignition and intake cam from 3,500 1/min up, mixture a little richer "
        "at full load, engine speed limit 100 1/min higher", fuel="98 RON",
    )  # fmt: skip
    _write(story, car, day(157, "09:40"))
    _session(story, SOUTH_BEFORE, "r1", day(157, "11:30"), "measurement", FIRST, Air(1009.4, 20.6, 54.0))
    _strip(
        story, day(156, "16:05"), "Dry, 19 °C, same driver", et_60ft_s=2.04, et_330ft_s=5.57, et_660ft_s=8.49,
        trap_660ft_kmh=132.9, et_1000ft_s=11.07, et_1320ft_s=13.22, trap_1320ft_kmh=172.8, t_0_100kmh_s=5.24,
    )  # fmt: skip
    story.step(
        "decide_revision", day(155, "09:30"), SECOND_TUNER, revision=f"{UNIT}.r1", decision="released", legal_basis=USE,
        reason="Gain above 3,500 1/min is real, no limit crossed",
    )  # fmt: skip
    story.step("end_visit", day(155, "15:00"), WRITER, vehicle=CAR)


def _write(story: Story, car: Calibration, at: When) -> None:
    label = "lanner.flash1"
    flash(story, label, f"{UNIT}.r1", at, SECOND_TUNER, control_unit=UNIT, volts=(13.7, 13.5))
    path = f"{FOLDER}/lanner-engine-r1-read-back.hex"
    read_back(story, label, path, partial(revision_file, car, "hex"), later(at, 7), SECOND_TUNER)
    coding_back(story, label, "lanner.coding", f"{FOLDER}/coding-as-found.csv", later(at, 14), SECOND_TUNER)
    first_start(story, label, later(at, 20), SECOND_TUNER)


def _asked_back(story: Story) -> None:
    at = day(20, "09:00")
    story.step(
        "begin_visit", at, WRITER, vehicle=CAR, reason="Back to stock before sale", odometer_km=47215.0
    )  # fmt: skip
    scan_faults(story, CAR, "before the restore", f"{FOLDER}/faults-before-restore.txt", later(at, 10), WRITER)
    open_restore(
        story, "lanner.restore", [UNIT], later(at, 20), SECOND_TUNER, reason="The owner sells the car",
        coding_snapshot="lanner.coding", baseline_session="lanner.baseline", two_sign_offs=True,
    )  # fmt: skip
    check_identity(story, UNIT, catalogue.lanner_engine(), None, later(at, 24), SECOND_TUNER)
    close_step(story, "lanner.restore", "identify", later(at, 25), SECOND_TUNER, control_unit=UNIT)
    secure_and_supply(story, "lanner.restore", UNIT, later(at, 30), SECOND_TUNER)


def _written_back(story: Story) -> None:
    at, label, restore = day(20, "09:50"), "lanner.flash2", "lanner.restore"
    flash(story, label, None, at, SECOND_TUNER, control_unit=UNIT, volts=(13.6, 13.4), note="Back to stock")
    close_step(story, restore, "flash", later(at, 1), SECOND_TUNER, control_unit=UNIT, flash=label)
    # Read after the ignition was on for a while: the unit has begun to learn again, in the range set aside for it.
    path = f"{FOLDER}/lanner-engine-stock-read-back.hex"
    stock = Calibration(catalogue.lanner_engine())
    read_back(story, label, path, partial(revision_file, stock, "hex", learned="restored"), later(at, 9), SECOND_TUNER)
    close_step(story, restore, "read_back", later(at, 10), SECOND_TUNER, control_unit=UNIT, flash=label)
    coding_back(story, label, "lanner.coding", f"{FOLDER}/coding-as-found.csv", later(at, 18), SECOND_TUNER)
    close_step(story, restore, "write_coding", later(at, 22), SECOND_TUNER, flash=label)
    close_step(
        story, restore, "compare_coding", later(at, 26), SECOND_TUNER, file=story.kept(f"{FOLDER}/coding-as-found.csv")
    )
    parts = [{"name": "Air filter", "stock_fitted": True, "note": "Paper element from the box in the boot"}]
    close_step(story, restore, "parts", later(at, 40), SECOND_TUNER, parts=parts)
    first_start(story, label, later(at, 45), SECOND_TUNER)


def _proven(story: Story) -> None:
    restore = "lanner.restore"
    _session(story, SOUTH, "verification", day(20, "13:10"), "verification", STOCK, Air(1006.0, 21.2, 57.0))
    faults = story.kept(f"{FOLDER}/faults-after-restore.txt")
    close_step(story, restore, "faults", day(20, "12:30"), SECOND_TUNER, file=faults)
    close_step(story, restore, "pull", day(20, "14:20"), SECOND_TUNER, session="lanner.verification")
    story.step(
        "override_step", day(19, "09:30"), MANAGER, restore=restore, key="readiness", control_unit=None,
        reason="The evaporative system monitor needs two cold starts and a fuller tank; the buyer has been told in "
        "writing that it was not complete at handover",
    )  # fmt: skip
    story.step("sign_off", day(19, "10:00"), SECOND_TUNER, restore=restore, key="sign_off")
    story.step("sign_off", day(19, "10:20"), MANAGER, restore=restore, key="second_sign_off")
    story.step("end_visit", day(19, "15:30"), WRITER, vehicle=CAR)
