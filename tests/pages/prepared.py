"""Databases filled through the acts of `tests.shop`, to be looked at through the pages; and what a page says."""

import html
import re
from collections.abc import Iterator
from contextlib import contextmanager

from httpx2 import Response
from sqlalchemy import Engine, func, select

from app.record.engine import reading, transaction
from app.record.tables import JournalEntry
from app.record.verify import verify
from tests.shop import Shop


@contextmanager
def shop_on(engine: Engine) -> Iterator[Shop]:
    """A workshop whose acts are committed together at the end."""
    with transaction(engine) as session:
        yield Shop(session)


def entries(engine: Engine) -> int:
    """Number of journal entries."""
    with reading(engine) as session:
        return session.scalar(select(func.count()).select_from(JournalEntry)) or 0


def is_whole(engine: Engine) -> bool:
    """Whether the record verifies."""
    with reading(engine) as session:
        return verify(session).clean


def said(answer: Response) -> str:
    """The text of a page as people read it: without tags, blanks collapsed."""
    return _words(answer.text)


def content(answer: Response) -> str:
    """The same for what the frame of every page stands around."""
    found = re.search(r"<main\b.*?</main>", answer.text, re.S)
    assert found is not None
    return _words(found[0])


def _words(source: str) -> str:
    body = re.sub(r"<(script|style)\b.*?</\1>", " ", source, flags=re.S)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())


def refusal(answer: Response) -> str:
    """The sentence above a refused form."""
    found = re.search(r'<div class="form-errors"[^>]*>.*?<strong>(.*?)</strong>', answer.text, re.S)
    assert found is not None, said(answer)[:500]
    return html.unescape(found[1])
