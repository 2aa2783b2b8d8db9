"""Every field of every form, sent with what people and programs mistype: an answer in words, and nothing recorded.

The workshop's day is walked through once, form by form, each accepted as it should be. A copy of the record before
each step is what the bad values are then sent to.
"""

import html
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, get_args

import pytest
from fastapi import FastAPI, UploadFile
from fastapi.routing import APIRoute, iter_route_contexts
from httpx2 import Response
from pydantic import BaseModel
from sqlalchemy import Engine

from app.main import create_app
from app.record import journal, people
from app.record.engine import make_engine, reading, transaction
from app.settings import Settings
from tests.browser import Browser
from tests.conftest import ROLES, token_for
from tests.pages.prepared import said
from tests.pages.workshop_forms import NOT_HERE, SENT, Sent
from tests.restore_car import car_to_restore

BAD = {
    "empty": "",
    "long": "m" * 100_000,
    "word": "abc",
    "no number": "NaN",
    "beyond a double": "1e400",
    "negative": "-1",
    "largest whole number": "9223372036854775808",
    "no day": "31.02.2026",
    "control characters": "a\x00b\x07c",
    "picture": "💥",
}
# Each field is sent three of them on every run, another three the next field; all of them before a release.
EVERY = list(BAD)


def fields_by_path() -> dict[str, list[str]]:
    """The text fields of each address of the pages that takes a form, from the program's own signatures."""
    app = create_app(Settings(database_url=""), make_engine("sqlite://"))
    found = {}
    for context in iter_route_contexts(app.routes):
        route = context.original_route
        if not isinstance(route, APIRoute) or context.path is None or context.path.startswith("/api/"):
            continue
        if "POST" not in (context.methods or ()):
            continue
        found[context.path] = [
            one.alias or name
            for body in route.dependant.body_params
            if isinstance(body.field_info.annotation, type) and issubclass(body.field_info.annotation, BaseModel)
            for name, one in body.field_info.annotation.model_fields.items()
            if name != "form_key" and not _is_file(one.annotation)
        ]
    return found


def _is_file(kind: Any) -> bool:
    return kind is UploadFile or any(_is_file(inner) for inner in get_args(kind))


FIELDS = fields_by_path()


@dataclass
class Shop:
    """A record that can be put back to what it was before each form."""

    engine: Engine
    file: Path
    copies: Path
    browser: Browser
    tokens: dict[int, str]
    refused: dict[str, str]

    def keep(self, sent: Sent) -> None:
        # Signing in and out ends the sign-in that the browser had: each step begins with one of its own.
        self.tokens[SENT.index(sent)] = token_for(self.engine, "manager")
        self.engine.dispose()
        shutil.copyfile(self.file, self._copy(sent))

    def put_back(self, sent: Sent) -> None:
        self.engine.dispose()
        for beside in ("-wal", "-shm"):
            self.file.with_name(self.file.name + beside).unlink(missing_ok=True)
        shutil.copyfile(self._copy(sent), self.file)
        self.sign_in(sent)

    def sign_in(self, sent: Sent) -> None:
        self.browser.cookies.clear()
        self.browser.cookies.set("revledger", self.tokens[SENT.index(sent)])

    def _copy(self, sent: Sent) -> Path:
        return self.copies / f"{SENT.index(sent)}.db"

    def head(self) -> journal.Head:
        with reading(self.engine) as session:
            return journal.head(session)

    def send(self, sent: Sent, changed: dict[str, Any] | None = None) -> Response:
        address = re.sub(r"\{(\w+)(?::\w+)?\}", lambda match: str(sent.ids.get(match[1], 1)), sent.path)
        return self.browser.submit(address, sent.fields | (changed or {}), files=list(sent.files) or None)


@pytest.fixture(scope="module")
def walked(built_app: FastAPI, sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    folder = tmp_path_factory.mktemp("forms")
    file = folder / "shop.db"
    shutil.copyfile(sqlite_template, file)
    engine = make_engine(f"sqlite:///{file}")
    with transaction(engine) as session:
        for role in ROLES:
            people.add(session, name=role, role=role, password_hash=None, at=datetime.now(UTC))
    car_to_restore(engine)
    built_app.state.engine = engine
    with Browser(built_app) as browser:
        shop = Shop(engine, file, folder, browser, {}, {})
        for sent in SENT:
            shop.keep(sent)
            shop.sign_in(sent)
            answer = shop.send(sent)
            if answer.status_code >= 400:
                shop.refused[sent.name] = f"{answer.status_code} {sentence_of(answer)}"
            elif signed_out(answer):
                shop.refused[sent.name] = "led to the sign-in"
        yield shop
    engine.dispose()


@pytest.fixture
def shop(walked: Shop, built_app: FastAPI) -> Shop:
    built_app.state.engine = walked.engine
    return walked


def sentence_of(answer: Response) -> str:
    """What a refusal says first: above the form, or as the page."""
    for pattern in (
        r'class="form-errors".*?<strong>(.*?)</strong>',
        r'class="field-error".*?<span>(.*?)</span>',
        # Not the frame's own place for what htmx is told, which is empty.
        r'role="alert"(?![^>]*></div>).*?</svg>(.*?)</div>',
        r'<h1.*?</h1>\s*<p class="[^"]*">(.*?)</p>',
    ):
        if found := re.search(pattern, answer.text, re.S):
            return html.unescape(" ".join(re.sub("<[^>]+>", " ", found[1]).split()))
    raise AssertionError(said(answer)[:500])


def test_every_form_of_the_pages_is_sent_here() -> None:
    covered = {sent.path for sent in SENT}
    assert sorted(set(FIELDS) - covered - set(NOT_HERE)) == [], "add a good sending to tests/pages/workshop_forms.py"
    assert sorted(covered - set(FIELDS)) == []


def test_each_good_sending_is_taken(shop: Shop) -> None:
    assert shop.refused == {}


def values_for(number: int, everything: bool) -> list[str]:
    """Names of the bad values for the field of that number: all, or three that change from field to field."""
    return EVERY if everything else [EVERY[(number * 3 + step) % len(EVERY)] for step in range(3)]


def signed_out(answer: Response) -> bool:
    return answer.headers.get("location", "").startswith("/sign-in?")


def complaint(answer: Response, before: journal.Head, after: journal.Head) -> str | None:
    """What is wrong with an answer to a bad value."""
    if signed_out(answer):
        return "was not taken by anybody: the browser is signed out"
    if answer.status_code < 400:
        return None
    if answer.status_code >= 500:
        return f"failed with {answer.status_code}"
    if not answer.headers["content-type"].startswith("text/html"):
        return f"answered with {answer.headers['content-type']}"
    sentence = sentence_of(answer)
    if (
        not re.search(r"[.!?]”?$", sentence)
        or len(sentence) > 400
        or re.search(r"[\x00-\x1f\x7f]|Input should", sentence)
    ):
        return f"says {len(sentence)} characters: {sentence[:200]!r}"
    return None if after == before else "recorded something of what it refused"


@pytest.mark.parametrize("sent", SENT, ids=lambda sent: sent.name)
def test_a_bad_value_is_answered_in_words(shop: Shop, sent: Sent, pytestconfig: pytest.Config) -> None:
    everything = bool(pytestconfig.getoption("--release"))
    shop.put_back(sent)
    before, wrong = shop.head(), []
    # Fields that a form takes without our knowing their names are those that the good sending has.
    fields = list(dict.fromkeys([*FIELDS[sent.path], *sent.fields]))
    for number, name in enumerate(fields):
        for kind in values_for(number + SENT.index(sent), everything):
            answer = shop.send(sent, {name: BAD[kind]})
            found = complaint(answer, before, shop.head())
            if found is not None:
                wrong.append(f"{name}, {kind}: {found}")
            # A name that is tried too often is locked, which is recorded.
            if answer.status_code < 400 or found is not None or sent.path == "/sign-in":
                shop.put_back(sent)
    assert not wrong, "\n".join(wrong)
