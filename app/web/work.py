"""Work of more than a second: done in a thread, followed by an event stream; it ends with the process."""

import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from dataclasses import field as made_by

from app.errors import AppError, Conflict, NotFound
from app.web.log import log_unexpected

Report = Callable[[int, int | None, str], None]
KEPT_S = 3600.0
AT_ONCE = 2


@dataclass
class Work:
    """What is known of one piece of work; read by the event stream while a thread writes it."""

    person_id: int
    title: str
    text: str
    done: int = 0
    total: int | None = None
    href: str | None = None
    failure: str | None = None
    field: str | None = None
    began: float = made_by(default_factory=time.monotonic)

    @property
    def over(self) -> bool:
        return self.href is not None or self.failure is not None

    def report(self, done: int, total: int | None, text: str) -> None:
        self.done, self.total, self.text = done, total, text


_known: dict[str, Work] = {}
_lock = threading.Lock()


def begin(person_id: int, title: str, act: Callable[[Report], str]) -> str:
    """Start `act` in a thread; it reports on its way and returns the address to go to. Returns the work's key.

    Raises Conflict while two pieces of work are running.
    """
    key = secrets.token_urlsafe(18)
    work = Work(person_id, title, "It begins")
    with _lock:
        for old in [k for k, w in _known.items() if w.over and time.monotonic() - w.began > KEPT_S]:
            del _known[old]
        if sum(not one.over for one in _known.values()) >= AT_ONCE:
            raise Conflict("Other long work is running; start this one when it is done.")
        _known[key] = work
    threading.Thread(target=_run, args=(work, act), name=f"work {title}", daemon=True).start()
    return key


def _run(work: Work, act: Callable[[Report], str]) -> None:
    try:
        work.href = act(work.report)
    except AppError as error:
        work.field = error.field
        work.failure = str(error)
    except Exception as error:
        reference = secrets.token_hex(4)
        log_unexpected(None, error, reference)
        work.failure = f"Something went wrong; the log knows it as {reference}."


def find(key: str, person_id: int) -> Work:
    """The work of this person under the key; NotFound when the process that did it is gone."""
    work = _known.get(key)
    if work is None or work.person_id != person_id:
        raise NotFound("This work is not known any more; begin it again.")
    return work
