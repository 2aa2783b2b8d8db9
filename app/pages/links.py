"""Where the page about a thing of the record lies."""

_PATHS = {
    "vehicle": "/vehicles/{}",
    "control_unit": "/control-units/{}",
    "revision": "/revisions/{}",
    "flash": "/flashes/{}",
    "dyno_session": "/dyno-sessions/{}",
    "identity_check": "/identity-checks/{}",
    "coding_snapshot": "/coding-snapshots/{}",
    "fault_scan": "/fault-scans/{}",
    "restore": "/restores/{}",
    "release_package": "/release-packages/{}",
    "dyno": "/dynos/{}",
    "attachment": "/attachments/{}",
    "layout": "/layouts/{}",
}


def page_of(subject: tuple[str, int | str] | None) -> str | None:
    """Path of the page, or None for a thing that has none of its own."""
    if subject is None or subject[0] not in _PATHS:
        return None
    return _PATHS[subject[0]].format(subject[1])
