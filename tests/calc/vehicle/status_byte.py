"""The UDS status byte of flag names: what `decode_status` reads."""

from app.calc.vehicle.dtc import STATUS_FLAGS


def status_of(flags: tuple[str, ...]) -> int:
    return sum(1 << STATUS_FLAGS.index(name) for name in set(flags))
