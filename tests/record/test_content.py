"""The content store gives the bytes whose digest was asked for, or an error: never other bytes."""

import hashlib
import random
from datetime import UTC, datetime

import pytest
import zstandard
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import text
from sqlalchemy.orm import Session

from app.errors import Damaged, NotFound
from app.record import content
from app.record.tables import Content
from tests.record.tampering import run, unguard
from tests.shop import Shop, changed, image_bytes

BIG = image_bytes(7, 64 << 10)


@pytest.fixture
def shop(session: Session) -> Shop:
    return Shop(session)


def put(shop: Shop, data: bytes, base: str | None = None) -> str:
    return content.put(shop.session, data, at=shop.at, base=base)


def stored(shop: Shop, digest: str) -> Content:
    return shop.session.get_one(Content, digest)


def test_a_blob_is_named_by_its_sha_256(shop: Shop) -> None:
    # FIPS 180-2, appendix B.1: SHA-256 of "abc".
    digest = put(shop, b"abc")
    assert digest == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert content.fetch(shop.session, digest) == b"abc"
    assert content.exists(shop.session, digest)


@given(st.binary(max_size=2000))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_bytes_come_back(session: Session, data: bytes) -> None:
    digest = content.put(session, data, at=datetime(2026, 3, 2, tzinfo=UTC))
    session.expire_all()
    assert content.fetch(session, digest) == data
    assert digest == hashlib.sha256(data).hexdigest()


def test_the_same_bytes_are_stored_once(shop: Shop) -> None:
    assert put(shop, BIG) == put(shop, BIG) == put(shop, BIG, base=put(shop, b"x"))
    assert shop.session.query(Content).count() == 2


def test_what_compresses_is_compressed_and_what_does_not_is_kept_as_it_is(shop: Shop) -> None:
    text_row, noise_row = stored(shop, put(shop, b"speed,torque\n" * 500)), stored(shop, put(shop, BIG))
    assert (text_row.coding, noise_row.coding) == ("zstd", "raw")
    assert len(text_row.data) < text_row.size // 10


def chain(shop: Shop, length: int) -> list[tuple[str, bytes]]:
    """Blobs each made from the one before by a few changed bytes."""
    rng = random.Random(length)
    data = BIG
    made = [(put(shop, data), data)]
    for _ in range(length):
        data = changed(data, *rng.sample(range(len(data)), 20))
        made.append((put(shop, data, base=made[-1][0]), data))
    return made


def test_a_blob_close_to_its_base_is_kept_as_what_changed(shop: Shop) -> None:
    (_, _), (digest, data) = chain(shop, 1)
    row = stored(shop, digest)
    assert (row.coding, row.depth) == ("runs", 1)
    assert len(row.data) < len(data) // 200
    assert content.fetch(shop.session, digest) == data


def test_bytes_of_the_base_that_are_at_hand_save_reading_them_and_nothing_else(shop: Shop) -> None:
    rows = []
    for at_hand in (None, BIG):
        with shop.session.begin_nested() as trial:
            base, data = put(shop, BIG), changed(BIG, 5, 6, 900)
            digest = content.put(shop.session, data, at=shop.at, base=base, base_data=at_hand)
            rows.append((digest, bytes(stored(shop, digest).data), stored(shop, digest).base_sha256))
            assert content.fetch(shop.session, digest) == data
            trial.rollback()
    assert rows[0] == rows[1]


def test_a_long_chain_goes_on_from_nearer_its_root_and_every_link_comes_back(shop: Shop) -> None:
    made = chain(shop, 3 * content.MAX_DEPTH)
    rows = [stored(shop, digest) for digest, _ in made]
    assert max(row.depth for row in rows) == content.MAX_DEPTH
    assert [row.coding for row in rows] == ["raw"] + ["runs"] * (len(rows) - 1)
    shop.session.expire_all()
    for digest, data in made:
        assert content.fetch(shop.session, digest) == data


# For each blob of a tree: how far back the blob lies that it is made from, how many bytes change, with which seed.
Tree = list[tuple[int, int, int]]
TREES: st.SearchStrategy[Tree] = st.lists(
    st.tuples(st.integers(0, 8), st.sampled_from([0, 1, 3, 40, 3000]), st.integers(0, 5)), min_size=1, max_size=12
)
DEEP_TREES: st.SearchStrategy[Tree] = st.lists(
    st.tuples(st.integers(0, 2), st.sampled_from([1, 3, 40]), st.integers(0, 999)), min_size=150, max_size=250
)


def grown(session: Session, tree: Tree, seed: int) -> dict[str, bytes]:
    """Store a tree, the digest of each blob with what it is."""
    made = [image_bytes(seed, 4096)]
    digests = [content.put(session, made[0], at=datetime(2026, 3, 2, tzinfo=UTC))]
    for back, count, edit in tree:
        base = max(0, len(made) - 1 - back)
        data = changed(made[base], *random.Random(edit).sample(range(4096), count))
        made.append(data)
        digests.append(content.put(session, data, at=datetime(2026, 3, 2, tzinfo=UTC), base=digests[base]))
    return dict(zip(digests, made, strict=True))


def check_tree(session: Session, tree: Tree, deepest: int, seed: int) -> None:
    """Every blob of the tree comes back, from a chain no longer than allowed."""
    with session.begin_nested() as trial:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(content, "MAX_DEPTH", deepest)
            made = grown(session, tree, seed)
        session.expire_all()
        for digest, data in made.items():
            assert content.fetch(session, digest) == data
            assert hashlib.sha256(data).hexdigest() == digest
            row = session.get_one(Content, digest)
            above = -1 if row.base_sha256 is None else session.get_one(Content, row.base_sha256).depth
            assert row.depth == above + 1 <= deepest
        trial.rollback()


@given(TREES, st.integers(1, 5), st.integers(0, 1 << 40))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=200)
def test_every_blob_of_any_tree_comes_back(session: Session, tree: Tree, deepest: int, seed: int) -> None:
    check_tree(session, tree, deepest, seed)


@pytest.mark.release
@given(DEEP_TREES)
@settings(suppress_health_check=list(HealthCheck), deadline=None, max_examples=10)
def test_every_blob_of_any_deep_tree_comes_back(session: Session, tree: Tree) -> None:
    check_tree(session, tree, content.MAX_DEPTH, 1)
    # A line as long as that passes the greatest depth.
    check_tree(session, [(0, count, edit) for _, count, edit in tree], content.MAX_DEPTH, 1)


def test_a_blob_far_from_its_base_or_of_another_size_stands_alone(shop: Shop) -> None:
    base = put(shop, BIG)
    for data in (image_bytes(8, len(BIG)), BIG[:-1]):
        assert stored(shop, put(shop, data, base=base)).base_sha256 is None


def test_an_unknown_base_is_no_reason_to_lose_the_blob(shop: Shop) -> None:
    digest = put(shop, BIG, base="0" * 64)
    assert content.fetch(shop.session, digest) == BIG


def test_what_was_never_stored_is_not_found(shop: Shop) -> None:
    with pytest.raises(NotFound, match="No stored file has the digest 0000000000000000…"):
        content.fetch(shop.session, "0" * 64)
    assert not content.exists(shop.session, "0" * 64)


@pytest.mark.parametrize("seed", range(3))
def test_no_damaged_blob_gives_bytes(shop: Shop, seed: int) -> None:
    """Bits of raw, compressed and chained blobs turned over one at a time."""
    rng = random.Random(seed)
    made = [*chain(shop, 2), (put(shop, packed := b"speed,torque\n" * 200), packed)]
    unguard(shop.session)
    refused = 0
    for place, (digest, _) in enumerate(made):
        row = stored(shop, digest)
        whole = bytes(row.data)
        for _ in range(20):
            at, bit = rng.randrange(len(whole)), rng.randrange(8)
            damaged = whole[:at] + bytes([whole[at] ^ 1 << bit]) + whole[at + 1 :]
            run(shop.session, "update content set data = :data where sha256 = :sha256", data=damaged, sha256=digest)
            for reader, (other, data) in enumerate(made):
                try:
                    given_back = content.fetch(shop.session, other)
                except Damaged as error:
                    assert other[:16] in error.sentence
                    assert reader >= place  # what does not depend on it is not dragged along
                    refused += 1
                else:
                    assert given_back == data  # a bit that decoding never needs
        run(shop.session, "update content set data = :data where sha256 = :sha256", data=whole, sha256=digest)
    assert refused > 100


@pytest.mark.parametrize("cut", [0, 1, 2, 100])
def test_a_cut_blob_gives_no_bytes(shop: Shop, cut: int) -> None:
    digests = [put(shop, b"speed,torque\n" * 200), *(digest for digest, _ in chain(shop, 1))]
    unguard(shop.session)
    for digest in digests:
        shorter = bytes(stored(shop, digest).data)[: -cut or None] if cut else b""
        run(shop.session, "update content set data = :data where sha256 = :sha256", data=shorter, sha256=digest)
        with pytest.raises(Damaged):
            content.fetch(shop.session, digest)


def frame(claimed: int, data: bytes) -> bytes:
    """A zstd frame (RFC 8878) whose header claims another content size than it holds."""
    honest = zstandard.ZstdCompressor(write_content_size=True).compress(data)
    parameters = zstandard.get_frame_parameters(honest)
    assert parameters.content_size == len(data)
    # Frame_Header: magic 4, descriptor 1; an 8-byte Frame_Content_Size has flag 3 and needs no window when single.
    rest = honest[zstandard.frame_header_size(honest) :]
    return honest[:4] + bytes([0b1110_0000]) + claimed.to_bytes(8, "little") + rest


@pytest.mark.parametrize("claimed", [1 << 20, 1 << 32, 1 << 40, 1 << 62])
@pytest.mark.parametrize("row_agrees", [True, False])
def test_a_frame_that_lies_about_its_size_is_refused_before_anything_is_allocated(
    shop: Shop, claimed: int, row_agrees: bool
) -> None:
    data = b"speed,torque\n" * 200
    digest = put(shop, data)
    lying = frame(claimed, data)
    assert zstandard.frame_content_size(lying) == claimed
    unguard(shop.session)
    run(shop.session, "update content set data = :data where sha256 = :sha256", data=lying, sha256=digest)
    if row_agrees:
        run(shop.session, "update content set size = :size where sha256 = :sha256", size=claimed, sha256=digest)
    with pytest.raises(Damaged):
        content.fetch(shop.session, digest)


def test_a_bomb_is_not_unpacked(shop: Shop) -> None:
    """Half a gibibyte of zeros in 17 kB."""
    digest = put(shop, b"speed,torque\n" * 200)
    bomb = zstandard.ZstdCompressor().compress(bytes(1 << 29))
    assert len(bomb) < 64 << 10
    unguard(shop.session)
    for size in (2600, 1 << 29):
        run(
            shop.session,
            "update content set data = :data, size = :size where sha256 = :sha256",
            data=bomb,
            size=size,
            sha256=digest,
        )
        with pytest.raises(Damaged):
            content.fetch(shop.session, digest)


@pytest.mark.parametrize("coding", ["raw", "zstd", "runs", "lzma"])
def test_a_wrong_word_for_the_coding_gives_no_other_bytes(shop: Shop, coding: str) -> None:
    (first, first_data), (second, second_data) = chain(shop, 1)
    unguard(shop.session)
    if shop.session.get_bind().dialect.name == "sqlite":
        shop.session.execute(text("pragma ignore_check_constraints = on"))
    else:
        for rule in ("coding", "base_for_runs"):
            shop.session.execute(text(f"alter table content drop constraint ck_content_{rule}"))
    run(shop.session, "update content set coding = :coding", coding=coding)
    for digest, data in ((first, first_data), (second, second_data)):
        try:
            assert content.fetch(shop.session, digest) == data
        except Damaged:
            continue


def test_a_chain_that_bites_its_tail_ends(shop: Shop) -> None:
    (first, _), (second, _) = chain(shop, 1)
    unguard(shop.session)
    if shop.session.get_bind().dialect.name == "sqlite":
        shop.session.execute(text("pragma ignore_check_constraints = on"))
    else:
        shop.session.execute(text("alter table content drop constraint ck_content_base_for_runs"))
    run(shop.session, "update content set base_sha256 = :base where sha256 = :sha256", base=second, sha256=first)
    for digest in (first, second):
        with pytest.raises(Damaged):
            content.fetch(shop.session, digest)


def test_a_base_that_is_gone_is_damage_of_what_was_made_from_it(shop: Shop) -> None:
    (first, _), (second, _) = chain(shop, 1)
    unguard(shop.session)
    if shop.session.get_bind().dialect.name == "sqlite":
        shop.session.execute(text("pragma defer_foreign_keys = on"))
    run(shop.session, "delete from content where sha256 = :sha256", sha256=first)
    with pytest.raises(Damaged):
        content.fetch(shop.session, second)
