"""What somebody does who owns the database file: the guards are taken away, then anything is possible."""

from sqlalchemy import text
from sqlalchemy.orm import Session


def unguard(session: Session) -> None:
    """Take the triggers (and, on PostgreSQL, the foreign keys) out of the way for this transaction."""
    session.flush()
    if session.get_bind().dialect.name == "postgresql":
        session.execute(text("set local session_replication_role = replica"))
        return
    for name in session.scalars(text("select name from sqlite_schema where type = 'trigger'")).all():
        session.execute(text(f'drop trigger "{name}"'))


def run(session: Session, statement: str, **values: object) -> None:
    """One statement behind the program's back."""
    session.execute(text(statement), values)
    session.expire_all()
