"""The shop can rely on it that a certificate prints every step, every override with its reason, and claims no more.

What a certificate must and must not say is common practice, no source.
"""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.restore.certificate import (
    Certificate,
    CertificateVehicle,
    DigestLine,
    Signature,
    build_certificate,
)
from app.calc.restore.plan import Override, RestoreUnit, build_plan, progress
from app.calc.restore.verdicts import Verdict
from app.errors import BadInput

PLAN = build_plan(
    [RestoreUnit(3, "engine")], coding_snapshot=True, baseline=True, high_voltage=False, two_sign_offs=False
)
WORK = [s.key for s in PLAN.steps if s.evidence != "sign-off"]
GOOD = Verdict("verified", "It was found so.", ("a finding",))
SIGNED = [Signature("M. Ostrow", "manager", "2026-05-04 17:20")]


def certificate(
    verdicts: dict[str, Verdict],
    overrides: dict[str, Override] | None = None,
    *,
    signatures: list[Signature] | None = None,
    order: dict[str, int] | None = None,
) -> Certificate:
    return build_certificate(
        progress(PLAN, verdicts, overrides or {}, order=order),
        number="12-1",
        issued_at="2026-05-04 17:21",
        vehicle=CertificateVehicle("1M8GDM9AXKP042788", "QX 812", "Nova Tourer 2.0", 48_211.0, ("engine",)),
        digests=[DigestLine("stock image, engine", "ab" * 32)],
        signatures=signatures or [],
        journal_head=(812, "cd" * 32),
    )


def test_all_verified() -> None:
    found = certificate(dict.fromkeys(WORK, GOOD), signatures=SIGNED)
    assert found.headline == "All 11 checks of this restore to stock were verified."
    assert [line.title for line in found.verified] == [PLAN.step(k).title for k in WORK]
    assert (found.not_verified, found.overridden) == ((), ())


def test_it_never_claims_an_unmodified_car() -> None:
    text = " ".join(certificate(dict.fromkeys(WORK, GOOD)).statements)
    assert "does not state that the vehicle was never modified" in text
    assert "write counters" in text
    assert "does not restore warranty rights" in text


def test_an_override_prints_its_reason_and_the_finding() -> None:
    verdicts = {**dict.fromkeys(WORK, GOOD), "read_back.3": Verdict("failed", "4 bytes differ.")}
    found = certificate(
        verdicts, {"read_back.3": Override(" Unit replaced under recall. ", "M. Ostrow")}, signatures=SIGNED
    )
    (line,) = found.overridden
    assert (line.reason, line.by, line.finding) == ("Unit replaced under recall.", "M. Ostrow", "4 bytes differ.")
    assert found.headline == "10 of 11 checks verified, 1 overridden without being verified."


def test_an_override_of_good_evidence_is_still_an_override() -> None:
    found = certificate(dict.fromkeys(WORK, GOOD), {"pull": Override("Customer waits.", "M. Ostrow")})
    assert len(found.overridden) == 1
    assert len(found.verified) == 10


def test_open_steps_stand_under_not_verified() -> None:
    found = certificate({"identify.3": GOOD, "secure_stock.3": Verdict("failed", "Wrong digest.")})
    assert found.headline == "1 of 11 checks verified, 10 not verified."
    assert [line.sentence for line in found.not_verified[:2]] == ["Wrong digest.", "No evidence was recorded."]


def test_evidence_older_than_a_repeated_write_does_not_count() -> None:
    order = {key: n for n, key in enumerate(WORK)} | {"flash.3": 99}
    found = certificate(dict.fromkeys(WORK, GOOD), order=order)
    titles = [line.title for line in found.not_verified]
    assert "Read back and compare – engine" in titles
    assert all(line.sentence.endswith("so this does not count: It was found so.") for line in found.not_verified)


def test_it_cannot_be_signed_while_steps_are_open() -> None:
    with pytest.raises(BadInput, match="open steps"):
        certificate({"identify.3": GOOD}, signatures=SIGNED)


def test_it_is_plain_json_for_the_record() -> None:
    content = certificate(dict.fromkeys(WORK, GOOD), signatures=SIGNED).to_json()
    assert json.loads(json.dumps(content)) == content
    assert content["digests"] == [{"label": "stock image, engine", "sha256": "ab" * 32}]
    assert content["journal_head"] == [812, "cd" * 32]


outcomes = st.sampled_from([None, GOOD, Verdict("failed", "bad"), Verdict("not verified", "open")])


@given(st.fixed_dictionaries(dict.fromkeys(WORK, outcomes)), st.sets(st.sampled_from(WORK)))
def test_every_step_stands_in_exactly_one_list(found: dict[str, Verdict | None], overridden: set[str]) -> None:
    overrides = {k: Override("reason", "M. Ostrow") for k in overridden}
    made = certificate({k: v for k, v in found.items() if v}, overrides)
    titles = [line.title for line in (*made.verified, *made.not_verified, *made.overridden)]
    assert sorted(titles) == sorted(PLAN.step(k).title for k in WORK)
    assert {line.title for line in made.overridden} == {PLAN.step(k).title for k in overridden}
    assert all(found[k] is GOOD for k in WORK if PLAN.step(k).title in {line.title for line in made.verified})
