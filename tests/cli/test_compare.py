"""The shop can rely on it that two image files are compared at the command line, without a database.

Figures by hand from tests/calibration_car.py: numbers of 0.001 bar.
"""

import csv
import io
import json
from pathlib import Path

import pytest

from app.__main__ import main
from tests.calibration_car import HIDDEN_RAISED, RAISED, image_of
from tests.shop import LAYOUT


class Shell:
    """Runs `revledger compare` in a folder with two images and a layout, as the console script does."""

    def __init__(self, folder: Path, patch: pytest.MonkeyPatch, captured: pytest.CaptureFixture[str]) -> None:
        self.patch, self.captured = patch, captured
        patch.chdir(folder)
        Path("a.bin").write_bytes(image_of())
        Path("b.bin").write_bytes(image_of(RAISED, HIDDEN_RAISED))
        Path("l.csv").write_bytes(LAYOUT)

    def run(self, arguments: str) -> tuple[int, str, str]:
        self.patch.setattr("sys.argv", ["revledger", "compare", *arguments.split()])
        with pytest.raises(SystemExit) as ended:
            main()
        said = self.captured.readouterr()
        return int(ended.value.code or 0), said.out, said.err


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    return Shell(tmp_path, monkeypatch, capsys)


def test_the_table_names_maps_unexplained_bytes_and_checksums(shell: Shell) -> None:
    code, out, error = shell.run("a.bin b.bin --layout l.csv")
    assert (code, error) == (0, "")
    assert out.startswith("1 map changed, 12 bytes unexplained.\n")
    assert "boost target  boost" in out and "4 of 8" in out and "+0.180 bar" in out and "+10.0 %" in out
    assert "0x400–0x40B  12 of 12 changed" in out
    assert "block  holds" in out


def test_json_and_csv_hold_every_changed_cell(shell: Shell) -> None:
    code, out, _ = shell.run("a.bin b.bin --layout l.csv --json")
    whole = json.loads(out)
    assert code == 0
    assert whole["deltas"][0]["after"][1] == pytest.approx([1.1, 1.4, 1.87, 1.98])
    _, out, _ = shell.run("a.bin b.bin --layout l.csv --csv")
    rows = list(csv.DictReader(io.StringIO(out)))
    assert sum(row["what"] == "cell" for row in rows) == 4


def test_without_a_layout_every_byte_is_unexplained(shell: Shell) -> None:
    _, out, _ = shell.run("a.bin b.bin")
    changed = sum(a != b for a, b in zip(image_of(), image_of(RAISED, HIDDEN_RAISED), strict=True))
    assert out.startswith(f"{changed} bytes changed, no layout explains them.\n")


def test_a_raw_binary_begins_where_it_is_said_to(shell: Shell) -> None:
    for typed in ("0x8000", "8000"):
        _, out, _ = shell.run(f"a.bin b.bin --base-address {typed}")
        assert "0x8400–0x840B" in out


def test_a_broken_checksum_is_warned_about(shell: Shell) -> None:
    broken = bytearray(image_of(RAISED))
    broken[0x181] ^= 1
    Path("b.bin").write_bytes(bytes(broken))
    _, out, _ = shell.run("a.bin b.bin --layout l.csv")
    assert "1 block checksum does not hold." in out
    assert "Warning: The block checksum block does not hold." in out


@pytest.mark.parametrize(
    ("arguments", "code", "sentence"),
    [
        ("a.bin missing.bin", 2, "missing.bin"),
        ("a.bin", 2, "see revledger --help"),
        ("a.bin b.bin --json --csv", 2, "not both"),
        ("a.bin b.bin --base-address zero", 2, "is no address"),
        ("a.bin b.bin --layout a.bin", 1, "a.bin"),
        ("a.bin empty.bin", 1, "empty.bin, line 1: Expected an image"),
    ],
)
def test_misuse_and_bad_files_end_with_one_sentence(shell: Shell, arguments: str, code: int, sentence: str) -> None:
    Path("empty.bin").write_bytes(b"")
    found, out, error = shell.run(arguments)
    assert (found, out) == (code, "")
    assert sentence in error and error.count("\n") == 1
