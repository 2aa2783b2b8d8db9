"""Rectangles of cells."""

from hypothesis import given
from hypothesis import strategies as st

from app.calc.calibration.gather import Cells

rectangles = st.builds(
    lambda address, kind, rows, columns, gap, by_rows, flip_x, flip_y: make(
        address, kind, rows, columns, gap, by_rows, flip_x, flip_y
    ),
    st.integers(10_000, 10_050), st.sampled_from(["uint8", "uint16", "float64"]), st.integers(1, 5), st.integers(1, 5),
    st.integers(0, 3), st.booleans(), st.booleans(), st.booleans(),
)  # fmt: skip


def make(
    address: int, kind: str, rows: int, columns: int, gap: int, by_rows: bool, flip_x: bool, flip_y: bool
) -> Cells:
    size = {"uint8": 1, "uint16": 2, "float64": 8}[kind]
    x, y = (size, (columns + gap) * size) if by_rows else ((rows + gap) * size, size)
    first = address + (columns - 1) * x * flip_x + (rows - 1) * y * flip_y
    shape = (rows, columns)
    return Cells(first, kind, "big", rows, columns, -y if flip_y else y, -x if flip_x else x, shape)  # type: ignore[arg-type]


@given(rectangles)
def test_runs_are_exactly_the_bytes_of_all_cells(cells: Cells) -> None:
    wanted = {a + k for a in cells.addresses().ravel().tolist() for k in range(cells.itemsize)}
    runs = [set(range(low, high)) for low, high in cells.runs]
    assert set().union(*runs) == wanted
    assert sum(map(len, runs)) == len(wanted) == cells.rows * cells.columns * cells.itemsize
    assert cells.hull == (min(wanted), max(wanted) + 1)


@given(rectangles)
def test_addresses_go_by_their_steps(cells: Cells) -> None:
    for r, row in enumerate(cells.addresses().tolist()):
        for c, address in enumerate(row):
            assert address == cells.address + r * cells.row_step + c * cells.column_step
