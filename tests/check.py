"""The one check command: lint, formatting, layering, types. Prints what failed; exit code 1 when anything did.

python tests/check.py
"""

import os
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

CHECKS = {
    "ruff check": ["ruff", "check", "--output-format", "concise"],
    "ruff format": ["ruff", "format", "--check", "--output-format", "concise"],
    "import layers": ["lint-imports", "--no-cache"],
    "mypy --strict": ["mypy", "--strict", "--no-error-summary"],
}


@dataclass(frozen=True, slots=True)
class Outcome:
    name: str
    seconds: float
    passed: bool
    output: str


def run(name: str, command: list[str]) -> Outcome:
    """Run a tool of this environment in the project's folder."""
    tool = Path(sys.executable).parent / command[0]
    began = time.monotonic()
    # The layer check imports nothing, but finds `app` by the folder it runs in.
    environment = os.environ | {"PYTHONPATH": str(ROOT), "NO_COLOR": "1"}
    done = subprocess.run([tool, *command[1:]], cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    return Outcome(name, time.monotonic() - began, done.returncode == 0, (done.stdout + done.stderr).strip())


def main() -> int:
    with ThreadPoolExecutor(2) as pool:
        outcomes = list(pool.map(run, CHECKS, CHECKS.values()))
    for outcome in outcomes:
        print(f"{outcome.name:15} {'holds' if outcome.passed else 'FAILS'} ({outcome.seconds:.1f} s)")
    failed = [outcome for outcome in outcomes if not outcome.passed]
    for outcome in failed:
        print(f"\n{outcome.name}:\n{outcome.output}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
