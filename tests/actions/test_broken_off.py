"""An act that is broken off at any of its statements leaves the record as it was, and can be done again."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from sqlalchemy import Connection, event
from sqlalchemy.orm import Session

from app.record.verify import verify
from tests.actions.ready import Ready, ready
from tests.actions.test_each_act import ACTS, Act
from tests.contents import added, contents


class BrokenOff(Exception):
    """The cable was pulled, the disk gave up, the process ran out of memory: somewhere in the middle."""


@contextmanager
def failing_at(connection: Connection, number: int) -> Iterator[None]:
    """Statement `number`, counted from 1, fails before the database sees it."""
    seen = [0]

    def count(*_arguments: Any) -> None:
        seen[0] += 1
        if seen[0] == number:
            raise BrokenOff

    event.listen(connection, "before_cursor_execute", count)
    try:
        yield
    finally:
        event.remove(connection, "before_cursor_execute", count)


@pytest.fixture
def on(session: Session) -> Ready:
    return ready(session)


def _done(on: Ready, act: Act, number: int) -> bool:
    """Do the act with its statement `number` failing; True when it has fewer and was done."""
    with failing_at(on.shop.session.connection(), number):
        try:
            act.do(on)
        except BrokenOff:
            return False
    return True


@pytest.mark.parametrize("act", ACTS, ids=lambda act: act.name)
def test_an_act_broken_off_anywhere_leaves_nothing_and_can_be_done_again(on: Ready, act: Act) -> None:
    session = on.shop.session
    before = contents(session)
    moment = on.shop.at
    number = 0
    while True:
        number += 1
        on.shop.at = moment
        savepoint = session.begin_nested()
        if _done(on, act, number):
            break
        savepoint.rollback()
        session.expire_all()
        assert contents(session) == before, f"statement {number}"
    assert number > 3
    assert added(before, session) == act.rows | {"journal_entry": 1}
    assert verify(session).clean
