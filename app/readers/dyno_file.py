"""One entry for every dyno file: told apart by its first bytes, never by its name."""

from app.readers.dyno_columns import ColumnProfile
from app.readers.dyno_csv import DynoFile, read_dyno_csv
from app.readers.mdf4 import HEAD, UNFINISHED, read_mdf4


def read_dyno_file(data: bytes, *, profile: ColumnProfile | None = None) -> DynoFile:
    """The pulls in a dyno's or a data logger's file: an MDF4 log, or a text table of any dialect.

    Raises BadInput (TooLarge) as `read_mdf4` and `read_dyno_csv` do.
    """
    if data.startswith((HEAD, UNFINISHED)):
        return read_mdf4(data, profile=profile)
    return read_dyno_csv(data, profile=profile)
