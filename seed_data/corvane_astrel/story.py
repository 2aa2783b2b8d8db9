"""Corvane Astrel 2.0 T: stock to a released revision in four steps and a branch, a fifth one measured."""

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
from seed_data.pulls import Air, Engine, Points
from seed_data.story import Rollers, Setting, Story, When, day, dyno_session
from seed_data.workshop import NORTH, NORTH_BEFORE, SECOND_TUNER, TUNER, WRITER

FOLDER, CAR, UNIT = "corvane_astrel", "astrel", "astrel.engine"
VIN = "U2VAS20TZPA104471"
USE = "closed course and private ground"
RATIOS = (3.64, 2.08, 1.36, 1.02, 0.82, 0.69)
FINAL_DRIVE, TYRE_RADIUS_M = 3.9, 0.316

STOCK_NM: Points = ((1500, 292), (1900, 362), (2200, 372), (4400, 371), (5000, 348), (5600, 312), (6500, 250))
FIRST_NM: Points = ((1500, 297), (1900, 395), (2300, 424), (4400, 423), (5000, 395), (5600, 345), (6500, 262))
SECOND_NM: Points = (
    (1500, 297),
    (1900, 395),
    (2300, 424),
    (3600, 428),
    (4400, 431),
    (5000, 405),
    (5600, 356),
    (6500, 272),
)
THIRD_NM: Points = ((1500, 297), (1900, 394), (2300, 423), (4400, 423), (5000, 406), (5600, 338), (6500, 240))
FOURTH_NM: Points = (
    (1500, 320),
    (1900, 411),
    (2300, 427),
    (3600, 428),
    (4400, 431),
    (5000, 406),
    (5600, 358),
    (6600, 268),
)
FIFTH_NM: Points = (
    (1500, 319),
    (1900, 409),
    (2300, 422),
    (3600, 422),
    (4400, 425),
    (5000, 400),
    (5600, 353),
    (6600, 265),
)

STOCK = Engine(
    torque_nm=STOCK_NM,
    lambda_ratio=((1500, 0.99), (2600, 0.97), (4500, 0.905), (6500, 0.852)),
    boost_hpa=((1500, 1560), (2000, 1960), (2600, 2050), (4500, 2050), (5500, 1950), (6500, 1790)),
    start_rpm=1750,
    end_rpm=6400,
    loss=0.125,
    air_share=0.3,
    kmh_per_1000=376.99112 * TYRE_RADIUS_M / (RATIOS[3] * FINAL_DRIVE),
)
MORE_BOOST: Points = ((1500, 1580), (2000, 2090), (2500, 2215), (4500, 2215), (5500, 2060), (6500, 1800))
RICHER: Points = ((1500, 0.99), (2600, 0.965), (4500, 0.888), (6500, 0.838))
FIRST = replace(STOCK, torque_nm=FIRST_NM, boost_hpa=MORE_BOOST, lambda_ratio=RICHER)
SECOND = replace(FIRST, torque_nm=SECOND_NM)
THIRD = replace(
    FIRST,
    torque_nm=THIRD_NM,
    boost_hpa=((1500, 1580), (2000, 2090), (2500, 2215), (4500, 2235), (5300, 2372), (6500, 2090)),
)
FOURTH = replace(SECOND, torque_nm=FOURTH_NM, end_rpm=6550)
FIFTH = replace(FOURTH, torque_nm=FIFTH_NM, lambda_ratio=((1500, 0.99), (2600, 0.962), (4500, 0.88), (6500, 0.83)))

SETTING = Setting(
    vehicle=CAR,
    folder=FOLDER,
    shown_as="Corvane Astrel 2.0 T",
    correction_standard="none",
    gear="4",
    drive_mode="normal, traction control off",
    driven_axles="front",
    tyre="225/40 R18",
    tyre_pressure_bar=2.5,
    fuel="98 RON",
)


def tell(story: Story) -> None:
    """Everything that happened to the car, oldest first."""
    _intake(story)
    _baseline(story)
    _first(story)
    _second(story)
    _third(story)
    _fourth(story)
    _fifth(story)


def _intake(story: Story) -> None:
    at = day(120, "09:05")
    story.step(
        "register_vehicle", at, WRITER, label=CAR, vin=VIN, plate="EB 4471 K", make="Corvane", model="Astrel 2.0 T",
        customer_name="Leonie Farrow", customer_contact="leonie.farrow@example.org", year=2023,
        engine="2.0 l four cylinders, turbocharger", fuel="petrol", boosted=True, hybrid=False, driven_axles="front",
        rated_power_kw=180.0, rated_torque_nm=370.0, rated_standard="UN R85", test_mass_kg=1495.0,
        gear_ratios=list(RATIOS), final_drive=FINAL_DRIVE, tyre="225/40 R18", tyre_radius_m=TYRE_RADIUS_M,
        legal_basis="", loses_coding=True, odometer_km=28140.0, visit_reason="More torque in the middle of the range",
    )  # fmt: skip
    software = catalogue.astrel_engine()
    add_unit(story, UNIT, "engine", software, "7C21E04A", later(at, 15), WRITER)
    check_identity(story, UNIT, software, "7C21E04A", later(at, 16), WRITER)
    attach_form(story, CAR, FOLDER, "Leonie Farrow", "Corvane Astrel 2.0 T", VIN, USE, later(at, 20))
    scan_faults(story, CAR, "intake", f"{FOLDER}/faults-intake.txt", later(at, 25), WRITER)
    path = f"{FOLDER}/astrel-engine.a2l"
    add_layout(story, software, "Corvane CV20T-1184-A01", path, later(at, 40), TUNER)
    read_stock_twice(story, UNIT, software, FOLDER, "bin", later(at, 60), TUNER)
    keep_coding(story, "astrel.coding", "as found", f"{FOLDER}/coding-as-found.csv", later(at, 95), TUNER)
    _limits(story, later(at, 120))


def _limits(story: Story, at: When) -> None:
    rows = (
        ("manifold_pressure_hpa", "max", 2320.0, 2000.0, 6800.0, "stop", "Rods and turbine: my limit for this engine"),
        ("lambda_", "max", 0.93, 4500.0, 6800.0, "stop", "Leaner than this the turbine gets too hot"),
        ("intake_temperature_c", "max", 62.0, None, None, "watch", "Above this the next pull waits"),
    )
    for channel, bound, value, low, high, severity, note in rows:
        story.step(
            "set_limit", at, TUNER, vehicle=CAR, channel=channel, bound=bound, value=value, speed_lo_rpm=low,
            speed_hi_rpm=high, severity=severity, note=note,
        )  # fmt: skip


def _measure(
    story: Story, rollers: Rollers, name: str, when: When, engine: Engine, air: Air, intake: tuple[float, ...]
) -> None:
    coolant = tuple(88.0 + k for k in range(len(intake)))
    purpose = "baseline" if name == "baseline" else "measurement"
    dips = {1: (4150.0, 0.07)} if name == "baseline" else None
    dyno_session(
        story, SETTING, rollers, name=name, when=when, purpose=purpose, engine=engine, air=air, coolant_c=coolant,
        intake_c=intake, dips=dips,
    )  # fmt: skip


def _baseline(story: Story) -> None:
    at = day(119, "09:30")
    _measure(story, NORTH_BEFORE, "baseline", at, STOCK, Air(1011.2, 19.5, 52.0), (27.0, 29.5, 29.0, 30.5))
    story.step(
        "decide_run", later(at, 50), TUNER, run="astrel.baseline.2", included=False,
        reason="Traction control cut in at 4,150 1/min; it was still on and is off from the next pull",
    )  # fmt: skip
    results = {"et_60ft_s": 2.31, "et_330ft_s": 6.12, "et_660ft_s": 9.31, "trap_660ft_kmh": 122.4, "et_1000ft_s": 12.06,
               "et_1320ft_s": 14.41, "trap_1320ft_kmh": 157.9, "t_0_100kmh_s": 6.52}  # fmt: skip
    _strip(story, day(119, "17:40"), results, "Two up to start the clock; 18 °C, no wind")


def _strip(story: Story, when: When, results: dict[str, float], note: str) -> None:
    story.step(
        "record_strip_run", when, TUNER, vehicle=CAR, place="Harrowmere airfield, closed runway", how="timing lights",
        results=results, note=note,
    )  # fmt: skip


def _write(story: Story, number: int, calibration: Calibration, when: When, by: str, *, check: bool = True) -> None:
    """Flash, read back, coding back, first start."""
    label = f"astrel.flash{number}"
    volts = (13.6, 13.4) if number % 2 else (13.7, 13.5)
    flash(story, label, f"{UNIT}.r{number}", when, by, control_unit=UNIT, volts=volts)
    if check:
        path = f"{FOLDER}/astrel-engine-r{number}-read-back.bin"
        read_back(story, label, path, partial(revision_file, calibration, "bin"), later(when, 9), by)
    coding_back(story, label, "astrel.coding", f"{FOLDER}/coding-as-found.csv", later(when, 16), by)
    first_start(story, label, later(when, 22), by)


def _first(story: Story) -> None:
    at, car = day(118, "10:10"), revisions.astrel_first()
    log_revision(
        story, f"{UNIT}.r1", car, f"{FOLDER}/astrel-engine-r1.bin", at, TUNER, parent=None,
        title="Torque from 2,000 to 5,000",
        purpose="About 50 N·m more between 2,000 and 5,000 1/min: boost target up by up to 170 hPa at high charge, "
        "torque and overboost limits moved along, a little less ignition and a richer mixture there",
        fuel="98 RON", hardware="Series turbocharger and intercooler",
    )  # fmt: skip
    _write(story, 1, car, later(at, 30), TUNER)
    _measure(story, NORTH_BEFORE, "r1", day(118, "14:20"), FIRST, Air(1009.6, 20.1, 55.0), (28.0, 30.0, 31.0))
    story.step(
        "decide_revision", day(118, "15:40"), TUNER, revision=f"{UNIT}.r1", decision="kept", reason="Base for more"
    )


def _second(story: Story) -> None:
    at, car = day(112, "09:40"), revisions.astrel_second()
    log_revision(
        story, f"{UNIT}.r2", car, f"{FOLDER}/astrel-engine-r2.bin", at, TUNER, parent=f"{UNIT}.r1",
        title="Ignition for 98 RON", purpose="Give back ignition above 3,000 1/min that no knock was logged for",
        fuel="98 RON",
    )  # fmt: skip
    _write(story, 2, car, later(at, 20), TUNER)
    _measure(story, NORTH_BEFORE, "r2", day(112, "11:30"), SECOND, Air(1017.8, 17.2, 47.0), (25.5, 28.0, 29.0))
    story.step("decide_revision", day(112, "13:00"), TUNER, revision=f"{UNIT}.r2", decision="kept")


def _third(story: Story) -> None:
    at, car = day(104, "10:00"), revisions.astrel_third()
    log_revision(
        story, f"{UNIT}.r3", car, f"{FOLDER}/astrel-engine-r3.bin", at, SECOND_TUNER, parent=f"{UNIT}.r1",
        title="Boost held to 6,000", purpose="The other way: hold boost above 4,500 1/min instead of adding ignition",
        fuel="98 RON",
    )  # fmt: skip
    _write(story, 3, car, later(at, 25), SECOND_TUNER)
    _measure(story, NORTH, "r3", day(104, "13:10"), THIRD, Air(1004.1, 21.4, 58.0), (30.0, 33.5, 36.0, 37.5))
    story.step(
        "decide_revision", day(104, "14:45"), SECOND_TUNER, revision=f"{UNIT}.r3", decision="withdrawn",
        reason="Weaker than revision 1 above 5,600 1/min and boost beyond the limit set for this engine",
    )  # fmt: skip


def _fourth(story: Story) -> None:
    at, car = day(90, "09:15"), revisions.astrel_fourth()
    log_revision(
        story, f"{UNIT}.r4", car, f"{FOLDER}/astrel-engine-r4.bin", at, TUNER, parent=f"{UNIT}.r2",
        title="Response from low speed", purpose="Quicker build-up of boost below 2,500 1/min, sport pedal a little "
        "sharper, engine speed limit 150 1/min higher", fuel="98 RON", hardware="Series turbocharger and intercooler",
    )  # fmt: skip
    _write(story, 4, car, later(at, 30), TUNER)
    _measure(story, NORTH, "r4", day(90, "13:20"), FOURTH, Air(1013.9, 18.8, 50.0), (27.5, 29.0, 30.5, 31.0))
    results = {"et_60ft_s": 2.24, "et_330ft_s": 5.88, "et_660ft_s": 8.94, "trap_660ft_kmh": 129.6, "et_1000ft_s": 11.57,
               "et_1320ft_s": 13.84, "trap_1320ft_kmh": 167.2, "t_0_100kmh_s": 5.94}  # fmt: skip
    _strip(story, day(89, "17:10"), results, "Same driver and tyres as in the stock run")
    story.step(
        "decide_revision", day(88, "09:00"), TUNER, revision=f"{UNIT}.r4", decision="released", legal_basis=USE,
        reason="Measured gain over the whole curve, no limit crossed, customer drove it",
    )  # fmt: skip
    story.step("end_visit", day(88, "16:30"), WRITER, vehicle=CAR)


def _fifth(story: Story) -> None:
    story.step(
        "begin_visit", day(6, "08:50"), WRITER, vehicle=CAR, reason="Winter fuel, light knock logged by the customer",
        odometer_km=34410.0,
    )  # fmt: skip
    check_identity(story, UNIT, catalogue.astrel_engine(), None, day(6, "09:00"), WRITER)
    at, car = day(6, "10:05"), revisions.astrel_fifth()
    log_revision(
        story, f"{UNIT}.r5", car, f"{FOLDER}/astrel-engine-r5.bin", at, TUNER, parent=f"{UNIT}.r4",
        title="Winter fuel", purpose="A step back for winter fuel: less ignition and a richer mixture at high charge",
        fuel="95 RON",
    )  # fmt: skip
    _write(story, 5, car, later(at, 20), TUNER, check=False)
    _measure(story, NORTH, "r5", day(6, "13:30"), FIFTH, Air(1008.3, 14.6, 61.0), (23.0, 25.5, 27.0))
