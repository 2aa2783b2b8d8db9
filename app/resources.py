"""Where migrations, templates, static files and demo data lie: beside `app/` in a checkout, inside it in a wheel."""

from pathlib import Path

_APP = Path(__file__).resolve().parent


def resource_dir(name: str) -> Path:
    """Folder `name` of the installed program."""
    bundled = _APP / "_bundle" / name
    return bundled if bundled.exists() else _APP.parent / name
