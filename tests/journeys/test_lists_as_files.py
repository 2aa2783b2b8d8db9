"""Every page that shows a list of what is on record offers it as CSV and as JSON, and both open.

CSV per RFC 4180: every line has the fields of the first one.
"""

import csv
import html
import io
import re

from tests.journeys.crawl import crawl, signed_in
from tests.journeys.demo import PEOPLE
from tests.served import PASSWORD, Served

_TABLE = re.compile(r'<caption id="([\w-]+)-caption"')
_FILE = re.compile(r'href="(/[^"?]+\.csv(?:\?[^"]*)?)"')
# Tables that are no list of records: parts of one thing, figures of one computation, a form.
_NO_LIST = re.compile(
    r".*chart-table|module-\d+|columns-\d+|condition-table|band-table|read-off-table|report-.*|rated-table|limit-table"
    r"|step-.*-table|flash-checksums|checksum-table|volatile-table|identity-table|readiness-rows|rules"
    r"|blame-cells|by-table|cell-table|map-cells"
)
# Lists that are shown otherwise than as a table.
_OTHER_LISTS = frozenset(
    {
        "GET /people",
        "GET /inbox",
        "GET /vehicles/{vehicle_id:int}",
        "GET /vehicles/{vehicle_id:int}/limits",
    }
)
_TEMPLATES = frozenset({"/layouts/template.csv", "/vehicles/import/template.csv"})


def test_every_page_with_a_list_offers_it_as_a_file(demo_server: Served) -> None:
    with signed_in(demo_server.base, PEOPLE["manager"], PASSWORD) as client:
        reached = crawl(client)
        without, files = [], set[str]()
        for route, address in reached.pages.items():
            body = client.get(address).text
            tables = [name for name in _TABLE.findall(body) if not _NO_LIST.fullmatch(name)]
            offered = {html.unescape(found) for found in _FILE.findall(body)} - _TEMPLATES
            files |= offered
            if (tables or route in _OTHER_LISTS) and not offered:
                without.append((route, tables))
        assert set(reached.pages) >= _OTHER_LISTS
        assert without == []
        assert len(files) > 20
        for file in sorted(files):
            answer = client.get(file)
            assert answer.status_code == 200, file
            head, *rows = csv.reader(io.StringIO(answer.content.decode("utf-8-sig"), newline=""), strict=True)
            assert len(set(head)) == len(head) > 1, file
            assert all(len(row) == len(head) for row in rows), file
            if "curves.csv" not in file:
                beside = client.get(file.replace(".csv", ".json"), follow_redirects=True)
                assert beside.status_code == 200, file
                assert beside.headers["content-type"].startswith("application/json"), file
                beside.json()
