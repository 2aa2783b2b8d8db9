"""Pages of a list through the API: complete, in order, no row twice."""

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError
from sqlalchemy import Engine

from app.api.model import ApiIn, ApiOut, Time
from app.api.paging import decode_cursor, decode_number, encode_cursor
from app.errors import BadInput
from app.record import journal
from app.record.engine import transaction
from tests.browser import Browser


@pytest.fixture
def entries(sqlite_engine: Engine) -> list[int]:
    with transaction(sqlite_engine) as session:
        return [
            journal.append(
                session, at=datetime.now(UTC), person=None, action="note", sentence=f"Entry {n}.", facts={"n": n}
            ).seq
            for n in range(7)
        ]


@pytest.mark.parametrize("limit", [1, 2, 3, 6, 7, 8, 200])
def test_following_the_cursor_gives_every_entry_once(manager: Browser, entries: list[int], limit: int) -> None:
    seen: list[int] = []
    cursor = ""
    while True:
        page = manager.get(f"/api/v1/journal?limit={limit}{cursor}").json()
        seen += [item["seq"] for item in page["items"]]
        assert len(page["items"]) <= limit
        if page["next_cursor"] is None:
            break
        cursor = f"&cursor={page['next_cursor']}"
    assert seen == sorted(entries, reverse=True)


def test_entries_added_meanwhile_do_not_shift_the_pages(
    manager: Browser, entries: list[int], sqlite_engine: Engine
) -> None:
    first = manager.get("/api/v1/journal?limit=3").json()
    with transaction(sqlite_engine) as session:
        journal.append(session, at=datetime.now(UTC), person=None, action="note", sentence="Later.")
    second = manager.get(f"/api/v1/journal?limit=3&cursor={first['next_cursor']}").json()
    assert [item["seq"] for item in second["items"]] == [4, 3, 2]


@pytest.mark.parametrize(
    "cursor", ["!", "abc", "é", "AA", encode_cursor("x"), encode_cursor(1, 2), encode_cursor(-1), ""]
)
def test_a_cursor_that_was_not_made_here_is_refused(manager: Browser, cursor: str) -> None:
    answer = manager.get("/api/v1/journal", params={"cursor": cursor})
    assert answer.status_code == 422
    assert answer.json()["field"] == "cursor"


PARTS = st.one_of(
    st.integers(0, 2**62), st.text(st.characters(exclude_characters="\x1f", exclude_categories=["Cs"]), max_size=20)
)


@given(st.lists(PARTS, min_size=1, max_size=4))
def test_a_cursor_gives_back_what_was_put_in(values: list[int | str]) -> None:
    assert decode_cursor(encode_cursor(*values), len(values)) == tuple(str(value) for value in values)


@given(st.text(max_size=60))
def test_no_cursor_text_does_more_than_be_refused(text: str) -> None:
    try:
        assert (decode_number(text) or 0) >= 0
    except BadInput as refused:
        assert refused.field == "cursor"


class Sample(ApiIn):
    power_kw: float
    count: int
    at: Time


GOOD = {"power_kw": 1.5, "count": 2, "at": "2026-11-25T14:03:00+01:00"}


def test_a_body_is_taken_with_its_time_in_utc() -> None:
    sample = Sample.model_validate(GOOD)
    assert sample.at == datetime(2026, 11, 25, 13, 3, tzinfo=UTC)
    assert sample.model_dump(mode="json")["at"] == "2026-11-25T13:03:00Z"
    assert Sample.model_validate(GOOD | {"power_kw": 2}).power_kw == 2.0


@pytest.mark.parametrize(
    "changed",
    [
        {"power_kw": True},
        {"power_kw": "1.5"},
        {"power_kw": float("nan")},
        {"power_kw": float("inf")},
        {"count": 2.0},
        {"count": True},
        {"at": "2026-11-25T14:03:00"},
        {"at": "yesterday"},
        {"at": 1},
        {"unknown": 1},
    ],
)
def test_a_body_of_the_wrong_kind_is_refused(changed: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        Sample.model_validate(GOOD | changed)


class Answer(ApiOut):
    power_kw: float


def test_no_answer_carries_nan() -> None:
    with pytest.raises(ValidationError):
        Answer(power_kw=float("nan"))


def test_the_description_names_its_security_and_every_path(manager: Browser, anonymous: Browser) -> None:
    description = anonymous.get("/api/v1/openapi.json").json()
    assert description["openapi"].startswith("3.1")
    assert "HTTPBearer" in description["components"]["securitySchemes"]
    assert all(path.startswith("/api/v1/") for path in description["paths"])
    assert description["paths"]["/api/v1/journal"]["get"]["security"] == [{"HTTPBearer": []}]
    for path in ("/docs", "/redoc", "/openapi.json", "/api/v1/docs"):
        assert anonymous.get(path).status_code == 404


def test_verifying_through_the_api_takes_printed_heads(manager: Browser, entries: list[int]) -> None:
    whole = manager.get("/api/v1/journal/verify").json()
    assert whole["clean"] and whole["entries"] == 7
    assert manager.get(f"/api/v1/journal/verify?anchor={whole['head']}").json()["clean"]
    other = manager.get("/api/v1/journal/verify?anchor=3-0123456789abcdef").json()
    assert not other["clean"] and len(other["findings"]) == 1
    for wrong in ("zz", "3-", "²-0123456789abcdef", "7" * 5000 + "-0123456789abcdef"):
        assert manager.get("/api/v1/journal/verify", params={"anchor": wrong}).status_code == 422
