"""The software versions of the invented cars. Every number, name and address here is made up."""

from functools import cache

from seed_data.block_sums import CRC16, CRC32, SUM16, SUM32, SUM32_TWOS, BlockSum
from seed_data.diesel_tables import diesel_tables
from seed_data.drive_tables import hybrid_tables, transmission_tables
from seed_data.petrol_engine import Petrol
from seed_data.petrol_tables import petrol_tables
from seed_data.software import Software
from seed_data.tables import ByteOrder, Table

KIB = 1024

TURBO_2_0 = Petrol(
    peak_torque_nm=370.0,
    redline_rpm=6600.0,
    top_speed_kmh=240.0,
    boost_peak_hpa=2050.0,
    full_load_nm=((600.0, 140.0), (1200.0, 205.0), (1700.0, 345.0), (2000.0, 370.0), (4600.0, 370.0),
                  (5500.0, 322.0), (6600.0, 246.0)),
    full_load_percent=198.0,
    shared_axes=True,
)  # fmt: skip
ATMOSPHERIC_3_6 = Petrol(
    peak_torque_nm=360.0,
    redline_rpm=7200.0,
    top_speed_kmh=250.0,
    boost_peak_hpa=None,
    full_load_nm=((600.0, 215.0), (1500.0, 296.0), (3000.0, 338.0), (4800.0, 360.0), (6300.0, 341.0),
                  (7200.0, 298.0)),
    full_load_percent=96.0,
    shared_axes=False,
    byte_angles=True,
)  # fmt: skip
HYBRID_2_5 = Petrol(
    peak_torque_nm=238.0,
    redline_rpm=6300.0,
    top_speed_kmh=190.0,
    boost_peak_hpa=None,
    full_load_nm=((600.0, 130.0), (1500.0, 190.0), (3200.0, 228.0), (4400.0, 238.0), (6300.0, 196.0)),
    full_load_percent=90.0,
    shared_axes=True,
)
TURBO_3_0 = Petrol(
    peak_torque_nm=500.0,
    redline_rpm=6800.0,
    top_speed_kmh=250.0,
    boost_peak_hpa=1950.0,
    full_load_nm=((600.0, 190.0), (1200.0, 290.0), (1600.0, 470.0), (1900.0, 500.0), (4800.0, 500.0),
                  (5700.0, 450.0), (6800.0, 352.0)),
    full_load_percent=186.0,
    shared_axes=False,
)  # fmt: skip


def _software(
    key: str,
    numbers: tuple[str, str, str],
    order: ByteOrder,
    size_kib: int,
    base: int,
    tables: tuple[Table, ...],
    algorithms: tuple[str, str],
) -> Software:
    """A memory plan in proportion to the size: program, 16 KiB of tables at three quarters, learned values."""
    size = size_kib * KIB
    calibration = size * 3 // 4
    end = calibration + 16 * KIB
    program, tables_sum = algorithms
    sums = (
        BlockSum("boot block", CRC32, 0, 0x3FF0, 0x3FF0),
        BlockSum("program", program, 0x4000, calibration, end - 8),
        BlockSum("calibration", tables_sum, calibration, end - 16, end - 16),
    )
    hardware, software, calibration_id = numbers
    return Software(
        key=key,
        hardware_number=hardware,
        software_number=software,
        calibration_id=calibration_id,
        order=order,
        size=size,
        base=base,
        boot_end=0x4000,
        code_end=size * 11 // 16,
        calibration=calibration,
        calibration_end=end,
        adaptation=(size - 32 * KIB, size - 31 * KIB),
        tables=tables,
        sums=sums,
    )


@cache
def astrel_engine() -> Software:
    """Corvane Astrel 2.0 T and its estate: one software for both."""
    numbers = ("CV20-4471-03", "CV20T-1184-A01", "CVAST20T1184A01X")
    return _software("astrel-engine", numbers, "big", 1024, 0, petrol_tables(TURBO_2_0), (CRC32, CRC32))


@cache
def lanner_engine() -> Software:
    """Tarkess Lanner 3.6."""
    numbers = ("TK36-0920-11", "TK36N-5507-C", "TKLAN36N5507C00A")
    tables = petrol_tables(ATMOSPHERIC_3_6)
    return _software("lanner-engine", numbers, "little", 512, 0x00080000, tables, (CRC16, SUM32_TWOS))


@cache
def hauler_engine() -> Software:
    """Ondrake Hauler 2.2 D."""
    numbers = ("OD22-3108-07", "OD22D-2240-07", "ODHAU22D224007EU")
    tables = diesel_tables(350.0, 2350.0, 160.0)
    return _software("hauler-engine", numbers, "little", 4096, 0, tables, (SUM16, SUM32))


@cache
def sirrus_engine() -> Software:
    """Velmora Sirrus HX, combustion engine."""
    numbers = ("VM25-7719-02", "VM25H-0316-B2", "VMSIR25H0316B2AW")
    tables = (*petrol_tables(HYBRID_2_5), *hybrid_tables())
    return _software("sirrus-engine", numbers, "big", 512, 0x00800000, tables, (CRC16, CRC16))


@cache
def sirrus_drive() -> Software:
    """Velmora Sirrus HX, electric drive: nobody has a layout for it."""
    numbers = ("VMHX-2201-05", "VMHXD-0098-A", "VMSIRHXD0098A0AW")
    return _software("sirrus-drive", numbers, "big", 512, 0x00010000, hybrid_tables(), (SUM32, CRC32))


@cache
def warder_engine() -> Software:
    """Brennick Warder 3.0 T, engine."""
    numbers = ("BN30-6645-01", "BN30T-4102-F3", "BNWAR30T4102F3NA")
    tables = petrol_tables(TURBO_3_0)
    return _software("warder-engine", numbers, "little", 2048, 0x80000000, tables, (CRC32, CRC16))


@cache
def warder_transmission() -> Software:
    """Brennick Warder 3.0 T, eight-speed automatic transmission."""
    numbers = ("BN8A-1180-04", "BN8AT-0733-D", "BNWAR8AT0733D0NA")
    tables = transmission_tables(8, 560.0)
    return _software("warder-transmission", numbers, "big", 512, 0, tables, (SUM16, CRC32))


@cache
def piper_engine() -> Software:
    """Fenmark Piper 1.2 T."""
    numbers = ("FM12-5031-06", "FM12T-0871-A", "FMPIP12T0871A0EU")
    engine = Petrol(205.0, 6200.0, 200.0, 1900.0, ((600.0, 95.0), (1700.0, 205.0), (4000.0, 205.0),
                    (6200.0, 132.0)), 170.0, True)  # fmt: skip
    return _software("piper-engine", numbers, "little", 512, 0, petrol_tables(engine), (CRC16, CRC32))
