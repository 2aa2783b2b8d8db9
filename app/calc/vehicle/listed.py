"""Cars as a list from another program names them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class ListedVehicle:
    """One line: the fields it fills, in SI, or the sentence why it cannot be used."""

    line: int
    vin: str
    fields: Mapping[str, Any]
    refused: str = ""


@dataclass(frozen=True, slots=True)
class VehicleList:
    """The lines of the file, and the headings that no field belongs to."""

    rows: tuple[ListedVehicle, ...]
    unused: tuple[str, ...]
