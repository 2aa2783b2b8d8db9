"""Fenmark Piper 1.2 T: came in three days ago; stock is safe and the baseline is measured, nothing is changed yet."""

from functools import partial

from seed_data import catalogue
from seed_data.acts import add_unit, attach_form, check_identity, keep_coding, later, read_stock_twice, scan_faults
from seed_data.pull_text import south_cell
from seed_data.pulls import Air, Engine, Pull, rows_of
from seed_data.story import Setting, Story, day, dyno_session
from seed_data.workshop import SECOND_TUNER, SOUTH_WITH_LOAD, WRITER

FOLDER, CAR, UNIT = "fenmark_piper", "piper", "piper.engine"
VIN = "U8MPP12TZSF442190"
USE = "competition on closed courses"
RATIOS = (3.77, 2.05, 1.36, 1.03, 0.82)
FINAL_DRIVE, TYRE_RADIUS_M = 4.06, 0.296
CVN = "90D3F2B1"

STOCK = Engine(
    torque_nm=((1300, 142), (1800, 204), (4000, 205), (5000, 180), (6200, 134)),
    lambda_ratio=((1300, 1.0), (2600, 0.985), (4500, 0.93), (6200, 0.87)),
    boost_hpa=((1300, 1430), (1800, 1850), (4200, 1890), (6200, 1600)),
    start_rpm=1700,
    end_rpm=6000,
    loss=0.12,
    air_share=0.3,
    kmh_per_1000=376.99112 * TYRE_RADIUS_M / (RATIOS[3] * FINAL_DRIVE),
)
SETTING = Setting(
    vehicle=CAR,
    folder=FOLDER,
    shown_as="Fenmark Piper 1.2 T",
    correction_standard="none",
    gear="4",
    drive_mode="normal",
    driven_axles="front",
    tyre="195/55 R16",
    tyre_pressure_bar=2.3,
    fuel="95 RON",
)
AIR = Air(1007.5, 13.8, 63.0)


def tell(story: Story) -> None:
    """Intake and baseline; two more pulls lie in the inbox and belong to no session yet."""
    at = day(3, "08:45")
    story.step(
        "register_vehicle", at, WRITER, label=CAR, vin=VIN, plate="EB 2190 P", make="Fenmark", model="Piper 1.2 T",
        customer_name="Yann Corbel", customer_contact="yann.corbel@example.org", year=2025,
        engine="1.2 l three cylinders, turbocharger", fuel="petrol", boosted=True, hybrid=False, driven_axles="front",
        rated_power_kw=96.0, rated_torque_nm=205.0, rated_standard="UN R85", test_mass_kg=1215.0,
        gear_ratios=list(RATIOS), final_drive=FINAL_DRIVE, tyre="195/55 R16", tyre_radius_m=TYRE_RADIUS_M,
        legal_basis=USE, loses_coding=True, odometer_km=3120.0, visit_reason="First look for a hill climb season",
    )  # fmt: skip
    software = catalogue.piper_engine()
    add_unit(story, UNIT, "engine", software, CVN, later(at, 9), WRITER)
    check_identity(story, UNIT, software, CVN, later(at, 10), WRITER)
    attach_form(story, CAR, FOLDER, "Yann Corbel", "Fenmark Piper 1.2 T", VIN, USE, later(at, 14))
    scan_faults(story, CAR, "intake", f"{FOLDER}/faults-intake.txt", later(at, 17), WRITER)
    read_stock_twice(story, UNIT, software, FOLDER, "s19", later(at, 45), SECOND_TUNER)
    keep_coding(story, "piper.coding", "as found", f"{FOLDER}/coding-as-found.json", later(at, 80), SECOND_TUNER)
    story.step(
        "set_limit", later(at, 95), SECOND_TUNER, vehicle=CAR, channel="lambda_", bound="max", value=0.97,
        speed_lo_rpm=4000.0, speed_hi_rpm=None, load_lo_percent=150.0, load_hi_percent=None, severity="stop",
        note="Only at high filling: below it the mixture may be leaner",
    )  # fmt: skip
    dyno_session(
        story, SETTING, SOUTH_WITH_LOAD, name="baseline", when=day(3, "13:30"), purpose="baseline", engine=STOCK,
        air=AIR, coolant_c=(86.0, 88.0, 89.0), intake_c=(22.0, 24.5, 26.0),
    )  # fmt: skip
    files = [story.file(f"inbox/south-cell-{k}.csv", partial(_lone_pull, k)) for k in (41, 42)]
    story.step("import_runs", day(1, "16:20"), SECOND_TUNER, files=files)


def _lone_pull(number: int) -> bytes:
    pull = Pull(f"inbox {number}", "inbox", number - 41, 23.0)
    return south_cell(rows_of(STOCK, AIR, pull), SETTING.shown_as, number)
