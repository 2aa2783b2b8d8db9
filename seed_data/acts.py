"""Groups of steps that always come together: stock in two reads, a flash with everything that belongs to it."""

from functools import partial

from seed_data.a2l_text import a2l
from seed_data.editing import Calibration
from seed_data.images import revision_file, stock_file
from seed_data.layout_text import layout_csv
from seed_data.paper import authorisation
from seed_data.software import Software
from seed_data.story import Maker, Story, When, day, today
from seed_data.workshop import NAME, WRITER


def later(when: When, minutes: int) -> When:
    """The moment so many minutes after `when`, on the same day."""
    if when.minutes_ago is not None:
        return today(when.minutes_ago - minutes)
    if when.days_ago is None or when.at is None:
        raise ValueError("a moment needs a day and a time")
    hours, rest = when.at.split(":")
    total = int(hours) * 60 + int(rest) + minutes
    return day(when.days_ago, f"{total // 60:02d}:{total % 60:02d}")


def add_unit(story: Story, label: str, role: str, software: Software, cvn: str, when: When, by: str) -> None:
    """A control unit with the numbers that its scan gives."""
    story.step(
        "add_control_unit",
        when,
        by,
        label=label,
        vehicle=label.split(".")[0],
        role=role,
        hardware_number=software.hardware_number,
        software_number=software.software_number,
        calibration_ids=[software.calibration_id],
        cvns=[cvn],
        base_address=software.base,
    )


def attach_form(story: Story, vehicle: str, folder: str, person: str, car: str, vin: str, use: str, when: When) -> None:
    """The customer's signed authorisation."""
    story.step(
        "attach_file",
        when,
        WRITER,
        vehicle=vehicle,
        kind="authorisation",
        file=story.file(f"{folder}/authorisation.pdf", partial(authorisation, NAME, person, car, vin, use)),
        note="Signed at the front desk",
    )


def scan_faults(story: Story, vehicle: str, occasion: str, path: str, when: When, by: str) -> None:
    """A fault list pasted as the scan tool shows it."""
    story.step("scan_faults", when, by, vehicle=vehicle, occasion=occasion, file=story.kept(path))


def keep_coding(story: Story, label: str, occasion: str, path: str, when: When, by: str) -> None:
    """The coding of every module as read."""
    vehicle = label.split(".")[0]
    story.step("keep_coding", when, by, label=label, vehicle=vehicle, occasion=occasion, file=story.kept(path))


def add_layout(story: Story, software: Software, name: str, path: str, when: When, by: str) -> None:
    """The layout's file; what a description file does not say (block checksums, volatile ranges) is typed beside it."""
    table = path.endswith(".csv")
    maker = partial(layout_csv, software) if table else partial(a2l, software, software.key.replace("-", "_").upper())
    base = software.base
    story.step(
        "add_layout",
        when,
        by,
        label=f"{software.key}.layout",
        name=name,
        software_number=software.software_number,
        file=story.file(path, maker),
        checksums=[
            {
                "name": block.name,
                "algorithm": block.algorithm,
                "ranges": [[base + block.start, base + block.end]],
                "stored_at": base + block.stored_at,
                "byte_order": software.order,
            }
            for block in ([] if table else software.sums)
        ],
        volatile=[]
        if table
        else [
            {
                "start": base + software.adaptation[0],
                "end": base + software.adaptation[1],
                "reason": "learned values, rewritten by the control unit while it runs",
            }
        ],
    )


def check_identity(story: Story, label: str, software: Software, cvn: str | None, when: When, by: str) -> None:
    """A scan that finds the software on record; cvn None: the unit had not finished computing it."""
    story.step(
        "check_identity",
        when,
        by,
        control_unit=label,
        hardware_number=software.hardware_number,
        software_number=software.software_number,
        calibration_ids=[software.calibration_id],
        cvns=[] if cvn is None else [cvn],
        expect="match",
    )


def read_stock_twice(story: Story, label: str, software: Software, folder: str, form: str, when: When, by: str) -> None:
    """Two reads of the unit as found, in one file format."""
    for k in (1, 2):
        path = f"{folder}/{software.key}-read-{k}.{form}"
        maker = partial(stock_file, software, form)
        story.step("add_stock_read", later(when, 14 * (k - 1)), by, control_unit=label, file=story.file(path, maker))


def log_revision(
    story: Story,
    label: str,
    calibration: Calibration,
    path: str,
    when: When,
    by: str,
    *,
    parent: str | None,
    title: str,
    purpose: str,
    fuel: str,
    hardware: str = "",
    sums: bool = True,
) -> None:
    """A revision with its image; the path's suffix says in which form."""
    maker = partial(revision_file, calibration, path.rsplit(".", 1)[1], sums=sums)
    story.step(
        "log_revision",
        when,
        by,
        label=label,
        control_unit=label.rsplit(".", 1)[0],
        parent=parent,
        title=title,
        purpose=purpose,
        fuel_requirement=fuel,
        hardware_requirement=hardware,
        file=story.file(path, maker),
    )


def flash(
    story: Story,
    label: str,
    revision: str | None,
    when: When,
    by: str,
    *,
    control_unit: str,
    volts: tuple[float, float],
    note: str = "",
) -> None:
    """A completed write; revision None means stock."""
    story.step(
        "log_flash",
        when,
        by,
        label=label,
        control_unit=control_unit,
        revision=revision,
        outcome="completed",
        supply_before_v=volts[0],
        supply_lowest_v=volts[1],
        note=note,
    )


def read_back(story: Story, flash_label: str, path: str, maker: Maker, when: When, by: str) -> None:
    """What the unit held after the write."""
    story.step("add_read_back", when, by, flash=flash_label, file=story.file(path, maker))


def coding_back(story: Story, flash_label: str, wanted: str, path: str, when: When, by: str) -> None:
    """The coding read after it was written back, and its comparison with the snapshot that was wanted."""
    snapshot = f"{flash_label}.coding"
    keep_coding(story, snapshot, "after the coding was written back", path, when, by)
    story.step(
        "write_coding_back", later(when, 2), by, flash=flash_label, wanted_snapshot=wanted, read_snapshot=snapshot
    )


def first_start(story: Story, flash_label: str, when: When, by: str, note: str = "") -> None:
    """The engine runs again."""
    story.step("record_first_start", when, by, flash=flash_label, note=note)
