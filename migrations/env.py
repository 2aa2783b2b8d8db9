"""Alembic's entry: runs on the connection it is handed, or on REVLEDGER_DATABASE_URL from the command line."""

import os

from alembic import context
from sqlalchemy import Connection

from app.record.engine import make_engine
from app.record.search_index import is_described
from app.record.tables import Base


def run(connection: Connection) -> None:
    context.configure(
        connection=connection,
        target_metadata=Base.metadata,
        compare_type=True,
        include_object=is_described,
        render_as_batch=connection.dialect.name == "sqlite",
        transactional_ddl=True,
    )
    with context.begin_transaction():
        context.run_migrations()


given = context.config.attributes.get("connection")
if given is not None:
    run(given)
else:
    with make_engine(os.environ.get("REVLEDGER_DATABASE_URL", "sqlite:///revledger.db")).begin() as opened:
        run(opened)
