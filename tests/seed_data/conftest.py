"""The scenario's files, written once for all tests of this folder."""

from pathlib import Path

import pytest

from seed_data.generate import Scenario, generate


@pytest.fixture(scope="session")
def scenario(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    return generate(tmp_path_factory.mktemp("scenario"))


@pytest.fixture(scope="session")
def files(scenario: Scenario) -> dict[str, bytes]:
    return {name: path.read_bytes() for name, path in scenario.files.items() if isinstance(path, Path)}
