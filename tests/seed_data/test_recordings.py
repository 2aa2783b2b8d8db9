"""The shop can rely on it that the invented pulls behave as pulls on rollers do."""

from collections import defaultdict
from statistics import fmean, stdev

import numpy as np
import pytest

from app.readers.dyno_csv import DynoPull, read_dyno_csv
from seed_data.generate import Scenario
from seed_data.pulls import Air


@pytest.fixture(scope="module")
def pulls(scenario: Scenario, files: dict[str, bytes]) -> dict[str, list[DynoPull]]:
    """Pulls by session, those left out by a person not among them."""
    left_out = {step["run"] for step in scenario.steps if step["do"] == "decide_run" and not step["included"]}
    found: dict[str, list[DynoPull]] = defaultdict(list)
    for step in scenario.steps:
        if step["do"] == "add_runs" and step["label"] not in left_out:
            read = read_dyno_csv(files[step["file"]])
            assert len(read.pulls) == 1
            assert all(column.quantity for column in read.columns), step["file"]
            found[step["session"]].append(read.pulls[0])
    return found


def peak(pull: DynoPull) -> float:
    return float(np.nanmax(pull.channels["power_kw"]))


def test_sessions_hold_three_pulls_or_more_and_enough_of_them_for_a_history(pulls: dict[str, list[DynoPull]]) -> None:
    assert {name for name, runs in pulls.items() if len(runs) < 3} == {"hauler.elsewhere"}
    assert len(pulls) >= 30


def test_dialects_differ_in_separator_decimal_sign_language_and_units(files: dict[str, bytes]) -> None:
    dialects = {
        (read.delimiter, read.decimal, read.encoding)
        for name, data in files.items()
        if "pull-" in name
        for read in [read_dyno_csv(data)]
    }
    assert {(d, s) for d, s, _ in dialects} == {(";", ","), (",", "."), ("\t", ".")}
    assert len(dialects) >= 4


def test_power_is_torque_times_speed_in_every_line(pulls: dict[str, list[DynoPull]]) -> None:
    # P = T·2π·n/60; with kW, N·m and 1/min the divisor is 30 000/π = 9549.296 585 5 (exact definitions of the SI).
    for name, runs in pulls.items():
        if name == "hauler.elsewhere":
            continue
        for pull in runs:
            power, torque = pull.channels["power_kw"], pull.channels["torque_nm"]
            expected = torque * pull.channels["engine_speed_rpm"] / 9549.2965855
            loud = np.abs(power) > 20.0
            assert np.allclose(power[loud], expected[loud], rtol=2e-3), name


def test_pulls_of_a_session_repeat_within_what_rollers_do(pulls: dict[str, list[DynoPull]]) -> None:
    # Level noise of 0.4 % and heat soak of up to 0.7 % were drawn; three pulls scatter widely around that.
    spread = [stdev(p) / fmean(p) for runs in pulls.values() if len(runs) > 2 for p in [[peak(r) for r in runs]]]
    assert 0.002 < fmean(spread) < 0.006
    assert max(spread) < 0.012


def test_the_pull_that_was_left_out_is_weak_above_the_speed_its_reason_names(files: dict[str, bytes]) -> None:
    good, weak = (read_dyno_csv(files[f"corvane_astrel/baseline-pull-{k}.csv"]).channels for k in (1, 2))
    at = np.array([3500.0, 5000.0])
    # The recordings rise in speed up to the lift-off.
    curves = []
    for channels in (good, weak):
        rpm, power = channels["engine_speed_rpm"], channels["power_kw"]
        top = int(np.argmax(rpm))
        order = np.argsort(rpm[:top], kind="stable")
        curves.append(np.interp(at, rpm[:top][order], power[:top][order]))
    below, above = curves[1] / curves[0]
    assert abs(below - 1.0) < 0.015
    assert above < 0.95


def test_revisions_give_what_their_titles_promise(pulls: dict[str, list[DynoPull]]) -> None:
    power = {name: fmean(peak(pull) for pull in runs) for name, runs in pulls.items()}
    assert power["astrel.r1"] > power["astrel.baseline"] + 15.0
    assert power["astrel.r2"] > power["astrel.r1"] + 4.0
    assert power["astrel.r4"] > power["astrel.r3"]
    assert power["hauler.r1"] > power["hauler.baseline"] + 8.0
    assert power["warder.r1"] > power["warder.baseline"] + 10.0
    assert abs(power["lanner.verification"] / power["lanner.baseline"] - 1.0) < 0.01


def test_the_withdrawn_revision_exceeds_the_boost_limit_and_the_released_one_does_not(
    scenario: Scenario, pulls: dict[str, list[DynoPull]]
) -> None:
    limit = next(
        step["value"]
        for step in scenario.steps
        if step["do"] == "set_limit" and step["vehicle"] == "astrel" and step["channel"] == "manifold_pressure_hpa"
    )
    most = {
        name: max(float(p.channels["manifold_pressure_hpa"].max()) for p in pulls[name])
        for name in ("astrel.r3", "astrel.r4")
    }
    assert most["astrel.r3"] > limit > most["astrel.r4"]


def test_a_typing_slip_is_found_and_the_sheet_typed_again_has_none(files: dict[str, bytes]) -> None:
    slips = read_dyno_csv(files["ondrake_hauler/elsewhere-typed.csv"]).slips
    assert [slip.slip.quantity for slip in slips] == ["torque_nm"]
    assert read_dyno_csv(files["ondrake_hauler/elsewhere-typed-again.csv"]).slips == ()


def test_the_air_takes_as_much_torque_as_the_published_factor_gives_back() -> None:
    # SAE J1349 (1990 form): 35 °C and 980 hPa of dry air give 1.0318765, 15 °C and 1000 hPa give 0.9684321.
    assert 1.0 / Air(980.0, 35.0, 0.0).torque_share == pytest.approx(1.0318765, abs=1e-6)
    assert 1.0 / Air(1000.0, 15.0, 0.0).torque_share == pytest.approx(0.9684321, abs=1e-6)
    # Saturation at 25 °C is 31.698 hPa (IAPWS SR1-86), at 10 °C 12.281 hPa.
    assert 1000.0 - Air(1000.0, 25.0, 100.0).dry_pressure_hpa == pytest.approx(31.698, abs=0.05)
    assert 1000.0 - Air(1000.0, 10.0, 100.0).dry_pressure_hpa == pytest.approx(12.281, abs=0.02)


def test_a_limit_by_load_is_seen_on_part_of_the_pulls_that_log_the_load(
    scenario: Scenario, pulls: dict[str, list[DynoPull]]
) -> None:
    limit = next(step for step in scenario.steps if step["do"] == "set_limit" and step.get("load_lo_percent"))
    for pull in pulls["piper.baseline"]:
        load = pull.channels["load_percent"]
        inside = (load >= limit["load_lo_percent"]) & (pull.channels["engine_speed_rpm"] >= limit["speed_lo_rpm"])
        assert 10 < inside.sum() < load.size - 50
        assert pull.channels["lambda_"][inside].max() < limit["value"]
