"""Where the browser is, and how it is started so that it asks nothing of the world."""

import os
import shutil
from pathlib import Path

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
MISSING = "Chromium is missing: install it (apt-get install chromium) or name its file in CHROMIUM."


def executable() -> str:
    """The browser that CHROMIUM names, or the one on the path; raises FileNotFoundError that says how to get it."""
    found = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None or not Path(found).exists():
        raise FileNotFoundError(MISSING)
    return found
