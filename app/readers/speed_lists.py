"""Engine speeds and bands of them as people write them in an address or a field."""

import re

from app.errors import BadInput

MOST = 40
_NUMBER = r"\d{1,5}(?:\.\d+)?"
_BAND = re.compile(rf"({_NUMBER})\s*(?:-|–|to|\.\.)\s*({_NUMBER})")


def read_speeds(text: str, *, field: str = "at_rpm") -> tuple[float, ...]:
    """Speeds separated by commas, semicolons or blanks, each once, in order; empty text gives none.

    >>> read_speeds("4500, 3000;4500")
    (4500.0, 3000.0)
    """
    parts = [part for part in re.split(r"[,;\s]+", text.strip()) if part]
    if any(re.fullmatch(_NUMBER, part) is None for part in parts):
        wrong = next(part for part in parts if re.fullmatch(_NUMBER, part) is None)
        raise BadInput(f"“{wrong[:40]}” is no engine speed; write speeds like 3000, 4500.", field=field)
    speeds = tuple(dict.fromkeys(float(part) for part in parts))
    if len(speeds) > MOST:
        raise BadInput(f"{len(speeds)} engine speeds are more than the {MOST} that are shown at once.", field=field)
    return speeds


def read_bands(text: str, *, field: str = "band") -> tuple[tuple[float, float], ...]:
    """Bands like 3000-5500, separated by commas or semicolons; empty text gives none.

    >>> read_bands("3000-5500; 5500 to 6500")
    ((3000.0, 5500.0), (5500.0, 6500.0))
    """
    found = []
    for part in filter(None, (part.strip() for part in re.split(r"[,;]", text))):
        match = _BAND.fullmatch(part)
        if match is None:
            raise BadInput(f"“{part[:40]}” is no band of engine speeds; write it like 3000-5500.", field=field)
        low, high = float(match[1]), float(match[2])
        if low >= high:
            raise BadInput(f"The band {part} ends before it begins.", field=field)
        found.append((low, high))
    bands = tuple(dict.fromkeys(found))
    if len(bands) > MOST:
        raise BadInput(f"{len(bands)} bands are more than the {MOST} that are shown at once.", field=field)
    return bands
