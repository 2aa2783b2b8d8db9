"""The shop can rely on it that nothing is called verified without evidence for all of it.

No standard defines a back-to-stock check; the rules are common practice, no source. The status byte follows ISO
14229-1 annex D, readiness words SAE J1979 (words from tests/calc/vehicle/data/dtc.json).
"""

from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.calibration.image import Image
from app.calc.restore.verdicts import (
    MOST_LISTED,
    Part,
    coding_verdict,
    coding_written_verdict,
    faults_verdict,
    flash_verdict,
    identity_verdict,
    parts_verdict,
    pull_verdict,
    read_back_verdict,
    readiness_verdict,
    stock_image_verdict,
    supply_verdict,
)
from app.calc.vehicle.coding import CodingSnapshot
from app.calc.vehicle.dtc import Dtc, Fault, decode_status
from app.calc.vehicle.identity import Identity, compare
from app.calc.vehicle.readiness import parse_readiness
from app.errors import BadInput

STOCK = Image.of([(0x8000, bytes(range(256))), (0xA000, b"\x55" * 64)])
ADAPTATION = (0x8040, 0x8050, "adaptation values")


def test_an_equal_read_back_is_verified() -> None:
    found = read_back_verdict(STOCK, STOCK, ())
    assert (found.outcome, found.sentence) == ("verified", "All 320 compared bytes equal stock.")


def test_differing_ranges_are_listed_with_their_addresses() -> None:
    read = STOCK.patched([(0x8010, b"\xff\xff"), (0x8018, b"\xff"), (0xA03F, b"\x00")])
    found = read_back_verdict(STOCK, read)
    assert found.outcome == "failed"
    assert found.details == ("0x8010 to 0x8018: 3 bytes not as in stock", "0xA03F to 0xA03F: 1 byte not as in stock")
    assert found.sentence.startswith("4 of 320 compared bytes differ from stock")


def test_volatile_ranges_are_left_out_openly() -> None:
    read = STOCK.patched([(0x8041, b"\xff")])
    found = read_back_verdict(STOCK, read, [ADAPTATION])
    assert found.outcome == "verified"
    assert "304 compared bytes" in found.sentence
    assert "16 bytes that the control unit rewrites itself were left out" in found.sentence
    assert found.details == ("0x8040 to 0x804F: left out (adaptation values); 1 byte changed there",)


def test_a_change_beside_a_volatile_range_still_fails() -> None:
    assert read_back_verdict(STOCK, STOCK.patched([(0x803F, b"\xff\xff")]), [ADAPTATION]).outcome == "failed"


def test_a_partial_read_is_not_verified() -> None:
    found = read_back_verdict(STOCK, Image.of([(0x8000, bytes(range(256)))]))
    assert found.outcome == "not verified"
    assert found.details == ("0xA000 to 0xA03F: 64 bytes not read back",)


def test_a_larger_read_is_not_verified_either() -> None:
    larger = Image.of([(0x8000, bytes(range(256))), (0xA000, b"\x55" * 65)])
    assert read_back_verdict(STOCK, larger).details == ("0xA040 to 0xA040: 1 byte read back, not in the stock image",)


def test_nothing_compared_is_not_verified() -> None:
    assert read_back_verdict(STOCK, Image.of([(0, b"x")])).outcome == "not verified"
    assert read_back_verdict(STOCK, STOCK, [(0, 0x10000, "all of it")]).outcome == "not verified"


def test_a_long_list_of_ranges_is_cut_and_says_so() -> None:
    stock = Image.of([(0, bytes(20_000))])
    read = stock.patched((k * 100, b"\x01") for k in range(200))
    found = read_back_verdict(stock, read)
    assert len(found.details) == MOST_LISTED + 1
    assert found.details[-1] == "and 150 more ranges not as in stock"
    one_over = stock.patched((k * 100, b"\x01") for k in range(MOST_LISTED + 1))
    assert read_back_verdict(stock, one_over).details[-1] == "and 1 more range not as in stock"


@given(
    st.binary(min_size=1, max_size=64),
    st.lists(st.tuples(st.integers(0, 63), st.integers(0, 255)), max_size=5),
    st.tuples(st.integers(0, 63), st.integers(0, 64)),
)
def test_verified_exactly_when_all_bytes_outside_volatile_are_equal(
    data: bytes, changes: list[tuple[int, int]], left_out: tuple[int, int]
) -> None:
    read = bytearray(data)
    for at, value in changes:
        if at < len(read):
            read[at] = value
    start, end = left_out
    counted = [k for k in range(len(data)) if not start <= k < end]
    found = read_back_verdict(Image.of([(0, data)]), Image.of([(0, bytes(read))]), [(start, end, "r")])
    equal = all(data[k] == read[k] for k in counted)
    assert found.outcome == (("verified" if equal else "failed") if counted else "not verified")


def test_stock_image_digest() -> None:
    assert stock_image_verdict("AB" * 32, "ab" * 32).outcome == "verified"
    assert stock_image_verdict("ab" * 32, "ac" * 32).outcome == "failed"
    assert stock_image_verdict("ab" * 32, None).outcome == "not verified"


@pytest.mark.parametrize(
    ("lowest", "highest", "outcome"),
    [(13.0, 13.6, "verified"), (12.4, 13.6, "failed"), (13.0, 14.6, "failed"), (12.6, 14.5, "verified")],
)
def test_supply_against_the_bounds_the_shop_set(lowest: float, highest: float, outcome: str) -> None:
    # 12.6 to 14.5 V: the span of makers' figures in a charger maker's table; the shop enters its own.
    assert supply_verdict(lowest, highest, allowed_v=(12.6, 14.5)).outcome == outcome


def test_supply_figures_that_cannot_be_are_refused() -> None:
    with pytest.raises(BadInput):
        supply_verdict(14.0, 13.0, allowed_v=(12.6, 14.5))


def test_flash_log() -> None:
    assert flash_verdict(True).outcome == "verified"
    assert flash_verdict(False, "cable fell out").details == ("cable fell out",)
    assert flash_verdict(False).outcome == "failed"


def test_coding_as_stated() -> None:
    assert coding_written_verdict(True, "all modules").details == ("all modules",)
    assert coding_written_verdict(False).outcome == "failed"


def test_a_read_back_of_a_revision_is_not_called_stock() -> None:
    found = read_back_verdict(STOCK, STOCK, written="revision 3")
    assert found.sentence == "All 320 compared bytes equal revision 3."


CODING = CodingSnapshot.of({"Body": {"long coding": "0A 1F", "mileage": "10"}, "Engine": {"variant": "03"}})


def test_coding() -> None:
    assert coding_verdict(CODING, CODING).outcome == "verified"
    other = CodingSnapshot.of({"Body": {"long coding": "0A 1E", "mileage": "12"}})
    found = coding_verdict(CODING, other, ignore=[("Body", "mileage")])
    assert found.outcome == "failed"
    assert found.details == (
        "Body, long coding: 0A 1F → 0A 1E",
        "Engine, variant: 03 → nothing",
        "module Engine was not read",
        "left out: Body, mileage: 10 → 12",
    )
    empty = CodingSnapshot.of({})
    assert coding_verdict(empty, empty).outcome == "not verified"
    assert coding_verdict(empty, CODING).outcome == "failed"


def fault(code: str, status: int | None = None) -> Fault:
    return Fault(Dtc(code), decode_status(status) if status is not None else (), "", "Engine")


@pytest.mark.parametrize(
    ("faults", "outcome"),
    [
        ([], "verified"),
        ([fault("P0133")], "failed"),
        ([fault("P0133", 0x50)], "verified"),
        ([fault("P0133", 0x10)], "verified"),
        ([fault("P0133", 0x54)], "failed"),
        ([fault("P0133", 0x08)], "failed"),
        ([fault("P0133", 0x70)], "failed"),
        ([fault("P0133", 0x50), fault("P0300", 0x2F)], "failed"),
    ],
)
def test_faults(faults: list[Fault], outcome: str) -> None:
    assert faults_verdict(faults).outcome == outcome


def test_old_and_new_faults_are_told_apart() -> None:
    found = faults_verdict([fault("P0133"), fault("P0300")], as_found=[fault("P0300")])
    assert found.details == ("Engine: P0133, not there at intake", "Engine: P0300, was there at intake")
    assert faults_verdict([fault("P0133", 0x50)]).sentence == "No fault is stored; 1 code not tested yet."


@pytest.mark.parametrize(
    ("words", "outcome"),
    [
        (["00076500"], "verified"),
        (["00076500", "00000000"], "verified"),
        (["00076565"], "not verified"),
        (["00076500", "00076521"], "not verified"),
        (["81074504"], "failed"),
        (["00000000"], "not verified"),
        ([], "not verified"),
    ],
)
def test_readiness(words: list[str], outcome: str) -> None:
    assert readiness_verdict([("Engine", parse_readiness(w)) for w in words]).outcome == outcome


def test_a_single_monitor_is_told_of_in_the_singular() -> None:
    """00 01 00 00: misfire alone is supported, and complete (SAE J1979, bits of PID 01)."""
    one = parse_readiness("00010000")
    assert one.sentence.startswith("The one supported monitor complete; ")
    assert readiness_verdict([("Engine", one)]).sentence == "The supported monitor is complete."
    assert parse_readiness("00110000").sentence.startswith("1 of 1 monitor not complete (misfire);")


def test_parts() -> None:
    assert parts_verdict([Part("air filter", True), Part("intercooler", True)]).outcome == "verified"
    assert parts_verdict([Part("air filter", True), Part("intercooler", None)]).outcome == "not verified"
    assert parts_verdict([Part("air filter", False, "open"), Part("x", None)]).sentence.endswith("air filter.")
    assert parts_verdict([Part("air filter", False, "open")]).details == ("air filter: not stock (open)",)
    assert parts_verdict([]).outcome == "not verified"


@dataclass(frozen=True)
class Found:
    equivalent: bool | None
    sentence: str = "as computed"


@pytest.mark.parametrize(
    ("result", "outcome"),
    [(Found(True), "verified"), (Found(False), "failed"), (Found(None), "not verified"), (None, "not verified")],
)
def test_pull(result: Found | None, outcome: str) -> None:
    assert pull_verdict(result).outcome == outcome


def test_identity() -> None:
    known = Identity("5XA", "0030", ("NOVA",), ("1A2B3C4D",))
    assert identity_verdict(compare(known, known)).outcome == "verified"
    assert identity_verdict(compare(known, Identity("5XA"))).outcome == "not verified"
    found = identity_verdict(compare(known, Identity("5XA", "0030", ("NOVA",), ("1A2B3C4E",))))
    assert found.outcome == "failed"
    assert found.details[-1] == "CVN: differs (recorded 1A2B3C4D, scanned 1A2B3C4E)"
