"""The form that says what was on a control unit in a result: the same for dyno sessions, strip runs and trials."""

from datetime import datetime

from sqlalchemy.orm import Session

from app.actions.attribute import Result, attribute
from app.record.tables import Person
from app.web.form import FormModel, read_choice


class AttributionForm(FormModel):
    control_unit_id: int
    revision: str = ""
    reason: str = ""


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
