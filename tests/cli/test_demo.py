"""The first command of the README: an invented workshop is filled and served, and its printed link signs in once."""

import re
import subprocess
import sys
from pathlib import Path

import httpx2

from tests.cli.test_serve import environment, run


def test_the_demo_fills_a_workshop_and_its_link_signs_in_once(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    serving = subprocess.Popen(
        [sys.executable, "-m", "app", "demo", "--port", "0", "--no-browser", "--folder", str(folder)],
        env=environment(tmp_path / "unused.db"),
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert serving.stdout is not None
    try:
        said = "".join(serving.stdout.readline() for _ in range(3))
        link = re.search(r"Sign in once with this link: (http://127\.0\.0\.1:\d+)(/sign-in/link/\S+)\n", said)
        assert link is not None, said
        with httpx2.Client(base_url=link[1], timeout=60) as client:
            assert client.get(link[2]).status_code == 200
            assert client.post(link[2]).headers["location"] == "/"
            today = client.get("/").text
        assert "Demo" in today and "Coding pending" in today
        with httpx2.Client(base_url=link[1], timeout=60) as other:
            assert other.post(link[2]).status_code == 403
    finally:
        serving.terminate()
        serving.wait(30)
        serving.stdout.close()
    assert not (tmp_path / "unused.db").exists()
    assert run(folder / "demo.db", "verify").returncode == 0
    again = run(tmp_path / "unused.db", "demo", "--only-load", "--folder", str(folder))
    assert (again.returncode, "name an empty folder" in again.stderr) == (1, True)
