"""What a stored revision costs in bytes and time, beside git, zstd with the parent as dictionary, and bsdiff.

Run with --benchmark-enable. Targets: at most 800 bytes coded and 1,000 in the database per revision; a tenth of git's
time to store one; reading 20 deep at most 1.5 times a raw blob with its SHA-256.

Measured on two cores, 40 revisions of 2 synthetic families: 469 bytes coded, 752 in the database (bsdiff 1,268,
zstd 1,685, git after gc --aggressive 3,124); 4 ms to encode with SHA-256 where git add and commit take 97 ms;
reading 20 deep 1.45 to 1.48 times the raw blob.
"""

import hashlib
import os
import sqlite3
import subprocess
import time
from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from pathlib import Path
from statistics import mean

import bsdiff4
import pytest
import zstandard
from pytest_benchmark.fixture import BenchmarkFixture

from app.calc.calibration.codec import apply_chain, encode
from tests.bench.families import Family, family
from tests.bench.timing import medians

CODED_BYTES = 800
DATABASE_BYTES = 1_000
SHARE_OF_GIT = 1 / 10
TIMES_RAW_BLOB = 1.5
DEEP = 20


@cache
def line(seed: int, revisions: int) -> Family:
    """A family whose revisions are each made from the one before."""
    return family(seed, revisions=revisions, branching=0)


@pytest.fixture
def few(benchmark: BenchmarkFixture) -> bool:
    """True when only the correctness is of interest: benchmarks are switched off."""
    return bool(benchmark.disabled)


def test_stored_bytes_per_revision(benchmark: BenchmarkFixture, few: bool, tmp_path: Path) -> None:
    families = [line(seed, 4 if few else 20) for seed in ((1,) if few else (1, 2))]
    coded = [[encode(a, b) for a, b in pairwise(f.images)] for f in families]
    sizes = [len(c) for chain in coded for c in chain]
    on_disk = mean(
        database_bytes(tmp_path / f"{k}.db", f, chain) for k, (f, chain) in enumerate(zip(families, coded, strict=True))
    )
    benchmark.extra_info |= {"coded": mean(sizes), "in the database": on_disk}
    if not few:
        pairs = [pair for f in families for pair in pairwise(f.images)]
        peers = {
            "bsdiff4": mean(len(bsdiff4.diff(a, b)) for a, b in pairs[::4]),
            "zstd with the parent as dictionary": mean(len(patch_from(a, b)) for a, b in pairs[::4]),
            "git gc --aggressive": mean(git_bytes(tmp_path / f"git{k}", f) for k, f in enumerate(families)),
        }
        benchmark.extra_info |= peers | {f"coded / {name}": mean(sizes) / size for name, size in peers.items()}
        assert all(mean(sizes) < size for size in peers.values())
    assert mean(sizes) <= CODED_BYTES
    assert few or on_disk <= DATABASE_BYTES
    benchmark(encode, families[0].images[0], families[0].images[1])


def test_storing_a_revision_takes_a_tenth_of_git(benchmark: BenchmarkFixture, few: bool, tmp_path: Path) -> None:
    f = line(1, 4)
    repository = git_repository(tmp_path / "repository")
    steps: Iterator[bytes] = iter(f.images[k % 4 + 1] for k in range(10_000))
    ours, theirs = medians(
        1 if few else 15,
        lambda: store(f.images[0], f.images[1]),
        lambda: git_commit(repository, next(steps)),
        clock=time.perf_counter,
    )
    benchmark.extra_info |= {"git add and commit, s": theirs, "ours / git": ours / theirs}
    benchmark(store, f.images[0], f.images[1])
    assert few or ours <= SHARE_OF_GIT * theirs


def test_reading_twenty_deep_costs_little_more_than_a_raw_blob(
    benchmark: BenchmarkFixture, few: bool, tmp_path: Path
) -> None:
    f = line(1, 4 if few else DEEP)
    chain = [encode(a, b) for a, b in pairwise(f.images)]
    database = filled(tmp_path / "content.db", f, chain)
    database.execute("insert into content values ('raw', null, ?)", (f.images[-1],))
    database.commit()
    assert fetch(database, len(chain)) == fetch_raw(database)
    raw, deep = medians(1 if few else 60, lambda: fetch_raw(database), lambda: fetch(database, len(chain)))
    benchmark.extra_info |= {"raw blob and SHA-256, s": raw, "ours / raw": deep / raw}
    if not few:
        repository = git_repository(tmp_path / "repository")
        names = [git_commit(repository, image) for image in f.images]
        (cat,) = medians(
            10, lambda: run(repository, "cat-file", "blob", f"{names[-1]}:image.bin"), clock=time.perf_counter
        )
        benchmark.extra_info |= {"git cat-file, s": cat, "ours / git": deep / cat}
    benchmark(fetch, database, len(chain))
    database.close()
    assert few or deep <= TIMES_RAW_BLOB * raw


def store(base: bytes, new: bytes) -> tuple[str, bytes]:
    """What storing costs without the commit: digest and coding."""
    return hashlib.sha256(new).hexdigest(), encode(base, new)


def patch_from(base: bytes, new: bytes) -> bytes:
    dictionary = zstandard.ZstdCompressionDict(base, dict_type=zstandard.DICT_TYPE_RAWCONTENT)
    level = zstandard.ZstdCompressionParameters.from_level(19, window_log=23, enable_ldm=True)
    return zstandard.ZstdCompressor(dict_data=dictionary, compression_params=level).compress(new)


def filled(path: Path, f: Family, chain: list[bytes]) -> sqlite3.Connection:
    """A database as the record keeps one: digests as text, the base named, the coded difference as a blob."""
    database = sqlite3.connect(path)
    database.execute("create table content (sha256 text primary key, base text, data blob)")
    digests = [hashlib.sha256(image).hexdigest() for image in f.images]
    database.execute("insert into content values (?, null, ?)", (digests[0], f.images[0]))
    for (base, digest), coded in zip(pairwise(digests), chain, strict=True):
        database.execute("insert into content values (?, ?, ?)", (digest, base, coded))
    database.execute("create temp table names (depth integer primary key, sha256 text)")
    database.executemany("insert into names values (?, ?)", enumerate(digests))
    database.commit()
    return database


def database_bytes(path: Path, f: Family, chain: list[bytes]) -> float:
    """Growth of the database file per revision, 50 times the chain's rows for a figure that pages do not blur."""
    database = filled(path, f, chain)
    before = path.stat().st_size
    for copy in range(50):
        for k, coded in enumerate(chain):
            digest = hashlib.sha256(f"{copy} {k}".encode()).hexdigest()
            database.execute("insert into content values (?, ?, ?)", (digest, digest[::-1], coded))
    database.commit()
    database.close()
    return (path.stat().st_size - before) / (50 * len(chain))


CHAIN = """
with recursive chain(sha256, base, data) as (
    select sha256, base, case when base is not null then data end from content
    where sha256 = (select sha256 from names where depth = ?)
    union all
    select c.sha256, c.base, case when c.base is not null then c.data end
    from content c join chain on c.sha256 = chain.base
)
select sha256, data from chain
"""


def fetch(database: sqlite3.Connection, depth: int) -> tuple[bytes, str]:
    """The coded differences in one query, without carrying the base blob through it; then the base."""
    rows = database.execute(CHAIN, (depth,)).fetchall()
    (base,) = database.execute("select data from content where sha256 = ?", (rows[-1][0],)).fetchone()
    data = apply_chain(base, [coded for _, coded in rows[-2::-1]])
    return data, hashlib.sha256(data).hexdigest()


def fetch_raw(database: sqlite3.Connection) -> tuple[bytes, str]:
    (data,) = database.execute("select data from content where sha256 = 'raw'").fetchone()
    return data, hashlib.sha256(data).hexdigest()


def run(repository: Path, *arguments: str) -> bytes:
    own = {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1", "HOME": str(repository)}
    person = ["-c", "user.name=Bench", "-c", "user.email=bench@example.invalid"]
    command = ["git", *person, "-C", str(repository), *arguments]
    return subprocess.run(command, check=True, capture_output=True, env=os.environ | own).stdout


def git_repository(path: Path) -> Path:
    path.mkdir()
    run(path, "init", "-q")
    return path


def git_commit(repository: Path, image: bytes) -> str:
    (repository / "image.bin").write_bytes(image)
    run(repository, "add", "image.bin")
    run(repository, "commit", "-q", "--allow-empty", "-m", "revision")
    return run(repository, "rev-parse", "HEAD").decode().strip()


def git_bytes(path: Path, f: Family) -> float:
    """Growth of the object store per revision after `git gc --aggressive`."""
    repository = git_repository(path)
    sizes = []
    for images in (f.images[:1], f.images[1:]):
        for image in images:
            git_commit(repository, image)
        run(repository, "gc", "-q", "--aggressive", "--prune=now")
        sizes.append(sum(p.stat().st_size for p in (repository / ".git/objects").rglob("*") if p.is_file()))
    return (sizes[1] - sizes[0]) / (len(f.images) - 1)
