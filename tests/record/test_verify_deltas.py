"""The shop can rely on it that a stored comparison adds up and is what comes out when it is made again."""

import pytest
from sqlalchemy import text
from sqlalchemy.orm import Session

from app.record.verify_deltas import check_deltas
from tests.record.every_row import fill
from tests.record.tampering import unguard
from tests.shop import Shop


@pytest.fixture
def session(session: Session) -> Session:
    fill(Shop(session))
    unguard(session)
    return session


def _findings(session: Session) -> list[str]:
    session.expire_all()
    findings: list[str] = []
    check_deltas(session, findings, None)
    return findings


def test_untouched_comparisons_hold(session: Session) -> None:
    findings: list[str] = []
    assert check_deltas(session, findings, None) > 0
    assert findings == []


def test_a_byte_that_is_accounted_for_nowhere_is_found(session: Session) -> None:
    session.execute(text("update analysis set explained_bytes = explained_bytes + 1"))
    found = _findings(session)
    assert any("add up" in one for one in found), found


def test_a_sentence_that_says_something_else_is_found(session: Session) -> None:
    session.execute(text("update analysis set sentence = 'Nothing changed.'"))
    assert any("Nothing changed" in one for one in _findings(session))


def test_a_changed_map_is_found_by_name(session: Session) -> None:
    session.execute(text("update map_delta set data = substr(data, 1, length(data) - 1)"))
    name = session.execute(text("select name from map_delta limit 1")).scalar_one()
    assert any(str(name) in one for one in _findings(session))


def test_revisions_that_are_each_others_ancestors_end_the_walk_with_a_finding(session: Session) -> None:
    ids = session.scalars(text("select id from revision where sha256 is not null order by id limit 2")).all()
    assert ids
    session.execute(text("update revision set parent_id = :other where id = :one"), {"one": ids[0], "other": ids[-1]})
    if ids[0] != ids[-1]:
        session.execute(
            text("update revision set parent_id = :one where id = :other"), {"one": ids[0], "other": ids[-1]}
        )
    assert any("its own ancestor" in one for one in _findings(session))
