"""Vehicle identification numbers of makes that do not exist.

The first three characters lie in blocks that ISO 3780 leaves without a country (from memory): U2, U8, U9 in Europe,
P7 beside Asia's, 30 in North America. Only the last region's law asks for a check digit (49 CFR 565.15).
"""

_VALUES = dict(zip("ABCDEFGHJKLMNPRSTUVWXYZ", (*range(1, 9), *range(1, 6), 7, 9, *range(2, 10)), strict=True))
_VALUES |= {str(digit): digit for digit in range(10)}
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)


def with_check_digit(vin: str) -> str:
    """The 17 characters with position 9 computed; whatever stands there is replaced."""
    total = sum(_VALUES[character] * weight for character, weight in zip(vin, _WEIGHTS, strict=True))
    return vin[:8] + "0123456789X"[total % 11] + vin[9:]
