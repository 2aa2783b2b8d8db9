"""The form that says what was on a control unit in a result: the same for dyno sessions, strip runs and trials."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.actions.attribute import Result, attribute
from app.errors import AppError
from app.record.tables import Person
from app.web.form import FormModel, read_choice


class AttributionForm(FormModel):
    control_unit_id: int
    revision: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Correction:
    """A refused form as it was typed: where it was sent, about which control unit, and the sentence at its field."""

    path: str
    unit_id: int
    revision: str
    reason: str
    errors: dict[str, str]

    @property
    def links(self) -> list[tuple[str, str]]:
        """(id of the field, sentence), for the summary above the page."""
        return [(f"{self.path}-{field}-{self.unit_id}", sentence) for field, sentence in self.errors.items()]


def refused_correction(path: str, form: AttributionForm, error: AppError) -> Correction:
    errors = {error.field: error.sentence} if error.field in ("revision", "reason") else {}
    return Correction(path, form.control_unit_id, form.revision, form.reason, errors)


def attribute_as_typed(session: Session, person: Person, now: datetime, form: AttributionForm, result: Result) -> None:
    """Attribute the result as the form says; what raises leaves nothing of it behind."""
    sentence = "Choose stock or a revision."
    revision_id = None if form.revision == "stock" else read_choice(form.revision, field="revision", sentence=sentence)
    with session.begin_nested():
        attribute(
            session,
            person=person,
            at=now,
            result=result,
            control_unit_id=form.control_unit_id,
            revision_id=revision_id,
            reason=form.reason,
        )
