"""The migrated database is the one that the tables describe, on both databases, and it guards what it must."""

import re

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import CheckConstraint, Engine, inspect, text

from app.errors import Conflict
from app.record.migrate import alembic_config, current_version, newest_version, upgrade
from app.record.search_index import is_described
from app.record.tables import Base


def test_tables_and_migrations_agree(engine: Engine) -> None:
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True, "include_object": is_described})
        assert compare_metadata(context, Base.metadata) == []


def _rules_of_tables() -> dict[tuple[str, str], str]:
    return {
        (table.name, str(one.name)): " ".join(str(one.sqltext).split())
        for table in Base.metadata.tables.values()
        for one in table.constraints
        if isinstance(one, CheckConstraint)
    }


def _rules_of_database(engine: Engine) -> dict[tuple[str, str], str]:
    found = inspect(engine)
    return {
        (table, str(one["name"])): " ".join(str(one["sqltext"]).split())
        for table in found.get_table_names()
        for one in found.get_check_constraints(table)
    }


def test_every_rule_of_the_tables_is_in_the_database(engine: Engine) -> None:
    """Alembic compares no CHECK constraints; PostgreSQL rewrites their text, SQLite keeps it."""
    wanted, there = _rules_of_tables(), _rules_of_database(engine)
    assert len(wanted) > 20
    assert set(wanted) == set(there)
    if engine.dialect.name == "sqlite":
        assert wanted == there


def test_every_append_only_table_has_its_triggers(engine: Engine) -> None:
    names = {str(m.class_.__tablename__) for m in Base.registry.mappers if getattr(m.class_, "append_only", False)}
    if engine.dialect.name == "sqlite":
        query, wanted = (
            "select tbl_name || ' ' || name from sqlite_schema where type = 'trigger'",
            {f"{name} {name}_no_{verb}" for name in names for verb in ("update", "delete", "replace")},
        )
    else:
        query, wanted = (
            "select distinct relname || ' ' || tgname from pg_trigger join pg_class on pg_class.oid = tgrelid",
            {f"{name} {name}_{kind}" for name in names for kind in ("append_only", "no_truncate")},
        )
    with engine.connect() as connection:
        there = set(connection.scalars(text(query)))
    assert len(names) >= 30
    assert wanted <= there


def test_there_is_one_line_of_versions_and_each_has_its_own_file() -> None:
    scripts = ScriptDirectory.from_config(alembic_config())
    assert len(scripts.get_heads()) == 1
    assert len(scripts.get_bases()) == 1
    for script in scripts.walk_revisions():
        assert re.fullmatch(r"\d{4}", script.revision)


def test_a_migrated_database_is_left_as_it_is(engine: Engine) -> None:
    assert current_version(engine) == newest_version()
    upgrade(engine)
    assert current_version(engine) == newest_version()


def test_a_database_of_a_newer_program_is_refused_with_a_sentence(engine: Engine) -> None:
    with engine.begin() as connection:
        connection.execute(text("update alembic_version set version_num = '9999'"))
    with pytest.raises(Conflict, match=r"newer Revledger \(schema 9999\)"):
        upgrade(engine)
    assert current_version(engine) == "9999"
