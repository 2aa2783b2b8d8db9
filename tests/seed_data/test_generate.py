"""The shop can rely on it that the invented files are the same everywhere and quickly made."""

import datetime as dt
import hashlib
import shutil
import subprocess
import sys
import time
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

import seed_data
from seed_data import stream
from seed_data.generate import Scenario, generate, moment

SOURCE = Path(seed_data.__file__).parent
# Of every file's name and bytes as written (CPython 3.11, numpy 2.4, x86-64). A change here is a change of the
# scenario: let it be a wanted one.
DIGEST = "41ec2957081ff6ff79b3bc4fc39d552ec1d7abfef6685f0e82468b104ae84711"


def digest_of(files: dict[str, bytes]) -> str:
    whole = hashlib.sha256()
    for name in sorted(files):
        whole.update(f"{name}\0{len(files[name])}\0".encode() + files[name])
    return whole.hexdigest()


def test_the_bytes_are_those_that_were_first_written(files: dict[str, bytes]) -> None:
    assert digest_of(files) == DIGEST


def test_random_bytes_follow_the_published_function() -> None:
    # FIPS 202, SHAKE256 of the empty message: NIST CAVP example, first 32 bytes of output.
    assert stream.random_bytes("", 32).hex() == "46b9dd2b0ba88d13233b3feb743eeb243fcd52ea62b81b82b50c27646ed5762f"


def test_normal_values_have_the_moments_they_claim() -> None:
    # Sum of twelve uniform values less six: mean 0, variance 1, excess kurtosis −0.1 (Irwin–Hall distribution).
    values = stream.normal("moments", 40_000)
    mean = sum(values) / len(values)
    variance = sum((v - mean) ** 2 for v in values) / len(values)
    fourth = sum((v - mean) ** 4 for v in values) / len(values) / variance**2
    assert abs(mean) < 0.02
    assert variance == pytest.approx(1.0, abs=0.03)
    assert fourth == pytest.approx(2.9, abs=0.1)


def test_everything_is_written_in_a_few_seconds_with_progress(tmp_path: Path) -> None:
    told: list[tuple[int, int, str]] = []
    start = time.process_time()
    scenario = generate(tmp_path / "made", lambda done, total, name: told.append((done, total, name)))
    assert time.process_time() - start < 6.0
    assert [done for done, _, _ in told] == list(range(1, len(scenario.files) + 1))
    assert {total for _, total, _ in told} == {len(scenario.files)}


def test_the_folder_alone_writes_the_same_files_when_run_by_path(tmp_path: Path, files: dict[str, bytes]) -> None:
    """As from inside a wheel: another parent folder, nothing of the application importable."""
    bundle = tmp_path / "bundle" / "seed_data"
    shutil.copytree(SOURCE, bundle, ignore=shutil.ignore_patterns("__pycache__"))
    made = tmp_path / "made"
    script = (
        "import sys, runpy; sys.argv = ['generate.py', sys.argv[2]];"
        f"runpy.run_path({str(bundle / 'generate.py')!r}, run_name='__main__');"
        "assert not any(m == 'app' or m.startswith('app.') for m in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-I", "-c", script, "-", str(made)], capture_output=True, text=True, cwd=tmp_path, check=False
    )
    assert done.returncode == 0, done.stderr
    assert (made / "scenario.json").exists()
    assert digest_of({name: (made / name).read_bytes() for name in files}) == digest_of(files)


def test_moments_follow_the_workshops_clock_over_the_change_of_summer_time() -> None:
    zone = ZoneInfo("Europe/London")
    now = dt.datetime(2026, 4, 2, 9, 0, tzinfo=dt.UTC)
    step = {"do": "anything", "days_ago": 5, "at": "09:30"}
    # 28 March 2026 is winter time in London, 2 April is summer time (clocks changed on 29 March 2026).
    assert moment(step, now, zone) == dt.datetime(2026, 3, 28, 9, 30, tzinfo=dt.UTC)
    assert moment(step | {"days_ago": 3}, now, zone) == dt.datetime(2026, 3, 30, 8, 30, tzinfo=dt.UTC)
    assert moment({"minutes_ago": 30}, now, zone) == dt.datetime(2026, 4, 2, 8, 30, tzinfo=dt.UTC)


@pytest.mark.parametrize("hour", [0, 3, 9, 15, 23])
def test_steps_lie_in_order_and_in_the_past_at_any_hour(scenario: Scenario, hour: int) -> None:
    zone = ZoneInfo("Europe/London")
    now = dt.datetime(2026, 11, 25, hour, 20, tzinfo=dt.UTC)
    moments = [moment(step, now, zone) for step in scenario.steps]
    assert moments == sorted(moments)
    assert moments[-1] < now
