"""The diff view of two 4 MiB images with nearly all of 400 maps changed, beside the comparison that it shows.

Run with --benchmark-enable. Target: a page within 150 ms. The ratio of processor times is what is held: reading and
verifying both images and comparing them is the floor. Measured on two cores: comparison 31 ms, whole page with its
list and one map's panel 45 ms, the panel alone 36 ms.
"""

import time
from collections.abc import Callable

from fastapi import FastAPI
from pytest_benchmark.fixture import BenchmarkFixture
from sqlalchemy import Engine

from app.record import comparisons
from app.record.engine import reading
from tests.api.caller import Caller
from tests.bench.families import family
from tests.bench.test_bench_api_revision import SEED, prepared
from tests.bench.timing import medians
from tests.browser import Browser

PAGE, PANEL = 3.0, 2.5


def test_a_page_with_400_changed_maps_costs_little_more_than_their_comparison(
    app: FastAPI, sqlite_engine: Engine, browser: Callable[[str | None], Browser], benchmark: BenchmarkFixture
) -> None:
    f = family(SEED, revisions=1, changed=(400, 400))
    unit_id = prepared(sqlite_engine, f)
    fields = {"title": "t", "purpose": "p"}
    logged = Caller(app, sqlite_engine, "tuner").upload(
        f"/control-units/{unit_id}/revisions", f.images[1], "r.bin", **fields
    )
    changed = len(logged.json()["deltas"])
    assert changed > 360
    tuner, key = browser("tuner"), f"r{logged.json()['id']}"
    address = f"/compare?from=stock-1&to={key}"

    def compared() -> None:
        with reading(sqlite_engine) as session:
            comparisons.of_nodes(session, "stock-1", key)

    def page() -> None:
        answer = tuner.get(address)
        assert answer.text.count('class="diff-name"') == changed

    def panel() -> None:
        answer = tuner.get(f"{address}&map=Map+7", headers={"hx-request": "true", "hx-target": "map-panel"})
        assert answer.text.count("<h2") == 1

    rounds = 1 if benchmark.disabled else 30
    floor, whole, part = medians(rounds, compared, page, panel, clock=time.process_time)
    benchmark.extra_info |= {
        "comparison, s": floor,
        "page, s": whole,
        "panel, s": part,
        "page / comparison": whole / floor,
    }
    benchmark(lambda: None)
    assert benchmark.disabled or whole <= PAGE * floor
    assert benchmark.disabled or part <= PANEL * floor
