"""The index behind the search for vehicles: which of them can hold a word at all, by its runs of three characters.

SQLite keeps a full-text table of trigrams (FTS5) that triggers fill; PostgreSQL a GIN index over the array of them.
Both only narrow the choice: whoever asks looks into each row again. Words below three characters have no trigram.
"""

from collections.abc import Sequence

from sqlalchemy import Select, Text, cast, column, func, literal, select, table, text
from sqlalchemy.dialects.postgresql import ARRAY
from sqlalchemy.sql.schema import SchemaItem

from app.record.tables import Vehicle

SHORTEST = 3
# Created by the migration and described by no table: FTS5 and expression indexes have no form there.
TABLE, INDEX, FUNCTION = "vehicle_search", "ix_vehicle_trigrams", "trigrams"
_FTS = table(TABLE, column("rowid"))


def trigrams(word: str) -> list[str]:
    """Runs of three characters that together cover the word, each once; empty for a shorter word.

    Fewer than all: each costs a walk through its list of vehicles, and every row found is looked into again anyway.

    >>> trigrams("astrels"), trigrams("ab")
    (['ast', 'rel', 'els'], [])
    """
    last = len(word) - SHORTEST
    if last < 0:
        return []
    return list(dict.fromkeys(word[k : k + SHORTEST] for k in (*range(0, last, SHORTEST), last)))


def narrowed(dialect: str, words: Sequence[str]) -> Select[Vehicle]:
    """Vehicles that can hold every word, newest first; all vehicles when no word has a trigram.

    `words` are folded: letters, digits and nothing that a query could take for syntax.
    """
    wanted = list(dict.fromkeys(one for word in words for one in trigrams(word)))
    if not wanted:
        return select(Vehicle).order_by(Vehicle.id.desc())
    if dialect == "sqlite":
        match = text(f"{TABLE} MATCH :trigrams").bindparams(trigrams=" AND ".join(f'"{one}"' for one in wanted))
        return (
            select(Vehicle)
            .select_from(_FTS.join(Vehicle, Vehicle.id == _FTS.c.rowid))
            .where(match)
            .order_by(_FTS.c.rowid.desc())
        )
    texts: ARRAY[str] = ARRAY(Text)
    held = func.trigrams(Vehicle.search_text, type_=texts)
    return select(Vehicle).where(held.contains(cast(literal(wanted, texts), texts))).order_by(Vehicle.id.desc())


def is_described(_object: SchemaItem, name: str | None, _kind: str, reflected: bool, _other: SchemaItem | None) -> bool:
    """For Alembic's comparison: False for what only the migration creates."""
    return not (reflected and name is not None and (name.startswith(TABLE) or name == INDEX))
