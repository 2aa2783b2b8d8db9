"""The shape of the checkout: what lies at the top, and that what the documents name exists."""

import os
import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "app",
    "migrations",
    "templates",
    "static",
    "tests",
    "seed_data",
}
# Left behind by installing and building; none of it is committed (.gitignore).
MADE = {"build", "dist", "screenshots"}
DEMO = "python3 -m venv .venv && .venv/bin/pip install -q . && .venv/bin/revledger demo"
TESTS = (
    "python3 -m venv .venv && .venv/bin/pip install -q -e '.[test]' && "
    ".venv/bin/python tests/check.py && .venv/bin/python -m pytest -n 2 --dist loadfile"
)


def test_the_top_level_holds_only_what_the_readme_says() -> None:
    there = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    ours = {name for name in there if name not in MADE and not name.endswith(".egg-info")}
    assert ours - TOP == set()
    assert TOP - ours == set()


def test_the_readme_gives_both_commands_as_they_are_run() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert DEMO in readme
    assert TESTS in readme


def test_ci_runs_exactly_the_test_command_of_the_readme() -> None:
    script = (ROOT / ".ci/run").read_text(encoding="utf-8")
    assert script.startswith("#!/usr/bin/env bash\n")
    assert "set -euo pipefail" in script
    assert TESTS in script.splitlines()
    assert os.access(ROOT / ".ci/run", os.X_OK)
    assert not re.search(r"\brm\b|apt-get (remove|purge|autoremove)", script)


def test_paths_named_for_developers_exist() -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = re.findall(r"`((?:app|migrations|templates|static|tests|seed_data)/[\w./-]*)`", guide)
    assert len(named) > 20
    assert [path for path in named if not (ROOT / path).exists()] == []
