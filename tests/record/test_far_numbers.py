"""A number that the database cannot hold names nothing: it is refused in words, not as a defect."""

import pytest
from sqlalchemy import Engine

from app.errors import BadInput
from app.record import vehicles
from app.record.engine import reading


def test_a_number_beyond_what_the_database_holds_is_refused_in_words(engine: Engine) -> None:
    with pytest.raises(BadInput, match="larger than any in the record"), reading(engine) as session:
        vehicles.vehicle(session, 10**20)
