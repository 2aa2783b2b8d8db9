"""Settings from the environment: defaults that suit one shop PC, and a sentence for what cannot be used."""

from datetime import timedelta
from pathlib import Path

import pytest

from app.errors import BadInput
from app.settings import Settings, from_environment, sqlite_file


def test_without_any_setting_the_record_lies_in_the_persons_own_folder() -> None:
    settings = from_environment({})
    file = sqlite_file(settings.database_url)
    assert file is not None and file.is_absolute() and file.name == "revledger.db"
    assert (settings.time_zone, settings.hosts, settings.demo, settings.secure) == ("UTC", (), False, False)
    assert (settings.idle, settings.absolute) == (timedelta(hours=8), timedelta(hours=12))


def test_the_name_of_the_base_address_is_a_name_of_the_server() -> None:
    settings = from_environment({"REVLEDGER_BASE_URL": "https://shop.example/", "REVLEDGER_HOSTS": "Shop-PC, dyno"})
    assert settings.hosts == ("shop-pc", "dyno", "shop.example")
    assert settings.base_url == "https://shop.example"
    assert settings.secure


@pytest.mark.parametrize(
    ("variable", "value"),
    [
        ("REVLEDGER_BASE_URL", "shop.example"),
        ("REVLEDGER_BASE_URL", "https://"),
        ("REVLEDGER_TIME_ZONE", "Mars/Olympus"),
        ("REVLEDGER_TIME_ZONE", "../../etc/passwd"),
        ("REVLEDGER_IDLE_HOURS", "soon"),
        ("REVLEDGER_IDLE_HOURS", "0"),
        ("REVLEDGER_IDLE_HOURS", "nan"),
        ("REVLEDGER_SIGN_IN_HOURS", "169"),
    ],
)
def test_a_setting_that_cannot_be_used_is_named(variable: str, value: str) -> None:
    with pytest.raises(BadInput) as refused:
        from_environment({variable: value})
    assert variable in refused.value.sentence


@pytest.mark.parametrize(
    ("url", "file"),
    [
        ("sqlite:////srv/revledger.db", Path("/srv/revledger.db")),
        ("sqlite:///revledger.db", Path("revledger.db")),
        ("sqlite://", None),
        ("postgresql://shop/revledger", None),
    ],
)
def test_the_file_of_a_database_is_known_for_sqlite_only(url: str, file: Path | None) -> None:
    assert sqlite_file(url) == file
    assert Settings(database_url=url).database_url == url
