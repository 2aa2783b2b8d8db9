"""The invented workshop's year in a database file, with people who can sign in."""

from datetime import datetime
from pathlib import Path

from app.actions.change_person import change_person
from app.record import people
from app.record.engine import make_engine, transaction
from app.record.migrate import upgrade
from app.seed import load
from tests.served import PASSWORD

PEOPLE = {
    "manager": "Mira Talvik",
    "tuner": "Oskar Dunmore",
    "second_tuner": "Edda Pell",
    "front_desk": "Tomas Arkwell",
}


def load_demo(file: Path, now: datetime) -> Path:
    """Load the demo into a new file; everybody gets the same password through the program's own action."""
    engine = make_engine(f"sqlite:///{file}")
    upgrade(engine)
    load(engine, now=now)
    with transaction(engine) as session:
        for name in PEOPLE.values():
            person = people.by_name(session, name)
            assert person is not None
            change_person(session, person=None, at=now, person_id=person.id, password=PASSWORD)
    engine.dispose()
    return file
