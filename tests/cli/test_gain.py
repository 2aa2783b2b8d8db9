"""The shop can rely on it that the gain told at the command line is the gain between the files, with its uncertainty.

The pulls are drawn with a planted gain of 30 N·m from 3,500 1/min up (tests/dyno_car.py).
"""

import io
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from app.__main__ import main
from app.cli.gain import repeated
from tests.dyno_car import pull_csv, pull_mdf4

GAIN_NM = 30.0


class Shell:
    """Runs `revledger gain` in a folder of pulls, as the console script does."""

    def __init__(self, folder: Path, patch: pytest.MonkeyPatch, captured: pytest.CaptureFixture[str]) -> None:
        self.folder, self.patch, self.captured = folder, patch, captured
        patch.chdir(folder)
        for number in range(1, 5):
            (folder / f"base{number}.csv").write_bytes(pull_csv(number))
            (folder / f"new{number}.csv").write_bytes(pull_csv(100 + number, GAIN_NM))

    def gain(self, arguments: str) -> tuple[int, str, str]:
        self.patch.setattr("sys.argv", ["revledger", "gain", *arguments.split()])
        self.patch.setattr("sys.stdin", io.StringIO())
        with pytest.raises(SystemExit) as ended:
            main()
        said = self.captured.readouterr()
        return int(ended.value.code or 0), said.out, said.err

    def found(self, arguments: str) -> dict[str, Any]:
        code, out, error = self.gain(f"{arguments} --json")
        assert (code, error) == (0, "")
        result: dict[str, Any] = json.loads(out)
        return result


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    return Shell(tmp_path, monkeypatch, capsys)


FOUR = "base1.csv base2.csv base3.csv base4.csv --against new1.csv new2.csv new3.csv new4.csv"


def test_the_planted_gain_is_found_within_its_band(shell: Shell) -> None:
    found = shell.found(f"{FOUR} --at 2000 --at 4500 --band 4000-6000")
    low, high = found["read_off"]
    assert abs(low["gain_nm"]) <= low["half_nm"]
    assert abs(high["gain_nm"] - GAIN_NM) <= high["half_nm"] < GAIN_NM
    (average,) = found["bands"]
    assert (average["low_rpm"], average["high_rpm"]) == (4000, 6000)
    assert abs(average["gain_nm"] - GAIN_NM) <= average["half_nm"] < 5
    assert found["verdict"].startswith("Proven: more power over ")
    curve = found["curve"]
    assert np.allclose(np.array(curve["after_power_kw"]) - curve["before_power_kw"], curve["gain_kw"], atol=2e-4)
    speed = np.array(curve["speed_rpm"])
    assert np.allclose(np.array(curve["gain_nm"]) * speed * np.pi / 30000, curve["gain_kw"], atol=0.01)
    assert found["before"]["pulls"] == found["after"]["pulls"] == 4


def test_the_text_tells_verdict_sides_table_averages_and_warnings(shell: Shell) -> None:
    code, out, error = shell.gain(FOUR)
    assert (code, error) == (0, "")
    lines = out.splitlines()
    assert lines[0].startswith("Proven: more power over ")
    assert "Before: base1.csv, base2.csv, base3.csv, base4.csv" in lines
    assert sum("4 pulls repeat to r = " in line for line in lines) == 2
    rows = [line for line in lines if re.match(r" +\d,\d{3} +\d", line)]
    assert [int(row.split()[0].replace(",", "")) for row in rows] == list(range(1500, 6501, 500))
    assert re.search(r"Average 1,500 to 6,500\u202frpm: \+\d+\.\d ± \d+\.\d kW, \+\d+\.\d ± \d+\.\d N·m", out)
    figure = r"\d+\.\d ± \d+\.\d kW at \d,\d{3}\u202frpm"
    assert re.search(rf"Highest power of each side's whole curve: {figure} before, {figure} after", out)
    assert "no gain can be told there" not in out
    assert "- Uncorrected: the gain holds for pulls in the same air; otherwise give --standard and the air." in lines


def test_no_change_is_called_no_change(shell: Shell) -> None:
    found = shell.found("base1.csv base2.csv --against base3.csv base4.csv")
    assert found["verdict"].startswith("No change is proven")
    assert found["shares"] == {"better": 0.0, "within": 1.0, "worse": 0.0}


def test_one_pull_each_proves_nothing(shell: Shell) -> None:
    found = shell.found("base1.csv --against new1.csv")
    assert found["curve"]["half_kw"] is None and found["shares"] is None
    assert "the uncertainty is not known" in found["verdict"]
    assert any("make at least three" in text for text in found["warnings"])


def test_each_side_is_corrected_by_its_own_air(shell: Shell) -> None:
    """SAE J1349 (1990 form) in dry air: 1.0318765 at 35 °C and 980 hPa, 0.9684321 at 15 °C and 1000 hPa (the formula
    printed on five pages; tests/calc/dyno/data/atmosphere.json)."""
    air = "--standard sae_j1349 --humidity 0 --pressure 980 --pressure 1000 --temperature 35 --temperature 15"
    found, plain = shell.found(f"{FOUR} {air}"), shell.found(FOUR)
    assert found["before"]["factor"] == pytest.approx(1.0318765, abs=1e-6)
    assert found["after"]["factor"] == pytest.approx(0.9684321, abs=1e-6)
    for side, factor in (("before", 1.0318765), ("after", 0.9684321)):
        raw = np.array(plain["curve"][f"{side}_power_kw"])
        assert np.allclose(found["curve"][f"{side}_power_kw"], factor * raw, rtol=1e-4)
    assert not any("Uncorrected" in text for text in found["warnings"])


def test_humidity_left_out_is_said(shell: Shell) -> None:
    found = shell.found(f"{FOUR} --standard sae_j1349 --pressure 990 --temperature 35")
    assert any("Humidity not recorded" in text for text in found["warnings"])
    boosted = shell.found(f"{FOUR} --standard sae_j1349 --pressure 990 --temperature 35 --humidity 40 --boosted")
    assert any("already compensates" in text for text in boosted["warnings"])


def test_an_mdf4_log_stands_on_either_side(shell: Shell) -> None:
    for number in (1, 2, 3):
        (shell.folder / f"new{number}.mf4").write_bytes(pull_mdf4(shell.folder, 100 + number, GAIN_NM))
    logs = shell.found("base1.csv base2.csv base3.csv --against new1.mf4 new2.mf4 new3.mf4")
    text = shell.found("base1.csv base2.csv base3.csv --against new1.csv new2.csv new3.csv")
    assert np.allclose(logs["curve"]["gain_kw"], text["curve"]["gain_kw"])


def test_corrected_and_uncorrected_never_compare(shell: Shell) -> None:
    body = pull_csv(1, channels=False).decode().splitlines()
    for number in (1, 2):
        rows = "\n".join(["Engine speed [1/min];Torque corrected [Nm]", *body[1:]])
        (shell.folder / f"corrected{number}.csv").write_text(rows, encoding="utf-8")
    code, out, error = shell.gain("corrected1.csv --against base1.csv")
    assert (code, out) == (1, "") and "corrected and uncorrected pulls never compare" in error
    code, _, error = shell.gain("corrected1.csv base1.csv --against base2.csv")
    assert code == 1 and "give only one kind" in error
    code, _, error = shell.gain(
        "corrected1.csv --against corrected2.csv --standard din_70020 --pressure 990 --temperature 20"
    )
    assert code == 1 and "corrected the pulls already" in error
    assert "corrected by the dyno" in shell.gain("corrected1.csv --against corrected2.csv")[1]


def test_wheel_and_engine_power_never_compare(shell: Shell) -> None:
    rows = [f"{n},{n / 50}" for n in range(1500, 6501, 100)]
    (shell.folder / "wheels.csv").write_text("\n".join(["rpm,Wheel power [kW]", *rows]), encoding="utf-8")
    (shell.folder / "engine.csv").write_text("\n".join(["rpm,Engine power [kW]", *rows]), encoding="utf-8")
    code, _, error = shell.gain("wheels.csv --against engine.csv")
    assert code == 1 and "they do not compare" in error


@pytest.mark.parametrize(
    "arguments,code,words",
    [
        ("base1.csv --against new1.csv --at 9000", 1, "9,000 rpm lies outside what both sessions cover"),
        ("base1.csv --against new1.csv --band fast", 1, "write it like 2500-5500"),
        ("base1.csv --against new1.csv --standard sae_j1349", 1, "give --pressure and --temperature"),
        ("base1.csv --against new1.csv --standard best", 1, "is no correction standard; choose one of none, sae_j1349"),
        ("base1.csv --against words.csv", 1, "words.csv"),
        ("base1.csv --against idle.csv", 1, "idle.csv: pull 1: No pull was found in this recording"),
        ("base1.csv --against new1.csv --plot missing/out.html", 1, "The page cannot be written"),
        ("base1.csv --against gone.csv", 2, "gone.csv"),
        ("base1.csv", 2, "--against"),
        ("base1.csv --against new1.csv --pressure 1 --pressure 2 --pressure 3", 2, "once for both sides, or twice"),
    ],
)
def test_misuse_and_bad_files_leave_with_one_sentence(shell: Shell, arguments: str, code: int, words: str) -> None:
    (shell.folder / "words.csv").write_text("only,words\nno,numbers\n", encoding="utf-8")
    idle = "\n".join(f"{900 + n % 3},{20 + n % 2}" for n in range(60))
    (shell.folder / "idle.csv").write_text(f"rpm,Torque [Nm]\n{idle}\n", encoding="utf-8")
    ended, out, error = shell.gain(arguments)
    assert (ended, out) == (code, "")
    assert words in error and "Traceback" not in error


def test_every_file_up_to_the_next_option_is_of_the_side_after() -> None:
    assert repeated(["a", "b", "--against", "c", "d", "--at", "3000", "--json"]) == [
        *("a", "b", "--against", "c", "--against", "d", "--at", "3000", "--json")
    ]
    assert repeated(["--against", "c", "--against", "d", "a"]) == ["--against", "c", "--against", "d", "--against", "a"]


def test_the_plot_is_one_file_that_asks_for_nothing(shell: Shell) -> None:
    code, out, _ = shell.gain(f"{FOUR} --plot out.html")
    assert code == 0 and "Curves: out.html" in out
    page = (shell.folder / "out.html").read_text(encoding="utf-8")
    ours = page.replace(_library(), "")
    assert not re.search(r"""(src|href)\s*=\s*["']?[a-z]""", ours)
    assert "http" not in ours
    assert '"Power before"' in ours and '"Gain"' in ours
    assert 'showSendToCloud: false, plotlyServerURL: ""' in ours
    assert "Proven: more power over " in ours


def _library() -> str:
    from app.web.assets import load_assets

    return load_assets().files["plotly.js"].decode()
