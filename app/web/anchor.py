"""Journal heads as they stand on printed sheets."""

from app.errors import BadInput


def read_anchor(text: str) -> tuple[int, str]:
    """A printed head "12-0123456789abcdef" as (entry number, hex digits)."""
    number, _, digits = text.strip().lower().partition("-")
    if not (number.isascii() and number.isdigit() and digits) or set(digits) - set("0123456789abcdef"):
        raise BadInput(f"“{text}” is no journal head; write it as printed, like 12-0123456789abcdef.", field="anchor")
    return int(number), digits
