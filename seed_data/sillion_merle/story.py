"""Sillion Merle 1.8: the workshop's own car. It goes on both dynos every few weeks and shows how well they repeat."""

from seed_data.acts import later
from seed_data.pulls import Air, Engine
from seed_data.story import Rollers, Setting, Story, day, dyno_session
from seed_data.workshop import MANAGER, NAME, NORTH, NORTH_BEFORE, SOUTH, SOUTH_BEFORE, TUNER, WRITER

FOLDER, CAR = "sillion_merle", "merle"
RATIOS = (3.55, 1.95, 1.3, 1.03, 0.85)
FINAL_DRIVE, TYRE_RADIUS_M = 3.94, 0.301

STOCK = Engine(
    torque_nm=((1500, 141), (3000, 162), (4300, 172), (5400, 166), (6400, 146)),
    lambda_ratio=((1500, 1.0), (3000, 0.98), (4500, 0.93), (6400, 0.9)),
    boost_hpa=None,
    start_rpm=2000,
    end_rpm=6250,
    loss=0.118,
    air_share=1.0,
    kmh_per_1000=376.99112 * TYRE_RADIUS_M / (RATIOS[3] * FINAL_DRIVE),
)
SETTING = Setting(
    vehicle=CAR,
    folder=FOLDER,
    shown_as="Sillion Merle 1.8",
    correction_standard="sae_j1349",
    gear="4",
    drive_mode="normal",
    driven_axles="front",
    tyre="205/55 R16",
    tyre_pressure_bar=2.4,
    fuel="95 RON",
)
# Days ago, air in the North cell, air in the South cell.
DAYS = (
    (210, Air(1005.3, 17.4, 58.0), Air(1005.9, 17.9, 57.0)),
    (176, Air(1012.7, 20.2, 49.0), Air(1012.4, 20.8, 48.0)),
    (141, Air(1018.1, 23.5, 45.0), Air(1017.6, 23.9, 45.0)),
    (106, Air(999.4, 22.0, 61.0), Air(999.8, 22.3, 60.0)),
    (71, Air(1009.0, 19.1, 55.0), Air(1008.6, 19.6, 54.0)),
    (37, Air(1014.4, 16.0, 52.0), Air(1014.1, 16.6, 51.0)),
)


def tell(story: Story) -> None:
    """Registered on the first day, measured ever since, never changed."""
    at = day(213, "09:00")
    story.step(
        "register_vehicle", at, WRITER, label=CAR, vin="U2RML18AZKM090317", plate="EB 90 SRR", make="Sillion",
        model="Merle 1.8", customer_name=NAME, customer_contact="desk@saltmarsh.example", year=2019,
        engine="1.8 l four cylinders, no charger", fuel="petrol", boosted=False, hybrid=False, driven_axles="front",
        rated_power_kw=103.0, rated_torque_nm=172.0, rated_standard="UN R85", test_mass_kg=1310.0,
        gear_ratios=list(RATIOS), final_drive=FINAL_DRIVE, tyre="205/55 R16", tyre_radius_m=TYRE_RADIUS_M,
        legal_basis="", loses_coding=False, odometer_km=61200.0, visit_reason="The workshop's own reference car",
    )  # fmt: skip
    story.step(
        "add_control_unit", later(at, 10), MANAGER, label="merle.engine", vehicle=CAR, role="engine",
        hardware_number="SL18-0042-09", software_number="SL18N-0615-A", calibration_ids=["SLMER18N0615A0EU"],
        cvns=["2B6E9C05"], base_address=0,
    )  # fmt: skip
    for days_ago, north_air, south_air in DAYS:
        north = NORTH if days_ago < 110 else NORTH_BEFORE
        south = SOUTH if days_ago < 145 else SOUTH_BEFORE
        _check(story, north, f"north-{days_ago}", days_ago, "08:20", north_air)
        _check(story, south, f"south-{days_ago}", days_ago, "15:40", south_air)
    story.step("end_visit", day(37, "17:00"), TUNER, vehicle=CAR)


def _check(story: Story, rollers: Rollers, name: str, days_ago: int, at: str, air: Air) -> None:
    warm = air.temperature_c
    purpose = "baseline" if days_ago == DAYS[0][0] else "measurement"
    dyno_session(
        story, SETTING, rollers, name=name, when=day(days_ago, at), purpose=purpose, engine=STOCK, air=air,
        coolant_c=(89.0, 90.0, 90.0), intake_c=(warm + 5, warm + 6, warm + 6.5),
    )  # fmt: skip
