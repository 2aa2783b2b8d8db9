"""The shop's rules for warnings about changed maps."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import ConfigDict
from sqlalchemy.orm import Session

from app.actions.change_warning_rules import change_warning_rules
from app.calc.calibration.delta_warnings import CategoryRule, WarningRules
from app.calc.calibration.layout import CATEGORIES
from app.errors import AppError
from app.record import warning_rules
from app.web.form import FormModel, OncePerForm, read_number, see_other
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import Manager, Viewer
from app.web.transaction import Read, Write

router = APIRouter(prefix="/settings/warnings")

STRUCTURAL = (
    ("at_raw_limit", "A changed cell holds the smallest or largest number that can be stored"),
    ("checksum", "A block checksum does not hold"),
    ("axis_not_monotonic", "Breakpoints no longer rise or fall throughout"),
)
NUMBERS = ("change", "percent", "jump_factor")


@dataclass(frozen=True, slots=True)
class RuleRow:
    """One category; `key` begins the names of its fields."""

    key: str
    title: str
    raised: bool
    change: str
    percent: str
    jump_factor: str


@dataclass(frozen=True, slots=True)
class RulesPage:
    may_change: bool
    structural: tuple[tuple[str, str, bool], ...]
    rows: tuple[RuleRow, ...]
    errors: dict[str, str]
    sentence: str


class RulesForm(FormModel):
    """Fields are named after the rule, those of a category "<category>.<rule>"."""

    model_config = ConfigDict(extra="allow", str_strip_whitespace=True)

    @property
    def given(self) -> dict[str, str]:
        return {name: str(value) for name, value in (self.model_extra or {}).items()}


def _key(category: str) -> str:
    return category.replace(" ", "_")


def _page(session: Session, may_change: bool, typed: dict[str, str] | None, error: AppError | None) -> RulesPage:
    given = _typed(warning_rules.rules(session)) if typed is None else typed
    return RulesPage(
        may_change=may_change,
        structural=tuple((name, words, given.get(name) == "yes") for name, words in STRUCTURAL),
        rows=tuple(
            RuleRow(
                _key(category),
                category.capitalize(),
                given.get(f"{_key(category)}.raised") == "yes",
                *(given.get(f"{_key(category)}.{name}", "") for name in NUMBERS),
            )
            for category in CATEGORIES
        ),
        errors={} if error is None or error.field is None else {error.field: error.sentence},
        sentence="" if error is None else str(error),
    )


def _typed(rules: WarningRules) -> dict[str, str]:
    """The rules as the form's fields."""
    found = {name: "yes" for name, _ in STRUCTURAL if getattr(rules, name)}
    for category, rule in rules.categories.items():
        if rule.raised:
            found[f"{_key(category)}.raised"] = "yes"
        for name in NUMBERS:
            value = getattr(rule, name)
            if value is not None:
                found[f"{_key(category)}.{name}"] = f"{value:g}"
    return found


def _rules(given: dict[str, str]) -> WarningRules:
    """The rules that the form's fields describe; BadInput names the field."""
    rules = {}
    for category in CATEGORIES:
        key = _key(category)
        numbers = {
            name: read_number(
                given.get(f"{key}.{name}"), field=f"{key}.{name}", label=category.capitalize(), lowest=1e-9
            )
            for name in NUMBERS
        }
        rule = CategoryRule(given.get(f"{key}.raised") == "yes", **numbers)
        if rule != CategoryRule():
            rules[category] = rule
    structural = {name: given.get(name) == "yes" for name, _ in STRUCTURAL}
    return WarningRules(**structural, categories=rules)


@router.get("")
def show(request: Request, session: Read, person: Viewer) -> HTMLResponse:
    page = _page(session, person.role == "manager", None, None)
    return render(request, "settings/warnings.html", page, session=session, person=person, title="Warning rules")


@router.post("")
def take(
    request: Request, form: Annotated[RulesForm, Form()], once: OncePerForm, session: Write, person: Manager, now: Now
) -> Response:
    try:
        wanted = _rules(form.given)
        with session.begin_nested():
            change_warning_rules(session, person=person, at=now, wanted=wanted)
    except AppError as error:
        page = _page(session, True, form.given, error)
        title = "Warning rules"
        return render(
            request, "settings/warnings.html", page, session=session, person=person, title=title, status=error.status
        )
    return see_other(request, session, "/settings/warnings", once)
