"""What of the journal is wanted, as it stands in an address: the page, its files and the API read it alike."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Annotated
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from fastapi import Depends, Query

from app.errors import BadInput
from app.record.journal import PROGRAM, Wanted
from app.record.row_id import row_id

WITHOUT_PREFERENCES = "preferences"


@dataclass(frozen=True, slots=True)
class JournalFilter:
    """The filters as typed; empty is no filter.

    person : a person's id, or "program" for what no person did. car : words of a plate, VIN, customer, make or model.
    since, until : days of the workshop, both counted in, or moments in RFC 3339.
    without : "preferences" leaves out how people changed their own colours and units. Nothing is left out unasked: the
    journal is evidence, and a number missing from it has to be explained by what stands in the address.
    """

    person: str = ""
    vehicle_id: str = ""
    car: str = ""
    act: str = ""
    since: str = ""
    until: str = ""
    without: str = ""

    @property
    def query(self) -> str:
        """The filters for an address, without those that are empty."""
        given = {
            "person": self.person, "vehicle_id": self.vehicle_id, "car": self.car, "act": self.act,
            "from": self.since, "to": self.until, "without": self.without,
        }  # fmt: skip
        return urlencode({name: value for name, value in given.items() if value})

    def read(self, zone: ZoneInfo) -> Wanted:
        """What they mean; raises `BadInput` that names the field."""
        if self.without not in ("", WITHOUT_PREFERENCES):
            raise BadInput(f"Only “{WITHOUT_PREFERENCES}” can be left out of the journal.", field="without")
        return Wanted(
            person_id=PROGRAM if self.person == "program" else _id(self.person, "person", "There is no such person."),
            vehicle_id=_id(self.vehicle_id, "vehicle_id", "There is no such car."),
            car=self.car,
            action=self.act,
            since=_moment(self.since, zone, field="from", label="From", whole_day=False),
            until=_moment(self.until, zone, field="to", label="To", whole_day=True),
            preferences=self.without != WITHOUT_PREFERENCES,
        )


def _from_address(
    person: Annotated[str, Query(max_length=20, description="Id of a person, or “program”.")] = "",
    vehicle_id: Annotated[str, Query(max_length=20, description="Id of a vehicle.")] = "",
    car: Annotated[str, Query(max_length=200, description="Words of a plate, VIN, customer, make or model.")] = "",
    act: Annotated[str, Query(max_length=60, description="The kind of act, as entries name it.")] = "",
    since: Annotated[str, Query(alias="from", max_length=40, description="First day, or a moment.")] = "",
    until: Annotated[str, Query(alias="to", max_length=40, description="Last day, or a moment.")] = "",
    without: Annotated[str, Query(max_length=20, description="“preferences”: no changes of colours and units.")] = "",
) -> JournalFilter:
    return JournalFilter(*(text.strip() for text in (person, vehicle_id, car, act, since, until, without)))


AskedFor = Annotated[JournalFilter, Depends(_from_address)]


def _id(text: str, field: str, sentence: str) -> int | None:
    if not text:
        return None
    found = row_id(text)
    if found is None:
        raise BadInput(sentence, field=field)
    return found


def _moment(text: str, zone: ZoneInfo, *, field: str, label: str, whole_day: bool) -> datetime | None:
    """A day's first moment, or with `whole_day` the first one after it; a moment as it is, with `whole_day` the one
    after it: the end is left out where it is looked for."""
    if not text:
        return None
    try:
        if len(text) <= len("2026-11-25"):
            day = date.fromisoformat(text) + timedelta(days=whole_day)
            return datetime.combine(day, time(), zone)
        moment = datetime.fromisoformat(text)
        moment = moment if moment.tzinfo else moment.replace(tzinfo=zone)
        return moment + timedelta(microseconds=whole_day)
    except (ValueError, OverflowError):
        raise BadInput(f"{label}: “{text}” is no date like 2026-11-25.", field=field) from None
