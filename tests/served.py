"""The program as people run it: `revledger serve` in a process of its own on a database file, spoken to over HTTP."""

import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

ROOT = Path(__file__).resolve().parent.parent
PASSWORD = "rollers hum at dawn 47"


@dataclass(frozen=True)
class Served:
    """A running server: its address, its process, its database file."""

    base: str
    process: subprocess.Popen[str]
    file: Path


def _environment(file: Path) -> dict[str, str]:
    """What the command line needs, and nothing of the caller's own settings."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("REVLEDGER_")}
    return {**kept, "REVLEDGER_DATABASE_URL": f"sqlite:///{file}", "PYTHONPATH": str(ROOT)}


def command(file: Path, *words: str, typed: str = "") -> subprocess.CompletedProcess[str]:
    """Run `revledger …` on the database file; `typed` goes to its standard input."""
    line = [sys.executable, "-m", "app", *words]
    return subprocess.run(
        line, input=typed, capture_output=True, text=True, env=_environment(file), cwd=file.parent, check=False
    )


def command_ok(file: Path, *words: str, typed: str = "") -> str:
    """What the command printed; fails with its own sentence when it refused."""
    done = command(file, *words, typed=typed)
    assert done.returncode == 0, done.stderr + done.stdout
    return done.stdout.strip()


def start(file: Path) -> Served:
    """Start the server on a free port and wait until it answers on it."""
    with (file.parent / "server.log").open("a") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "app", "serve", "--port", "0"],
            stdout=subprocess.PIPE,
            stderr=log,
            text=True,
            env=_environment(file),
            cwd=file.parent,
        )
    assert process.stdout is not None
    said = ""
    for line in process.stdout:
        said += line
        found = re.search(r"runs at (http://\S+)", line)
        if found:
            _wait_for(found[1])
            return Served(found[1], process, file)
    raise AssertionError(f"The server did not start: {said}{(file.parent / 'server.log').read_text()}")


def _wait_for(base: str) -> None:
    """Until the address takes connections; it is printed a moment earlier."""
    address = urlsplit(base)
    for _ in range(600):
        try:
            socket.create_connection((str(address.hostname), address.port or 80), timeout=5).close()
            return
        except ConnectionRefusedError:
            time.sleep(0.02)
    raise AssertionError(f"Nothing listens on {base}.")


def stop(served: Served, *, hard: bool = False) -> None:
    """End this server's process: asked politely, or at once as a power switch would."""
    served.process.kill() if hard else served.process.terminate()
    served.process.wait(timeout=20)
    if served.process.stdout is not None:
        served.process.stdout.close()


@contextmanager
def serving(file: Path) -> Iterator[Served]:
    served = start(file)
    try:
        yield served
    finally:
        stop(served)
