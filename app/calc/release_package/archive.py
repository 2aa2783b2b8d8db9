"""One ZIP (APPNOTE.TXT of PKWARE, as Python's zipfile writes it) with the same bytes for the same files."""

import hashlib
import io
import zipfile
from collections.abc import Mapping

_FIRST_MOMENT = (1980, 1, 1, 0, 0, 0)


def sha256_sums(files: Mapping[str, bytes]) -> bytes:
    """Lines that `sha256sum -c` takes, in order of name."""
    return "".join(f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in sorted(files.items())).encode()


def archive(files: Mapping[str, bytes]) -> bytes:
    """The files in the given order, stored and not compressed: what a compressor makes differs between versions.

    Names are ASCII and plain; times, system and rights are fixed.
    """
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as bag:
        for name, data in files.items():
            entry = zipfile.ZipInfo(name, _FIRST_MOMENT)
            entry.create_system = 3
            entry.external_attr = 0o100644 << 16
            bag.writestr(entry, data)
    return out.getvalue()
