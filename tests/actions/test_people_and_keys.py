"""People, their sign-ins and tokens, on both databases: each act leaves one entry, and the last manager stays."""

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from app.actions.add_person import add_person
from app.actions.change_person import change_person
from app.actions.change_preferences import change_preferences
from app.actions.change_settings import change_settings
from app.actions.create_first_manager import create_first_manager
from app.actions.create_token import create_token
from app.actions.revoke_token import revoke_token
from app.actions.sign_in import sign_in
from app.actions.sign_in_by_link import sign_in_by_link
from app.actions.sign_out import sign_out
from app.errors import AppError, BadInput, Conflict, Forbidden, NotFound
from app.record import api_tokens, form_keys, one_time_keys, people, sign_ins
from app.record.engine import reading, transaction
from app.record.settings import Shop, shop
from app.record.tables import JournalEntry, Person
from app.record.verify import verify

AT = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
LONG = {"idle": timedelta(hours=8), "absolute": timedelta(hours=12)}
PASSWORD = "six blue geese walk"


def person_of(session: Session, name: str = "Mara", role: str = "manager") -> Person:
    return people.add(session, name=name, role=role, password_hash=None, at=AT)


def entries(session: Session) -> list[tuple[str, str]]:
    rows = session.scalars(select(JournalEntry).order_by(JournalEntry.seq))
    return [(row.action, json.loads(row.body)["sentence"]) for row in rows]


def key_for(session: Session, purpose: str = "first_manager", person_id: int | None = None) -> str:
    return one_time_keys.make(session, purpose, AT, valid=timedelta(hours=1), person_id=person_id)


Act = Callable[[Session, Person], object]
ACTS: dict[str, Act] = {
    "add person": lambda s, p: add_person(s, person=p, at=AT, name="Tom", role="tuner", password=None),
    "change person": lambda s, p: change_person(s, person=p, at=AT, person_id=p.id, password=PASSWORD),
    "create token": lambda s, p: create_token(s, person=p, at=AT, person_id=p.id, label="dyno computer"),
    "revoke token": lambda s, p: revoke_token(
        s, person=p, at=AT, token_id=api_tokens.make(s, person_id=p.id, label="x", at=AT)[0].id
    ),
    "change settings": lambda s, p: change_settings(s, person=p, at=AT, wanted=Shop(name="Nine Mile")),
    "change preferences": lambda s, p: change_preferences(s, person=p, at=AT, theme="dark"),
    "sign in": lambda s, p: sign_in(s, person=p, at=AT, password_fits=True, old_token=None),
    "sign out": lambda s, p: sign_out(s, person=p, at=AT, token=sign_ins.start(s, p.id, AT)),
}


@pytest.mark.parametrize("action", sorted(ACTS))
def test_each_act_leaves_one_entry_that_names_person_and_time(session: Session, action: str) -> None:
    person = person_of(session)
    ACTS[action](session, person)
    (entry,) = session.scalars(select(JournalEntry))
    assert (entry.action, entry.person_id, entry.at) == (action, person.id, AT)
    assert verify(session).clean


def test_no_act_writes_a_secret_into_the_journal(session: Session) -> None:
    person = person_of(session)
    token = create_token(session, person=person, at=AT, person_id=person.id, label="dyno computer")
    change_person(session, person=person, at=AT, person_id=person.id, password=PASSWORD)
    cookie = sign_in(session, person=person, at=AT, password_fits=True, old_token=None)
    assert cookie is not None
    bodies = "".join(session.scalars(select(JournalEntry.body)))
    assert not [secret for secret in (token, PASSWORD, cookie, "$argon2") if secret in bodies]


# The first manager


def test_the_first_manager_signs_the_first_entry(session: Session) -> None:
    first = create_first_manager(session, person=None, at=AT, key=key_for(session), name="Mara", password=PASSWORD)
    assert first.role == "manager"
    assert entries(session) == [("create first manager", "Mara set up this record as its first manager.")]


def test_there_is_only_one_first_manager(session: Session) -> None:
    person_of(session)
    with pytest.raises(Conflict):
        create_first_manager(session, person=None, at=AT, key=key_for(session), name="Eve", password=PASSWORD)


def test_only_the_newest_key_sets_up(session: Session) -> None:
    old, new = key_for(session), key_for(session)
    with pytest.raises(Forbidden):
        create_first_manager(session, person=None, at=AT, key=old, name="Mara", password=PASSWORD)
    create_first_manager(session, person=None, at=AT, key=new, name="Mara", password=PASSWORD)


def test_two_who_set_up_at_once_do_not_both_become_manager(engine: Engine) -> None:
    with transaction(engine) as session:
        key = key_for(session)
    with transaction(engine) as session:
        one_time_keys.use(session, key, "first_manager", AT)
    with pytest.raises(Forbidden), transaction(engine) as session:
        one_time_keys.use(session, key, "first_manager", AT)


# Names, roles, passwords


@pytest.mark.parametrize("name", ["MARA", " mara ", "Mara"])
def test_two_people_cannot_have_the_same_name(session: Session, name: str) -> None:
    person_of(session)
    with pytest.raises(Conflict) as refused:
        add_person(session, person=None, at=AT, name=name, role="tuner", password=None)
    assert refused.value.field == "name"


@pytest.mark.parametrize(("name", "role"), [("", "tuner"), (" \t", "tuner"), ("x" * 65, "tuner"), ("Tom", "boss")])
def test_a_person_needs_a_name_and_a_role(session: Session, name: str, role: str) -> None:
    with pytest.raises(BadInput):
        add_person(session, person=None, at=AT, name=name, role=role, password=None)


def test_the_only_manager_cannot_be_demoted_or_shut_out(session: Session) -> None:
    mara = person_of(session)
    for change in ({"role": "tuner"}, {"active": False}):
        with pytest.raises(Conflict):
            change_person(session, person=mara, at=AT, person_id=mara.id, **change)  # type: ignore[arg-type]  # mixed kinds
    person_of(session, "Ann")
    assert change_person(session, person=mara, at=AT, person_id=mara.id, role="tuner").role == "tuner"


def test_a_change_says_what_changed(session: Session) -> None:
    mara = person_of(session)
    tom = person_of(session, "Tom", "front_desk")
    change_person(session, person=mara, at=AT, person_id=tom.id, role="tuner", active=False)
    assert entries(session) == [("change person", "Tom: role front desk → tuner, may no longer sign in.")]
    with pytest.raises(Conflict):
        change_person(session, person=mara, at=AT, person_id=tom.id, role="tuner")
    with pytest.raises(NotFound):
        change_person(session, person=mara, at=AT, person_id=999_999_999, role="tuner")


# Sign-ins


def test_every_further_wrong_password_doubles_the_wait_up_to_a_quarter_of_an_hour(session: Session) -> None:
    tom = person_of(session, "Tom", "tuner")
    waits: list[float | None] = []
    for _ in range(14):
        tom.locked_until = None
        assert sign_in(session, person=tom, at=AT, password_fits=False, old_token=None) is None
        waits.append(None if tom.locked_until is None else (tom.locked_until - AT).total_seconds())
    assert waits == [None] * 4 + [15, 30, 60, 120, 240, 480, 900, 900, 900, 900]  # in the long run 4 an hour
    assert {action for action, _ in entries(session)} == {"lock sign-in"}


def test_while_locked_even_the_right_password_is_refused_and_not_counted(session: Session) -> None:
    tom = person_of(session, "Tom", "tuner")
    for _ in range(5):
        sign_in(session, person=tom, at=AT, password_fits=False, old_token=None)
    for fits in (True, False):
        assert sign_in(session, person=tom, at=AT, password_fits=fits, old_token=None) is None
    assert tom.failed_sign_ins == 5
    later = AT + timedelta(seconds=15)
    assert sign_in(session, person=tom, at=later, password_fits=True, old_token=None) is not None
    assert (tom.failed_sign_ins, tom.locked_until) == (0, None)


def test_a_new_password_lifts_the_lock_and_ends_all_sign_ins(session: Session) -> None:
    tom = person_of(session, "Tom", "tuner")
    token = sign_ins.start(session, tom.id, AT)
    for _ in range(6):
        sign_in(session, person=tom, at=AT, password_fits=False, old_token=None)
    change_person(session, person=None, at=AT, person_id=tom.id, password=PASSWORD)
    assert not sign_ins.is_locked(tom, AT)
    assert sign_ins.find(session, token, AT, **LONG) is None


@pytest.mark.parametrize(("hours", "found"), [(0, True), (7.99, True), (8, False), (12, False)])
def test_a_sign_in_is_found_until_its_idle_time_is_over(session: Session, hours: float, found: bool) -> None:
    token = sign_ins.start(session, person_of(session).id, AT)
    assert (sign_ins.find(session, token, AT + timedelta(hours=hours), **LONG) is not None) is found


def test_a_sign_in_in_use_still_ends_after_the_longest_time(session: Session) -> None:
    token = sign_ins.start(session, person_of(session).id, AT)
    for hours in (6, 11.9):
        sign_ins.see(session, token, AT + timedelta(hours=hours))
    assert sign_ins.find(session, token, AT + timedelta(hours=11.99), **LONG) is not None
    assert sign_ins.find(session, token, AT + timedelta(hours=12), **LONG) is None


def test_old_sign_ins_and_forms_are_forgotten(engine: Engine) -> None:
    with transaction(engine) as session:
        person = person_of(session)
        token = sign_ins.start(session, person.id, AT)
        form_keys.remember(session, "k" * 64, person_id=person.id, location="/x", at=AT)
    with transaction(engine) as session:
        sign_ins.forget_old(session, AT)
        form_keys.forget_old(session, AT)
        assert sign_ins.find(session, token, AT, **LONG) is not None
        assert form_keys.location(session, "k" * 64, person.id) == "/x"
        assert form_keys.location(session, "k" * 64, person.id + 1) is None
        sign_ins.forget_old(session, AT + timedelta(seconds=1))
        form_keys.forget_old(session, AT + timedelta(seconds=1))
    with reading(engine) as session:
        assert sign_ins.find(session, token, AT, **LONG) is None
        assert form_keys.location(session, "k" * 64, person.id) is None


def test_a_link_is_spent_once(session: Session) -> None:
    tom = person_of(session, "Tom", "tuner")
    key = key_for(session, "sign_in", tom.id)
    assert one_time_keys.is_valid(session, key, "sign_in", AT)
    assert not one_time_keys.is_valid(session, key, "first_manager", AT)
    assert not one_time_keys.is_valid(session, key, "sign_in", AT + timedelta(hours=1))
    token = sign_in_by_link(session, person=None, at=AT, key=key, old_token=None)
    found = sign_ins.find(session, token, AT, **LONG)
    assert found is not None and found.person.name == "Tom"
    with pytest.raises(Forbidden):
        sign_in_by_link(session, person=None, at=AT, key=key, old_token=None)


# Tokens


def test_a_revoked_token_and_one_of_a_person_who_left_find_nobody(session: Session) -> None:
    tom = person_of(session, "Tom", "tuner")
    token = create_token(session, person=None, at=AT, person_id=tom.id, label=" dyno  computer ")
    (row,) = api_tokens.everyones(session)
    assert row.label == "dyno computer"
    found = api_tokens.find(session, token)
    assert found is not None and found.name == "Tom"
    people.by_id(session, tom.id).active = False
    session.flush()
    assert api_tokens.find(session, token) is None
    with pytest.raises(Conflict):
        create_token(session, person=None, at=AT, person_id=tom.id, label="another")
    people.by_id(session, tom.id).active = True
    revoke_token(session, person=None, at=AT, token_id=row.id)
    assert api_tokens.find(session, token) is None


@pytest.mark.parametrize("label", ["", "   ", "x" * 81])
def test_a_token_says_what_it_is_for(session: Session, label: str) -> None:
    with pytest.raises(BadInput):
        create_token(session, person=None, at=AT, person_id=person_of(session).id, label=label)


def test_revoking_twice_or_what_is_not_there_is_refused(session: Session) -> None:
    person = person_of(session)
    row, _ = api_tokens.make(session, person_id=person.id, label="x", at=AT)
    revoke_token(session, person=person, at=AT, token_id=row.id)
    for token_id in (row.id, 999_999_999):
        with pytest.raises(AppError):
            revoke_token(session, person=person, at=AT, token_id=token_id)


# Settings


def test_settings_are_kept_and_their_change_is_told(session: Session) -> None:
    person = person_of(session)
    assert shop(session) == Shop()
    wanted = Shop(name="Nine Mile", supply_minimum_v=12.8)
    change_settings(session, person=person, at=AT, wanted=wanted)
    assert shop(session) == wanted
    (told,) = entries(session)
    assert told[1] == "Workshop settings changed: name Workshop → Nine Mile, supply minimum v 12.5 → 12.8."
    with pytest.raises(Conflict):
        change_settings(session, person=person, at=AT, wanted=wanted)


@pytest.mark.parametrize(
    ("wanted", "field"),
    [
        (Shop(name=""), "name"),
        (Shop(time_zone="Mars/Olympus"), "time_zone"),
        (Shop(supply_minimum_v=float("nan")), "supply_minimum_v"),
        (Shop(supply_minimum_v=1.0), "supply_minimum_v"),
        (Shop(equivalence_margin_percent=50.0), "equivalence_margin_percent"),
    ],
)
def test_a_setting_out_of_bounds_is_refused_by_its_field(session: Session, wanted: Shop, field: str) -> None:
    with pytest.raises(BadInput) as refused:
        change_settings(session, person=person_of(session), at=AT, wanted=wanted)
    assert refused.value.field == field


def test_preferences_keep_what_they_do_not_change(session: Session) -> None:
    person = person_of(session)
    change_preferences(session, person=person, at=AT, units={"power": "hp"})
    assert change_preferences(session, person=person, at=AT, theme="dark") == {
        "units": {"power": "hp"},
        "theme": "dark",
    }
    with pytest.raises(BadInput):
        change_preferences(session, person=person, at=AT, theme="pink")
