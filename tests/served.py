"""The program as people run it: `revledger serve` in a process of its own on a database file, spoken to over HTTP."""

import multiprocessing
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerProcess
from pathlib import Path

import httpx2

ROOT = Path(__file__).resolve().parent.parent
_FORKS = multiprocessing.get_context("forkserver")
_FORKS.set_forkserver_preload(["app.main", "app.cli.serve", "uvicorn"])
PASSWORD = "rollers hum at dawn 47"


@dataclass(frozen=True)
class Served:
    """A running server: its address, its process, its database file."""

    base: str
    process: "subprocess.Popen[str] | ForkServerProcess"
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
            return _wait_for(Served(found[1], process, file))
    raise AssertionError(f"The server did not start: {said}{(file.parent / 'server.log').read_text()}")


def _wait_for(served: Served) -> Served:
    """Until the server answers; its address is printed a moment earlier."""
    process = served.process
    for _ in range(3000):
        ended = process.poll() is not None if isinstance(process, subprocess.Popen) else not process.is_alive()
        if ended:
            break
        try:
            httpx2.get(f"{served.base}/favicon.ico", timeout=30)
        except httpx2.TransportError:
            time.sleep(0.02)
        else:
            return served
    raise AssertionError(f"The server did not start: {(served.file.parent / 'server.log').read_text()[-2000:]}")


def start_fast(file: Path) -> Served:
    """The same server, forked from a process that has loaded the program already: a tenth of a second instead of
    some. For programmes that start it many times; the database must be up to date."""
    ours, theirs = _FORKS.Pipe(duplex=False)
    process = _FORKS.Process(target=_serve, args=(file, theirs), daemon=True)
    process.start()
    theirs.close()
    base = ours.recv()
    ours.close()
    return _wait_for(Served(base, process, file))


def _serve(file: Path, tell: Connection) -> None:
    """What `revledger serve` does once the database is open."""
    from app.cli.serve import address_of, listen, run

    os.environ["REVLEDGER_DATABASE_URL"] = f"sqlite:///{file}"
    listening = listen("127.0.0.1", 0)
    tell.send(address_of(listening))
    tell.close()
    run(listening, 1, hosts=())


def stop(served: Served, *, hard: bool = False) -> None:
    """End this server's process: asked politely, or at once as a power switch would."""
    process = served.process
    process.kill() if hard else process.terminate()
    if isinstance(process, subprocess.Popen):
        process.wait(timeout=20)
        if process.stdout is not None:
            process.stdout.close()
    else:
        process.join(timeout=20)
        process.close()


@contextmanager
def serving(file: Path) -> Iterator[Served]:
    served = start(file)
    try:
        yield served
    finally:
        stop(served)
