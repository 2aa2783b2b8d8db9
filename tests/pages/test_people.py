"""People and tokens: a refused form comes back with what was typed, but never with a password."""

import re

import pytest
from fastapi import FastAPI

from tests.browser import Browser
from tests.pages.prepared import refusal


@pytest.mark.parametrize(
    ("address", "typed", "kept", "field"),
    [
        ("/people", {"name": "Rana Ost", "role": "manager", "password": "zq4!"}, "Rana Ost", "password"),
        ("/people", {"name": "tuner", "role": "manager", "password": "quiet copper river"}, "tuner", "name"),
        ("/people/tokens", {"person_id": "1", "label": "x" * 81}, "x" * 81, "label"),
    ],
)
def test_a_refused_form_keeps_what_was_typed(
    app: FastAPI, manager: Browser, address: str, typed: dict[str, str], kept: str, field: str
) -> None:
    answer = manager.submit(address, typed)
    assert answer.status_code in (409, 422)
    assert refusal(answer)
    assert f'value="{kept}"' in answer.text
    assert re.search(rf'href="#{field}"', answer.text)
    assert "password" not in typed or typed["password"] not in answer.text
    if "role" in typed:
        assert '<option value="manager" selected>' in answer.text


def test_the_last_manager_stays_one_and_is_told_on_the_page(app: FastAPI, manager: Browser) -> None:
    row = re.search(
        r'action="/people/(\d+)">(?:(?!</form>).)*value="manager" selected', manager.get("/people").text, re.S
    )
    assert row is not None
    answer = manager.submit(f"/people/{row[1]}", {"role": "tuner", "active": "yes"})
    assert answer.status_code == 409
    assert "manager" in refusal(answer)
