"""Image files as they come from the reading tool: raw, Intel HEX or S-record."""

from seed_data.editing import Calibration
from seed_data.image_build import ImageMaker
from seed_data.record_text import intel_hex, s_record
from seed_data.software import Software

# Makers are kept by key: the program part of an image is drawn once per run.
_MAKERS: dict[str, ImageMaker] = {}


def maker_of(software: Software) -> ImageMaker:
    """The maker of this software's images."""
    if software.key not in _MAKERS:
        _MAKERS[software.key] = ImageMaker(software)
    return _MAKERS[software.key]


def written(software: Software, image: bytes, form: str) -> bytes:
    """The image in the form "bin", "hex" or "s19"."""
    if form == "hex":
        return intel_hex(image, software.base)
    if form == "s19":
        return s_record(image, software.base, software.software_number)
    return image


def stock_file(software: Software, form: str) -> bytes:
    """Stock as read."""
    return written(software, maker_of(software).stock, form)


def revision_file(calibration: Calibration, form: str, *, sums: bool = True, learned: str = "") -> bytes:
    """A revision; `learned` names a state of the values the unit itself keeps, for read-backs after driving."""
    maker = maker_of(calibration.software)
    image = maker.image(calibration.contents, calibration.hidden_cells, sums=sums)
    return written(calibration.software, maker.with_learned_values(image, learned) if learned else image, form)
