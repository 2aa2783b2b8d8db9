"""The database itself refuses to change or delete evidence, whatever program speaks to it."""

import pytest
from sqlalchemy import Table, UniqueConstraint, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app.record.tables import Base
from tests.record.every_row import EVIDENCE, fill
from tests.record.tampering import unguard
from tests.shop import Shop

TABLES: list[Table] = [Base.metadata.tables[str(one.__tablename__)] for one in EVIDENCE]
NEVER_DELETED = ("control_unit", "customer", "dyno", "person", "vehicle", "visit")


@pytest.fixture
def session(session: Session) -> Session:
    fill(Shop(session))
    return session


def let_through(session: Session, statement: str) -> bool:
    """Whether the database took the statement; its effect is undone either way."""
    savepoint = session.begin_nested()
    try:
        taken = session.execute(text(statement)).rowcount != 0
    except DBAPIError:
        taken = False
    savepoint.rollback()
    return taken


def test_there_is_a_row_in_every_table_to_try_it_on(session: Session) -> None:
    empty = [one.name for one in TABLES if session.execute(text(f"select 1 from {one.name}")).first() is None]
    assert empty == []
    assert len(TABLES) >= 30


def test_without_the_guards_the_same_statements_pass(session: Session) -> None:
    """So that it is the guards which refuse, and nothing else."""
    unguard(session)
    for table in TABLES:
        assert let_through(session, f"update {table.name} set at = at"), table.name
    assert let_through(session, "delete from certificate")


def test_no_column_of_evidence_can_be_updated(session: Session) -> None:
    taken = [
        f"{table.name}.{column.name}"
        for table in TABLES
        for column in table.columns
        if let_through(session, f'update {table.name} set "{column.name}" = "{column.name}"')
    ]
    assert taken == []


def test_no_evidence_can_be_deleted(session: Session) -> None:
    assert [table.name for table in TABLES if let_through(session, f"delete from {table.name}")] == []


def test_cars_people_and_visits_are_never_deleted(session: Session) -> None:
    for table in NEVER_DELETED:
        assert session.execute(text(f"select 1 from {table}")).first() is not None, table
    assert [table for table in NEVER_DELETED if let_through(session, f"delete from {table}")] == []


def keys_of(table: Table) -> list[tuple[str, ...]]:
    """Every set of columns that is unique in the table."""
    unique = [one.columns for one in table.constraints if isinstance(one, UniqueConstraint)]
    unique += [index.columns for index in table.indexes if index.unique]
    return [tuple(one.name for one in table.primary_key.columns), *(tuple(c.name for c in one) for one in unique)]


def test_replacing_a_row_is_refused_whichever_unique_column_stands_in_the_way(session: Session) -> None:
    """SQLite deletes for a REPLACE without firing delete triggers (sqlite.org/lang_conflict.html)."""
    if session.get_bind().dialect.name == "sqlite":
        verb, ending = "insert or replace into", ""
    else:
        verb, ending = "insert into", "on conflict ({key}) do update set {first} = excluded.{first}"
    taken = []
    for table in [*TABLES, *(Base.metadata.tables[name] for name in NEVER_DELETED)]:
        for key in keys_of(table):
            # The row as it is; under another key where this one is not the primary key.
            columns = [c for c in table.columns if key == ("id",) or c.name in key or not c.primary_key]
            listed = ", ".join(f'"{c.name}"' for c in columns)
            tail = ending.format(key=", ".join(key), first=f'"{columns[-1].name}"')
            if let_through(session, f"{verb} {table.name} ({listed}) select {listed} from {table.name} {tail}"):
                taken.append(f"{table.name} {key}")
    allowed = set() if session.get_bind().dialect.name == "sqlite" else set(NEVER_DELETED)
    assert [one for one in taken if one.split()[0] not in allowed] == []


def test_tables_cannot_be_emptied_at_once(session: Session) -> None:
    if session.get_bind().dialect.name == "sqlite":
        # SQLite has no TRUNCATE; its DELETE without WHERE fires no fewer triggers (the test above).
        with pytest.raises(DBAPIError, match="syntax error"), session.begin_nested():
            session.execute(text("truncate journal_entry"))
        return
    taken = []
    for table in TABLES:
        with pytest.raises(DBAPIError), session.begin_nested():
            session.execute(text(f"truncate {table.name} cascade"))
            taken.append(table.name)
    assert taken == []
