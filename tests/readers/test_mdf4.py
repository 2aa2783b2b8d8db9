"""The shop can rely on it that an MDF4 log gives the pull that was recorded, or one sentence, and never takes the
program down. The logs are written here by asammdf, the reference library for the format."""

import importlib.util
import random
import re
from pathlib import Path

import numpy as np
import pytest
from asammdf import MDF, Signal
from numpy.typing import NDArray

from app.calc.dyno.curve import curve_of
from app.errors import BadInput, TooLarge
from app.readers import mdf4, mdf4_child
from app.readers.dyno_columns import ColumnChoice, ColumnProfile
from app.readers.dyno_file import read_dyno_file

PER_COMMIT, PER_RELEASE = 60, 2000
TIME = np.arange(0, 12, 0.02)
SPEED = np.interp(TIME, [0, 2, 10, 10.4, 12], [1500, 1500, 6500, 6560, 3000])
TORQUE = np.where((TIME > 2) & (TIME < 10), 250 - ((SPEED - 4000) / 300) ** 2, -20)
SLOW = np.arange(0, 12, 0.1)


def written(folder: Path, *groups: list[Signal], version: str = "4.10", compression: int = 0) -> bytes:
    with MDF(version=version) as log:
        for group in groups:
            log.append(group)
        file = log.save(folder / "log.mf4", overwrite=True, compression=compression)
    return Path(file).read_bytes()


def signal(values: NDArray[np.float64], time: NDArray[np.float64], name: str, unit: str) -> Signal:
    return Signal(values, time, name=name, unit=unit)


def log_of_a_pull(folder: Path, **how: object) -> bytes:
    """Two groups of different sampling, a text channel, a wanted value that must not be taken for the measured one."""
    return written(
        folder,
        [
            signal(SPEED, TIME, "Engine speed", "1/min"),
            signal(TORQUE / 1.3558179483314, TIME, "Wheel torque", "lbf.ft"),
            signal(TORQUE + 30, TIME, "Torque setpoint", "Nm"),
        ],
        [
            signal(0.90 - SLOW / 120, SLOW, "Lambda 1", ""),
            signal(0.95 + 0 * SLOW, SLOW, "Lambda 2", ""),
            Signal(np.array([b"closed loop"] * SLOW.size), SLOW, name="State", encoding="utf-8"),
        ],
        **how,  # type: ignore[arg-type]  # version or compression
    )


@pytest.mark.parametrize("how", [{}, {"version": "4.00"}, {"version": "4.20"}, {"compression": 1}, {"compression": 2}])
def test_a_log_gives_its_pull_whatever_its_version_and_packing(tmp_path: Path, how: dict[str, object]) -> None:
    found = read_dyno_file(log_of_a_pull(tmp_path, **how))
    (pull,) = found.pulls
    assert np.allclose(pull.channels["engine_speed_rpm"], SPEED)
    assert np.allclose(pull.channels["torque_nm"], TORQUE)
    assert np.allclose(pull.channels["time_s"], TIME)
    assert pull.derived == ("power_kw",)
    assert [c.quantity for c in found.columns][:3] == ["engine_speed_rpm", "torque_nm", None]
    assert found.columns[1].measured_at == "wheels"
    assert found.slips == ()


def test_slower_channels_are_brought_to_the_times_of_the_engine_speed(tmp_path: Path) -> None:
    found = read_dyno_file(log_of_a_pull(tmp_path))
    lambda_ = found.channels["lambda_"]
    last = SLOW[-1]
    inside = last >= TIME
    assert np.allclose(lambda_[inside], 0.90 - TIME[inside] / 120)
    assert np.isnan(lambda_[~inside]).all()  # beyond the last sample nothing was recorded
    assert "'Lambda 2' was not used, because 'Lambda 1' gives the same quantity." in found.notes


def test_the_curve_of_a_log_is_the_curve_of_its_sweep(tmp_path: Path) -> None:
    curve = curve_of(read_dyno_file(log_of_a_pull(tmp_path)).channels)
    inner = (curve.speed_rpm > 1700) & (curve.speed_rpm < 6300)
    assert np.allclose(curve.torque_nm[inner], 250 - ((curve.speed_rpm[inner] - 4000) / 300) ** 2, rtol=0.002)


def test_confirmed_columns_win(tmp_path: Path) -> None:
    data = written(tmp_path, [signal(SPEED, TIME, "n", ""), signal(TORQUE, TIME, "M_whl", "Nm")])
    profile = ColumnProfile({"n": ColumnChoice("engine_speed_rpm", "rpm"), "M_whl": ColumnChoice("torque_nm", "kgf·m")})
    found = read_dyno_file(data, profile=profile)
    assert np.allclose(found.channels["torque_nm"], TORQUE * 9.80665)


def test_of_a_thousand_channels_those_understood_are_told_and_some_others(tmp_path: Path) -> None:
    more = [signal(SLOW, SLOW, f"Internal {number}", "") for number in range(1000)]
    found = read_dyno_file(
        written(tmp_path, more, [signal(SPEED, TIME, "rpm", ""), signal(TORQUE, TIME, "Torque", "Nm")])
    )
    assert [c.header for c in found.columns if c.quantity] == ["rpm", "Torque", "time"]
    assert len(found.columns) == 63
    assert np.allclose(found.channels["torque_nm"], TORQUE)


def test_text_goes_to_the_text_reader() -> None:
    rows = "\n".join(f"{n};{200 + n / 100}" for n in range(1500, 6501, 250))
    assert read_dyno_file(f"Engine speed [rpm];Torque [Nm]\n{rows}".encode()).delimiter == ";"


def test_a_log_without_what_a_pull_needs_says_what_it_holds(tmp_path: Path) -> None:
    data = written(tmp_path, [signal(SLOW, SLOW, "Door open", ""), signal(SLOW, SLOW, "Wiper", "")])
    with pytest.raises(BadInput, match="No channel of this MDF4 log") as refused:
        read_dyno_file(data)
    assert refused.value.details == ("Door open []", "Wiper []")


def test_a_log_that_was_not_closed_says_so(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="not closed by its recorder"):
        read_dyno_file(b"UnFinMF " + log_of_a_pull(tmp_path)[8:])


def test_without_the_extra_the_sentence_says_how_to_install_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    data = log_of_a_pull(tmp_path)
    known = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == "asammdf" else known(name))
    with pytest.raises(BadInput, match=re.escape("pip install 'revledger[mdf]'")):
        read_dyno_file(data)


def test_a_log_larger_than_the_limit_is_refused_before_it_is_read() -> None:
    with pytest.raises(TooLarge, match="larger than 256 MiB"):
        mdf4.read_mdf4(mdf4.HEAD + bytes(mdf4.MOST_BYTES))


def test_a_reader_that_hangs_is_given_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mdf4, "SECONDS", 0.05)
    with pytest.raises(TooLarge, match="given up"):
        read_dyno_file(log_of_a_pull(tmp_path))


def test_the_child_reads_what_it_is_given_here_too(tmp_path: Path) -> None:
    """The same code in this process, where a debugger and the coverage measurement reach it."""
    arrays = mdf4_child._read(log_of_a_pull(tmp_path), ColumnProfile())
    assert np.allclose(arrays["0"], SPEED) and arrays["time"].size == TIME.size


def damaged(data: bytes, rng: random.Random) -> bytes:
    """Bit flips, overwritten stretches, cuts and zeroed pages; the head stays, so that the reader is reached."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 8, 40))):
        at = rng.randrange(8, len(out))
        match rng.randrange(5):
            case 0:
                out[at] ^= 1 << rng.randrange(8)
            case 1:
                out[at : at + 8] = rng.randbytes(8)
            case 2:
                out[at : at + 8] = rng.choice((0, 8, 64, 1 << 20, (1 << 63) - 1)).to_bytes(8, "little")
            case 3:
                out[at : at + 256] = bytes(len(out[at : at + 256]))
            case _ if rng.random() < 0.2:
                del out[max(at, 64) :]
            case _:
                out[at] = rng.randrange(256)
        if len(out) < 70:
            break
    return bytes(out)


def survive(folder: Path, count: int, seed: int) -> None:
    rng = random.Random(seed)
    sources = [log_of_a_pull(folder), log_of_a_pull(folder, compression=2)]
    refused = 0
    for number in range(count):
        data = damaged(sources[number % 2], rng)
        try:
            found = read_dyno_file(data)
        except BadInput as error:
            refused += 1
            assert error.sentence.endswith(".")
        else:
            for pull in found.pulls:
                assert {values.shape for values in pull.channels.values()} == {pull.lines.shape}
    assert 0 < refused < count


def test_damaged_logs_are_refused_by_a_sentence_or_read(tmp_path: Path) -> None:
    survive(tmp_path, PER_COMMIT, 1)


@pytest.mark.release
def test_thousands_of_damaged_logs_are_refused_by_a_sentence_or_read(tmp_path: Path) -> None:
    survive(tmp_path, PER_RELEASE, 2)
