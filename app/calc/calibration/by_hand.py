"""Changes that a person typed in: no image stands behind them, so no byte is named."""

from collections.abc import Sequence

import numpy as np

from app.calc.calibration.byte_changes import ByteChanges
from app.calc.calibration.comparison import Comparison
from app.calc.calibration.map_delta import MapDelta


def by_hand(deltas: Sequence[MapDelta]) -> Comparison:
    """A comparison that consists of these changes alone.

    >>> by_hand([]).sentence
    'Nothing changed.'
    """
    nothing = ByteChanges(np.empty(0, np.int64), np.empty(0, np.int16), np.empty(0, np.int16), np.empty(0, np.int8))
    return Comparison(tuple(deltas), (), (), (), nothing)
