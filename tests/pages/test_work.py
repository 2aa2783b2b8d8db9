"""Long work: a large layout is read in the background while a page follows it."""

import json
import re
import time

from tests.bench.test_bench_a2l import generated_a2l
from tests.conftest import Browser


def _upload(tuner: Browser, data: bytes) -> str:
    answer = tuner.submit("/layouts", {"name": "Large"}, files={"file": ("large.a2l", data)})
    assert answer.status_code == 303
    location = answer.headers["location"]
    assert location.startswith("/work/")
    return location


def _followed(tuner: Browser, location: str) -> list[tuple[str, dict[str, object]]]:
    text = tuner.get(f"{location}/events").text
    return [(name, json.loads(data)) for name, data in re.findall(r"event: (\w+)\ndata: (.*)\n", text)]


def test_a_large_layout_is_followed_to_its_page(tuner: Browser) -> None:
    location = _upload(tuner, generated_a2l(2500, 4.5))
    events = _followed(tuner, location)
    name, last = events[-1]
    assert name == "finished"
    assert str(last["href"]).startswith("/layouts/")
    page = tuner.get(str(last["href"]))
    assert page.status_code == 200
    assert "2,667 maps" in page.text
    assert tuner.get(location, follow_redirects=False).headers["location"] == last["href"]


def test_a_large_file_that_cannot_be_read_says_why_and_records_nothing(tuner: Browser) -> None:
    before = tuner.get("/api/v1/journal").json()["items"]
    data = generated_a2l(2500, 4.5)
    location = _upload(tuner, data[: len(data) - 5000])
    name, last = _followed(tuner, location)[-1]
    assert (name, last["href"]) == ("finished", location)
    page = tuner.get(location)
    assert page.status_code == 422
    assert "line" in page.text
    assert tuner.get("/api/v1/journal").json()["items"] == before


def test_somebody_elses_work_is_not_shown(tuner: Browser, manager: Browser) -> None:
    location = _upload(tuner, generated_a2l(2500, 4.5))
    assert manager.get(location).status_code == 404
    for _ in range(100):
        if tuner.get(location, follow_redirects=False).status_code == 303:
            break
        time.sleep(0.1)
