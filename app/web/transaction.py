"""One request, one transaction.

`Write` commits after the endpoint has returned and before the answer leaves, and rolls back when anything raised, so
no one is told "saved" of something that was not. `Read` cannot change anything.

The write transaction of SQLite begins with its first statement and makes every other writer wait. So an endpoint
reads uploads and computes first and touches `Write` last, and no dependency touches either session: it would hold a
connection, or the whole database, while its request waits for a thread that is busy waiting for just that.
"""

from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import Depends, Request
from fastapi.concurrency import contextmanager_in_threadpool
from sqlalchemy.orm import Session

from app.record.engine import reading, transaction


async def _write(request: Request) -> AsyncIterator[Session]:
    async with contextmanager_in_threadpool(transaction(request.app.state.engine)) as session:
        yield session


async def _read(request: Request) -> AsyncIterator[Session]:
    with reading(request.app.state.engine) as session:
        yield session


def undo(session: Session) -> None:
    """Take back what this request did so far, to answer with a form that shows its error.

    An endpoint that catches an `AppError` and returns an answer would otherwise commit the half that was done. The
    session is spent after this: read with `Read`.
    """
    session.rollback()


# scope="function": the default would commit after the answer has left.
Write = Annotated[Session, Depends(_write, scope="function")]
Read = Annotated[Session, Depends(_read, scope="function")]
