"""The shop can rely on it that a dyno that knows only roller speed gives the power that was put into the roller.

Check values: a constant power P spins a roller of inertia I up as ω² = ω₀² + 2Pt/I, and a drag of A + C·v² alone slows
a mass M down as v = √(A/C)·tan(arctan(v₀·√(C/A)) − t·√(A·C)/M): both are closed forms of Newton's second law.
"""

import io
import json
from pathlib import Path

import numpy as np
import pytest

from app.__main__ import main
from app.readers.dyno_csv import read_dyno_csv

INERTIA, RADIUS, POWER_W = 90.0, 0.3048, 200_000.0
DRAG_A, DRAG_C = 120.0, 0.35
RPM = 30 / np.pi


class Shell:
    def __init__(self, folder: Path, patch: pytest.MonkeyPatch, captured: pytest.CaptureFixture[str]) -> None:
        self.folder, self.patch, self.captured = folder, patch, captured
        patch.chdir(folder)

    def write(self, name: str, header: str, *columns: np.ndarray) -> None:
        rows = [",".join(f"{value:.6f}" for value in row) for row in zip(*columns, strict=True)]
        (self.folder / name).write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")

    def run(self, arguments: str) -> tuple[int, str, str]:
        words = ["revledger", "roller-power", *arguments.split(), "--inertia", "90", "--radius", "0.3048"]
        self.patch.setattr("sys.argv", words)
        self.patch.setattr("sys.stdin", io.StringIO())
        with pytest.raises(SystemExit) as ended:
            main()
        said = self.captured.readouterr()
        return int(ended.value.code or 0), said.out, said.err


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    shell = Shell(tmp_path, monkeypatch, capsys)
    t = np.arange(0, 6, 0.02)
    omega = np.sqrt(80.0**2 + 2 * POWER_W * t / INERTIA)
    shell.write("pull.csv", "time [s],roller speed [rpm]", t, omega * RPM)
    shell.write("road.csv", "time [s],road speed [km/h]", t, omega * RADIUS * 3.6)
    return shell


@pytest.mark.parametrize("file", ["pull.csv", "road.csv"])
def test_a_constant_power_is_found_from_roller_or_road_speed(shell: Shell, file: str) -> None:
    code, out, error = shell.run(f"{file} --json")
    assert (code, error) == (0, "")
    power = np.array([row["power_kw"] for row in json.loads(out)["samples"]])
    assert np.abs(power[25:-25] - POWER_W / 1000).max() < 0.5


def test_the_drag_is_fitted_to_a_coast_down_and_added(shell: Shell) -> None:
    mass = INERTIA / RADIUS**2
    t = np.arange(0, 60, 0.25)
    start = np.arctan(45.0 * np.sqrt(DRAG_C / DRAG_A))
    v = np.sqrt(DRAG_A / DRAG_C) * np.tan(start - t * np.sqrt(DRAG_A * DRAG_C) / mass)
    shell.write("coast.csv", "time [s],roller speed [rpm]", t[v > 4], v[v > 4] / RADIUS * RPM)
    code, out, error = shell.run("pull.csv --coast coast.csv --json")
    assert (code, error) == (0, "")
    found = json.loads(out)
    assert found["drag"]["a_n"] == pytest.approx(DRAG_A, rel=1e-3)
    assert found["drag"]["c_n_per_ms2"] == pytest.approx(DRAG_C, rel=1e-3)
    row = found["samples"][150]
    v = row["vehicle_speed_kmh"] / 3.6
    assert row["power_kw"] == pytest.approx((POWER_W + (DRAG_A + DRAG_C * v**2) * v) / 1000, abs=0.5)
    assert "Drag fitted to" in shell.run("pull.csv --coast coast.csv")[1]


def test_the_table_written_is_a_pull_that_a_session_takes(shell: Shell) -> None:
    code, out, _ = shell.run("pull.csv --ratio 4.0 --tyre 0.32 --csv out.csv")
    assert code == 0
    assert "No drag of the dyno is added" in out
    [pull] = read_dyno_csv((shell.folder / "out.csv").read_bytes()).pulls
    assert np.abs(pull.channels["power_kw"][25:-25] - POWER_W / 1000).max() < 0.5
    # v = ω·r of the roller, engine speed = v·ratio/(2π·tyre)
    expected = np.sqrt(80.0**2 + 2 * POWER_W * 3.0 / INERTIA) * RADIUS * 4.0 / 0.32 * RPM
    assert pull.channels["engine_speed_rpm"][150] == pytest.approx(expected, rel=1e-3)
    assert "torque_nm" in pull.channels


@pytest.mark.parametrize(
    ("arguments", "code", "sentence"),
    [
        ("pull.csv --load 1,2", 2, "--load takes three numbers"),
        ("pull.csv --load 1,2,3 --coast pull.csv", 2, "not both"),
        ("pull.csv --ratio 4", 2, "--ratio and --tyre go together"),
        ("pull.csv --coast pull.csv", 1, ""),
        ("none.csv", 2, "none.csv"),
        ("power.csv", 1, "No roller speed or road speed was recognised"),
        ("pull.csv --csv no/such/folder.csv", 1, "cannot be written"),
    ],
)
def test_what_cannot_be_used_is_told_in_a_sentence(shell: Shell, arguments: str, code: int, sentence: str) -> None:
    t = np.arange(0, 5, 0.1)
    shell.write("power.csv", "time [s],power [kW]", t, 50 + 10 * t)
    ended, out, error = shell.run(arguments)
    assert (ended, out) == (code, "")
    assert sentence in error
    assert len(error.strip().splitlines()) <= 2
