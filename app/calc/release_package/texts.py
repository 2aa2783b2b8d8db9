"""The plain words of a release package: what to do, in order, and the form to send back."""

import textwrap

from app.calc.number_text import counted
from app.calc.release_package.manifest import (
    CODING_NAME,
    FORM_NAME,
    SUMS_NAME,
    ImageFile,
    PackageFacts,
    cautions,
    checksum_sentence,
    send_back,
)

_WIDTH = 78


def readme(facts: PackageFacts, image: ImageFile) -> bytes:
    """What whoever writes the image reads first. UTF-8, lines ended by CR LF for any editor."""
    parts = [
        f"RELEASE PACKAGE: REVISION {facts.revision_number}, {facts.title}",
        f"From {facts.workshop}.",
        _block(
            "FOR THIS VEHICLE AND CONTROL UNIT ONLY",
            [
                f"Vehicle: {facts.make} {facts.model}" + (f", {facts.year}" if facts.year else ""),
                f"VIN: {facts.vin}",
                f"Control unit: {facts.role}",
                f"Hardware number: {facts.hardware_number}",
                f"Software number: {facts.software_number or 'not recorded'}",
                f"Calibration IDs before the write: {', '.join(facts.calibration_ids) or 'not recorded'}",
            ],
        ),
        _block(
            "WHAT IT NEEDS",
            [
                f"Fuel: {facts.fuel_requirement or 'as before'}",
                f"Hardware: {facts.hardware_requirement or 'as before'}",
                f"Legal basis of use: {facts.legal_basis}",
            ],
        ),
        _block("CAUTIONS", list(cautions(facts)), mark="! "),
        _numbered("WHAT TO DO, IN THIS ORDER", _steps(facts, image)),
        _block("WHAT TO SEND BACK", [f"{what}: {why}." for what, why in send_back(facts)], mark="- "),
        _block(
            "THE IMAGE",
            [
                f"File: {image.name} ({image.format})",
                f"Bytes: {image.size_bytes:,}",
                f"Addresses: {_addresses(image)}",
                f"SHA-256 of the file: {image.file_sha256}",
                f"SHA-256 of the bytes: {image.sha256}",
                f"CRC-32 of the bytes: {image.crc32:08X}",
                f"Block checksums: {checksum_sentence(facts.checksums)}",
            ],
        ),
        "The workshop's record goes on whatever happens: tell them, also when it failed.",
    ]
    return _encoded("\n\n".join(parts))


def _addresses(image: ImageFile) -> str:
    """Where the bytes lie, which a raw binary does not say itself."""
    shown = [f"0x{start:X} to 0x{start + length - 1:X}" for start, length in image.spans[:4]]
    return ", ".join(shown) + (f" and {counted(len(image.spans) - 4, 'more part')}" if len(image.spans) > 4 else "")


def _steps(facts: PackageFacts, image: ImageFile) -> list[str]:
    steps = [
        f"Check the files: the digest of each must be the one in {SUMS_NAME} (sha256sum -c {SUMS_NAME}, or any "
        "program that computes SHA-256). If one differs, write nothing and ask for the package again.",
        "Compare the numbers of the control unit with those above. If one differs, write nothing and ask.",
        "Connect a stable supply and measure it. Write the voltage on the form.",
        f"Write {image.name}. Do not interrupt it. Note the lowest voltage and how it ended.",
        "Read the control unit back where the tool allows it, and keep the file.",
    ]
    if facts.loses_coding:
        steps.append(
            f"BEFORE THE ENGINE IS FIRST STARTED: write the option coding of {CODING_NAME} back to every module, read "
            "every module again and compare. Start only when nothing differs."
        )
    steps.append("Clear the fault codes, start, drive gently, scan again.")
    steps.append(f"Fill in {FORM_NAME} and send it back with the files.")
    return steps


def return_form(facts: PackageFacts, image: ImageFile) -> bytes:
    """The form that comes back with the files."""
    lines = [
        f"RETURN FORM: REVISION {facts.revision_number}, {facts.title}",
        "",
        f"VIN: {facts.vin}",
        f"Image: {image.sha256[:16]}",
        "",
        "Written on (date, time, time zone): ",
        "Written with (tool): ",
        "Supply voltage before, V: ",
        "Lowest supply voltage during the write, V: ",
        "How it ended (completed / failed / aborted): ",
        "Read-back file: ",
        *(["Coding written back, read again and equal (yes / no): "] if facts.loses_coding else []),
        "Engine first started on (date, time): ",
        "Fuel in the tank: ",
        "Fault codes after the first drive: ",
        "Log files: ",
        "Remarks: ",
        "",
    ]
    return _encoded("\n".join(lines))


def _block(title: str, lines: list[str], mark: str = "") -> str:
    return "\n".join([title, *(_wrapped(line, mark) for line in lines)])


def _numbered(title: str, lines: list[str]) -> str:
    return "\n".join([title, *(_wrapped(line, f"{number}. ") for number, line in enumerate(lines, 1))])


def _wrapped(line: str, mark: str) -> str:
    return textwrap.fill(
        line, _WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark), break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip


def _encoded(text: str) -> bytes:
    return (text.rstrip("\n") + "\n").replace("\n", "\r\n").encode()
