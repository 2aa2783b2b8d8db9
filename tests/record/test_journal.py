"""The journal's chain: what it says, and that no edit behind the program's back goes unseen.

The attacks are those named for hash-chained logs in B. Schneier and J. Kelsey, "Secure Audit Logs to Support Computer
Forensics", ACM TISSEC 2(2), 1999: edit, delete, reorder, cut off the end, write the whole chain anew. The last two
need a head kept outside: the one that is printed.
"""

import hashlib
import json
from collections.abc import Callable
from datetime import timedelta

import pytest
import rfc8785
from sqlalchemy import select, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app.record import journal
from app.record.journal import GENESIS, Head
from app.record.row_hash import row_hash
from app.record.tables import Content, JournalEntry, StockRead
from app.record.verify import verify
from tests.record.tampering import run, unguard
from tests.shop import STOCK, Shop


@pytest.fixture
def shop(session: Session) -> Shop:
    """Eight entries: a car, a unit, stock read twice, coding kept, a flash, two scans."""
    shop = Shop(session)
    vehicle = shop.car()
    unit = shop.unit(vehicle)
    shop.stock(unit)
    shop.coding(vehicle)
    shop.flash(unit)
    shop.scan(unit)
    shop.scan(unit)
    return shop


def test_an_untouched_record_verifies(shop: Shop) -> None:
    found = verify(shop.session)
    assert found.clean
    assert found.entries == 8
    assert found.head == journal.head(shop.session)
    assert found.sentence.startswith("Everything holds: 8 journal entries, ")
    assert found.head.short in found.sentence


def test_an_empty_record_verifies(session: Session) -> None:
    found = verify(session)
    assert (found.clean, found.entries, found.rows, found.blobs) == (True, 0, 0, 0)
    assert found.head == Head(0, GENESIS)


def test_the_chain_can_be_checked_without_this_program(shop: Shop) -> None:
    """Recomputed here from the standards alone: RFC 8785 JSON, FIPS 180-4 SHA-256, previous hash first."""
    previous = hashlib.sha256(b"revledger journal 1").digest()
    for number, entry in enumerate(shop.entries(), start=1):
        body = json.loads(entry.body)
        assert body["seq"] == entry.seq == number
        assert rfc8785.dumps(body).decode() == entry.body
        inner = hashlib.sha256(b"\x00" + entry.body.encode()).digest()
        assert entry.previous_hash == previous.hex()
        previous = hashlib.sha256(b"\x01" + previous + inner).digest()
        assert entry.hash == previous.hex()


def test_an_entry_lists_the_rows_of_its_act_with_their_hashes(shop: Shop) -> None:
    entry = shop.entries()[3]
    body = json.loads(entry.body)
    assert body["action"] == "confirm stock"
    assert [row[0] for row in body["rows"]] == ["stock_read", "stock"]
    first = json.loads(shop.entries()[2].body)["rows"]
    read = shop.session.scalars(select(StockRead).order_by(StockRead.id)).first()
    assert read is not None
    assert first == [
        ["content", read.sha256, row_hash(shop.session.get_one(Content, read.sha256))],
        ["stock_read", read.id, row_hash(read)],
    ]
    assert read.sha256 == hashlib.sha256(STOCK).hexdigest()


def test_every_row_carries_the_number_of_its_entry(shop: Shop) -> None:
    reads = shop.session.query(StockRead).order_by(StockRead.id).all()
    assert [read.entry_seq for read in reads] == [3, 4]


def test_a_clock_that_went_back_is_noted_and_the_order_stays(shop: Shop) -> None:
    unit = shop.unit(role="body")
    shop.at -= timedelta(days=1)
    shop.scan(unit)
    last = shop.entries()[-1]
    assert json.loads(last.body)["facts"]["clock_went_back_s"] == 86_400 - 60
    assert journal.page(shop.session, limit=1)[0].seq == last.seq
    assert verify(shop.session).clean


def test_the_database_refuses_a_gap(shop: Shop) -> None:
    entry = shop.entries()[-1]
    with pytest.raises(DBAPIError, match="the journal has no gaps"), shop.session.begin_nested():
        shop.session.execute(
            text(
                "insert into journal_entry (seq, at, action, body, previous_hash, hash) "
                "values (:seq, :at, 'x', '{}', :before, :hash)"
            ),
            {"seq": entry.seq + 2, "at": "2026-01-01 00:00:00+00:00", "before": entry.hash, "hash": "0" * 64},
        )


def test_a_refused_act_takes_its_number_back(shop: Shop) -> None:
    count = len(shop.entries())
    with pytest.raises(ZeroDivisionError), shop.session.begin_nested():
        shop.car()
        raise ZeroDivisionError
    assert len(shop.entries()) == count
    shop.unit(role="body")  # registers a car, then adds the unit
    assert [entry.seq for entry in shop.entries()] == list(range(1, count + 3))
    assert verify(shop.session).clean


Attack = Callable[[Session], None]


def edit_a_sentence(session: Session) -> None:
    run(session, "update journal_entry set body = replace(body, 'Velmora', 'Corvane') where seq = 1")


def edit_the_moment(session: Session) -> None:
    run(session, "update journal_entry set at = '2020-01-01 00:00:00.000000+00:00' where seq = 4")


def edit_the_action(session: Session) -> None:
    run(session, "update journal_entry set action = 'read stock' where seq = 4")


def edit_the_person(session: Session) -> None:
    run(session, "update journal_entry set person_id = null where seq = 4")


def edit_the_vehicle(session: Session) -> None:
    run(session, "update journal_entry set vehicle_id = null where seq = 4")


def edit_a_hash(session: Session) -> None:
    run(session, "update journal_entry set hash = :hash where seq = 4", hash="0" * 64)


def edit_a_previous_hash(session: Session) -> None:
    run(session, "update journal_entry set previous_hash = :hash where seq = 4", hash="0" * 64)


def make_a_body_unreadable(session: Session) -> None:
    run(session, "update journal_entry set body = 'not JSON' where seq = 4")


def delete_from_the_middle(session: Session) -> None:
    run(session, "delete from journal_entry where seq = 4")


def delete_the_first(session: Session) -> None:
    run(session, "delete from journal_entry where seq = 1")


def delete_and_renumber(session: Session) -> None:
    run(session, "delete from journal_entry where seq = 4")
    for seq in range(5, 9):
        run(session, "update journal_entry set seq = :new where seq = :old", new=seq - 1, old=seq)


def swap_two(session: Session) -> None:
    for new, old in ((-1, 4), (4, 5), (5, -1)):
        run(session, "update journal_entry set seq = :new where seq = :old", new=new, old=old)


@pytest.mark.parametrize(
    ("attack", "finding"),
    [
        (edit_a_sentence, "entry 1 does not follow"),
        (edit_the_moment, "columns of entry 4 differ"),
        (edit_the_action, "columns of entry 4 differ"),
        (edit_the_person, "columns of entry 4 differ"),
        (edit_the_vehicle, "columns of entry 4 differ"),
        (edit_a_hash, "entry 4 does not follow"),
        (edit_a_previous_hash, "entry 4 does not follow"),
        (make_a_body_unreadable, "content of entry 4 cannot be read"),
        (delete_from_the_middle, "entry 4 is missing"),
        (delete_the_first, "entry 1 is missing"),
        (delete_and_renumber, "entry 4 does not follow"),
        (swap_two, "entry 4 does not follow"),
    ],
)
def test_tampering_is_found_and_named(shop: Shop, attack: Attack, finding: str) -> None:
    unguard(shop.session)
    attack(shop.session)
    found = verify(shop.session)
    assert not found.clean
    assert any(finding in one for one in found.findings), found.findings
    assert "not hold" in found.sentence


def cut_the_tail(session: Session) -> None:
    """The last act is taken out whole: its entry and its row."""
    run(session, "delete from journal_entry where seq = 8")
    run(session, "delete from identity_check where id = (select max(id) from identity_check)")


def write_everything_anew(session: Session) -> None:
    """From entry 4 on another story, correctly chained, by somebody who knows the method."""
    previous = session.get_one(JournalEntry, 3).hash
    for seq in range(4, 9):
        entry = session.get_one(JournalEntry, seq)
        body = entry.body.replace("Ada Renn", "Somebody")
        changed = journal.link(previous, body)
        run(
            session,
            "update journal_entry set body = :body, previous_hash = :previous, hash = :hash where seq = :seq",
            body=body,
            previous=previous,
            hash=changed,
            seq=seq,
        )
        previous = changed


@pytest.mark.parametrize("attack", [cut_the_tail, write_everything_anew])
def test_only_a_printed_head_shows_a_cut_tail_or_a_chain_written_anew(shop: Shop, attack: Attack) -> None:
    printed = journal.head(shop.session)
    unguard(shop.session)
    attack(shop.session)
    assert verify(shop.session).clean, "the attack is as clever as the test means it to be"
    found = verify(shop.session, anchors=[(printed.seq, printed.hash[:16])])
    assert found.findings == (f"Journal: entry 8 is missing or differs from the printed head 8-{printed.hash[:16]}.",)


def test_a_printed_head_of_long_ago_still_fits(shop: Shop) -> None:
    printed = [(entry.seq, entry.hash[:16]) for entry in shop.entries()]
    shop.unit(role="body")
    assert verify(shop.session, anchors=printed).clean


def test_a_wrong_copy_of_a_head_is_told(shop: Shop) -> None:
    assert not verify(shop.session, anchors=[(3, "0" * 16)]).clean
    assert not verify(shop.session, anchors=[(99, "0" * 16)]).clean


def test_progress_is_told_while_it_runs(shop: Shop) -> None:
    unit = shop.unit(role="body")
    for _ in range(100):
        shop.scan(unit)
    told: list[tuple[str, int, int]] = []
    assert verify(shop.session, progress=lambda *step: told.append(step)).clean
    assert told
    assert all(0 < done <= total for _, done, total in told)
