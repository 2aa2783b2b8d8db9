"""Every error this project raises on purpose.

    AppError                 a sentence for a person: what is wrong, where, what to do
    ├── BadInput      422    the bytes or fields that came in cannot be used
    │   └── TooLarge  413    they are larger than what this place accepts
    ├── NotFound      404    the record has no such thing
    ├── Conflict      409    the record is in a state that forbids it
    ├── NotSignedIn   401    nobody is signed in
    ├── Forbidden     403    the person's role does not allow it
    ├── Damaged       500    stored bytes are not what the record says they are
    └── StorageFailed 507    the disk or the database could not take it

Anything else that reaches the edge is a defect: it is answered with a reference number, never with its text.
"""

import re
from collections.abc import Sequence
from unicodedata import category

_QUOTED = re.compile("“([^”]*)”")
_LONGEST_QUOTED = 80


class AppError(Exception):
    """An error with a sentence for a person.

    Parameters
    ----------
    sentence : what is wrong and what to do, one sentence.
    field : name of the form or JSON field at fault.
    where : place inside a file, such as "line 12" or "address 0x8000".
    details : further findings, one sentence or value each (for example the first differing addresses).
    """

    status = 500
    title = "Something went wrong"

    def __init__(
        self, sentence: str, *, field: str | None = None, where: str | None = None, details: Sequence[str] = ()
    ) -> None:
        self.sentence = _readable(sentence)
        super().__init__(self.sentence)
        self.field = field
        self.where = where
        self.details = tuple(details)

    def __str__(self) -> str:
        return self.sentence if self.where is None else f"{self.where}: {self.sentence}"


def _readable(sentence: str) -> str:
    """What a sentence repeats of what came in may be anything: shown is what can be printed, cut where it is long."""
    printable = "".join(one for one in sentence if one == "\n" or not category(one).startswith("C"))
    return _QUOTED.sub(lambda quoted: f"“{_cut(quoted[1])}”", printable)


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST_QUOTED else text[: _LONGEST_QUOTED - 1] + "…"


class BadInput(AppError):
    status = 422
    title = "This cannot be used as it is"


class TooLarge(BadInput):
    status = 413
    title = "Too large"


class NotFound(AppError):
    status = 404
    title = "Not in the record"


class Conflict(AppError):
    status = 409
    title = "Not possible in this state"


class NotSignedIn(AppError):
    status = 401
    title = "Sign in first"


class Forbidden(AppError):
    status = 403
    title = "Not allowed for your role"


class Damaged(AppError):
    status = 500
    title = "Stored data is damaged"


class StorageFailed(AppError):
    status = 507
    title = "Nothing was saved"
