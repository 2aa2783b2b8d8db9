"""Results of block checksums as plain values for the record and the API."""

from collections.abc import Sequence
from typing import Any

from app.calc.calibration.checksum import ChecksumResult


def results_to_json(results: Sequence[ChecksumResult]) -> list[dict[str, Any]]:
    """One object per checksum: name, algorithm, state, stored and computed value as upper-case hex, reason."""
    return [
        {
            "name": result.name,
            "algorithm": result.definition.algorithm,
            "state": result.state,
            "stored": _hex(result.stored, result.digits),
            "computed": _hex(result.computed, result.digits),
            "reason": result.reason,
        }
        for result in results
    ]


def _hex(value: int | None, digits: int) -> str | None:
    return None if value is None else f"{value:0{digits}X}"
