"""The check of the whole record is followed to its result, and that says what does not hold."""

import json
import re

from tests.conftest import Browser


def checked(manager: Browser, anchor: str = "") -> str:
    """The text of the page to which a check leads."""
    begun = manager.submit("/journal/verify", {"anchor": anchor})
    assert begun.status_code == 303
    events = manager.get(f"{begun.headers['location']}/events").text
    *_, (name, last) = re.findall(r"event: (\w+)\ndata: (.*)\n", events)
    assert name == "finished"
    return manager.get(json.loads(last)["href"]).text


def test_a_record_that_holds_is_said_to_hold(manager: Browser) -> None:
    page = manager.get("/journal/verify")
    assert page.status_code == 200
    assert "Check now" in page.text
    found = checked(manager)
    assert "Everything holds" in found  # also when nothing has happened yet
    [head] = re.findall(r"head (\d+-[0-9a-f]{16})", found)
    assert "Everything holds" in checked(manager, head)
    car = {"vin": "U9ZSHP2A5K0000042", "make": "Velmora", "model": "Sirrus"}
    assert manager.submit("/vehicles", car).status_code == 303
    found = checked(manager)
    assert "1 journal entry" in found
    [later] = re.findall(r"head (\d+-[0-9a-f]{16})", found)
    assert later != head
    assert "Everything holds" in checked(manager, later)


def test_a_printed_head_that_is_not_of_this_record_is_named(manager: Browser) -> None:
    assert "not hold" in checked(manager, "3-0123456789abcdef")


def test_what_is_no_head_is_refused_and_a_result_not_kept_says_so(manager: Browser) -> None:
    refused = manager.submit("/journal/verify", {"anchor": "five"})
    assert refused.status_code == 422
    assert 'name="anchor" value="five"' in refused.text
    assert 'id="anchor-error"' in refused.text
    gone = manager.get("/journal/verify/none")
    assert gone.status_code == 404
    assert "check again" in gone.text
