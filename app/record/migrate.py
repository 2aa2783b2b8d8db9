"""Bring a database to the schema of this program."""

import warnings

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine

from app.errors import Conflict
from app.resources import resource_dir


def alembic_config() -> Config:
    """Alembic's settings without a file, so that an installed program finds its migrations too."""
    config = Config()
    config.set_main_option("script_location", str(resource_dir("migrations")))
    config.set_main_option("path_separator", "os")
    return config


def current_version(engine: Engine) -> str | None:
    """The schema version the database is at; None for an empty one."""
    with engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def newest_version() -> str:
    version = ScriptDirectory.from_config(alembic_config()).get_current_head()
    assert version is not None
    return version


def upgrade(engine: Engine) -> None:
    """Run the missing migrations in one transaction; refuse a database that a newer program wrote."""
    known = {script.revision for script in ScriptDirectory.from_config(alembic_config()).walk_revisions()}
    version = current_version(engine)
    if version is not None and version not in known:
        raise Conflict(
            f"The database was written by a newer Revledger (schema {version}); "
            "install that version, or recover a backup made with this one."
        )
    config = alembic_config()
    with engine.begin() as connection, warnings.catch_warnings():
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
