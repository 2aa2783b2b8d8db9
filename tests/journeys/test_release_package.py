"""A released revision is handed to a customer elsewhere as a package; what comes back is compared with it."""

import hashlib
import re
import zipfile
from collections.abc import Callable

import pytest

from seed_data.corvane_estate.story import VIN
from tests.journeys.files import disturbed
from tests.journeys.person import Person


@pytest.fixture(scope="module", params=[True, False], ids=["scripts", "no scripts"])
def scripts(request: pytest.FixtureRequest) -> bool:
    """Every form of this journey works in a browser without scripts too."""
    return bool(request.param)


def test_a_package_is_handed_out_and_what_comes_back_is_compared(signed_in: Callable[[str], Person]) -> None:
    tuner = signed_in("tuner")
    tuner.go(f"/search?q={VIN}")
    tuner.page.locator("main a[href^='/revisions/']").first.click()
    tuner.follow(re.compile("^Release packages"))
    tuner.press("Issue the package")
    tuner.reads("Nothing yet. When the customer's files arrive")
    with tuner.page.expect_download() as handed_out:
        tuner.page.get_by_role("link", name="Download").click()
    with zipfile.ZipFile(handed_out.value.path()) as package:
        image = package.read("revision-1.bin")
        sums = [line.split("  ", 1) for line in package.read("SHA256SUMS").decode().splitlines()]
        assert sorted(name for _, name in sums) == sorted(set(package.namelist()) - {"SHA256SUMS"})
        for digest, name in sums:
            assert hashlib.sha256(package.read(name)).hexdigest() == digest, name

    form = tuner.form("/returns")
    form.get_by_label(re.compile("^How it ended")).select_option(label="Completed")
    tuner.fill(form, {"Read-back": ("file", "bad.bin", disturbed(image, 0x1234))})
    tuner.press("Take and compare")
    tuner.reads("Write completed", re.compile("read-back: 1 of [0-9,]+ compared bytes differ"))
    logs = {"Logs": [("file", "road.txt", b"first drive"), ("file", "idle.txt", b"first idle")]}
    tuner.fill(tuner.form("/returns"), {"Read-back": ("file", "good.bin", image)} | logs)
    tuner.press("Take and compare")
    tuner.reads(re.compile("All [0-9,]+ compared bytes equal revision 1"), "2 logs kept")
