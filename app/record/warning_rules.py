"""The shop's rules for warnings about changed maps, and comparisons with the warnings they give."""

from collections.abc import Callable, Mapping

from sqlalchemy.orm import Session

from app.calc.calibration.comparison import Comparison
from app.calc.calibration.decode import decode
from app.calc.calibration.delta_warnings import WarningRules, with_warnings
from app.calc.calibration.image import Image
from app.calc.calibration.layout import Layout
from app.calc.calibration.map_delta import Floats
from app.record.tables import ShopSetting

_KEY = "warning_rules"


def rules(session: Session) -> WarningRules:
    """The rules in force; without any on record only the structural ones."""
    row = session.get(ShopSetting, _KEY)
    return WarningRules() if row is None else WarningRules.from_json(row.value)


def store(session: Session, wanted: WarningRules) -> None:
    """Keep the rules; comparisons made before stay as they are."""
    session.merge(ShopSetting(key=_KEY, value=wanted.to_json()))
    session.flush()


def warned(
    session: Session, comparison: Comparison, layout: Layout | None, stock: Callable[[], Image | None]
) -> Comparison:
    """The comparison with the warnings of the rules in force.

    `stock` reads what jumps between neighbouring cells are held against, where a rule asks for it; without it that
    is the values before the change.
    """
    known = rules(session)
    return with_warnings(comparison, known, _stock_values(comparison, known, layout, stock))


def _stock_values(
    comparison: Comparison, known: WarningRules, layout: Layout | None, stock: Callable[[], Image | None]
) -> Mapping[str, Floats]:
    wanted = {name for name, rule in known.categories.items() if rule.jump_factor is not None}
    names = {delta.name for delta in comparison.deltas if delta.category in wanted}
    if not names or layout is None or (image := stock()) is None:
        return {}
    return {name: table.physical for name, table in decode(image, layout, names).items()}
