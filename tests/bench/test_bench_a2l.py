"""How long an A2L file takes, measured against finding its words with one regular expression over the whole text."""

import re
import subprocess
import sys
import textwrap
import time

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from app.readers.a2l import read_a2l
from tests.bench.timing import medians

_WORDS = re.compile(r'"[^"]*"|\S+')


def generated_a2l(characteristics: int, megabytes: float) -> bytes:
    """A file with curves, maps, values, their axes and conversions, filled up with what real files are full of:
    measurements, interface data and annotations that decoding does not need.
    """
    head = """ASAP2_VERSION 1 61 /begin PROJECT BENCH "generated" /begin MODULE BENCH "generated"
    /begin MOD_COMMON "" BYTE_ORDER MSB_FIRST ALIGNMENT_WORD 2 /end MOD_COMMON
    /begin RECORD_LAYOUT R1 FNC_VALUES 1 SWORD ROW_DIR DIRECT /end RECORD_LAYOUT
    /begin RECORD_LAYOUT R2 NO_AXIS_PTS_X 1 UWORD AXIS_PTS_X 2 UWORD INDEX_INCR DIRECT FNC_VALUES 3 SWORD COLUMN_DIR
      DIRECT /end RECORD_LAYOUT
    /begin RECORD_LAYOUT R3 AXIS_PTS_X 1 UWORD INDEX_INCR DIRECT /end RECORD_LAYOUT
    """
    parts = [head]
    parts += [
        f'/begin COMPU_METHOD CM{k} "" RAT_FUNC "%6.2" "u{k % 7}" COEFFS 0 {k + 1} {k % 50} 0 0 1 /end COMPU_METHOD\n'
        for k in range(500)
    ]
    parts += [
        f'/begin AXIS_PTS AX{k} "axis" 0x{0x8000 + 64 * k:X} N R3 0 CM{k % 500} 12 0 9999 /end AXIS_PTS\n'
        for k in range(1000)
    ]
    inner = max(0, int(megabytes * 1e6 / characteristics) - 250)
    filler = '/begin IF_DATA OWN 0x1234 "a longer text about nothing" 17 /begin SUB 1 2 3 /end SUB /end IF_DATA\n      '
    filling = filler * (inner // 2 // len(filler) + 1)
    measurement = (
        '/begin MEASUREMENT M{k} "a signal" UWORD CM1 0 0 0 100 ECU_ADDRESS 0x100 {filling} /end MEASUREMENT\n'
    )
    for k in range(characteristics):
        address = 0x10_0000 + 600 * k
        common = f'"table {k} of the generated file" {{}} 0x{address:X} {{}} 0 CM{k % 500} -100 100\n      {filling}'
        axis = f"/begin AXIS_DESCR COM_AXIS N CM{k % 500} 12 0 9999 AXIS_PTS_REF AX{k % 1000} /end AXIS_DESCR\n"
        own = f"/begin AXIS_DESCR STD_AXIS N CM{k % 500} 8 0 9999 /end AXIS_DESCR\n"
        kind, record, tail = (
            ("VALUE", "R1", ""),
            ("CURVE", "R2", own),
            ("MAP", "R1", axis + axis),
        )[k % 3]
        parts.append(f"/begin CHARACTERISTIC T{k}.x {common.format(kind, record)} {tail} /end CHARACTERISTIC\n")
        parts.append(measurement.format(k=k, filling=filling))
    parts.append("/end MODULE /end PROJECT\n")
    return "".join(parts).encode()


def test_reading_costs_a_few_times_finding_the_words(benchmark: BenchmarkFixture) -> None:
    data = generated_a2l(3_000, 5)
    found = benchmark.pedantic(read_a2l, args=(data,), rounds=2)
    assert len(found.layout.maps) == 3_000
    words, reading = medians(3, lambda: sum(1 for _ in _WORDS.finditer(data.decode())), lambda: read_a2l(data))
    benchmark.extra_info["ratio_to_words"] = round(reading / words, 2)
    assert reading < 8 * words


def test_time_grows_with_the_file_and_no_faster() -> None:
    times = []
    for factor in (1, 4):
        data = generated_a2l(1_500 * factor, 2.5 * factor)
        started = time.process_time()
        read_a2l(data)
        times.append(time.process_time() - started)
    assert times[1] < 4 * 2.5 * times[0]


@pytest.mark.release
def test_large_file_takes_at_most_15_seconds_and_1_gb() -> None:
    script = """
        import resource, time
        from app.readers.a2l import read_a2l
        from tests.bench.test_bench_a2l import generated_a2l
        data = generated_a2l(30_000, 50)
        steps = []
        started = time.perf_counter()
        found = read_a2l(data, progress=lambda done, total: steps.append(done))
        seconds = time.perf_counter() - started
        megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(len(data), len(found.layout.maps), len(steps), seconds, megabytes)
    """
    result = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(script)], capture_output=True, text=True, check=True, timeout=120
    )
    size, maps, steps, seconds, megabytes = map(float, result.stdout.split())
    assert size > 45e6
    assert maps == 30_000
    assert steps > 50
    assert seconds < 15
    assert megabytes < 1024
