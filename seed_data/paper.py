"""A one-page PDF with plain text: the form a customer signs at the front desk."""

from collections.abc import Sequence


def one_page_pdf(lines: Sequence[str]) -> bytes:
    """Lines of text on A4 in a base font; the first line is the heading (PDF 1.4, ISO 32000-1 structure)."""
    drawn = ["BT", "/F1 16 Tf", "56 780 Td", f"({_escaped(lines[0])}) Tj", "/F1 11 Tf", "0 -14 Td"]
    for line in lines[1:]:
        drawn += ["0 -18 Td", f"({_escaped(line)}) Tj"]
    stream = "\n".join([*drawn, "ET"]).encode("cp1252")
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 595 842] /Contents 4 0 R"
        b" /Resources << /Font << /F1 5 0 R >> >> >>",
        b"<< /Length %d >>\nstream\n%s\nendstream" % (len(stream), stream),
        b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica /Encoding /WinAnsiEncoding >>",
    ]
    file, offsets = bytearray(b"%PDF-1.4\n"), []
    for number, content in enumerate(objects, start=1):
        offsets.append(len(file))
        file += b"%d 0 obj\n%s\nendobj\n" % (number, content)
    start = len(file)
    table = b"".join(b"%010d 00000 n \n" % offset for offset in offsets)
    file += b"xref\n0 %d\n0000000000 65535 f \n%s" % (len(objects) + 1, table)
    file += b"trailer\n<< /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (len(objects) + 1, start)
    return bytes(file)


def authorisation(workshop: str, customer: str, car: str, vin: str, use: str) -> bytes:
    """What the customer agrees to, with a mark where the signature of an invented person would stand."""
    return one_page_pdf(
        [
            f"{workshop}: authorisation",
            f"Customer: {customer}",
            f"Car: {car}, VIN {vin}",
            "",
            "I am the owner or act for the owner. The workshop may read and change the calibration of the",
            "control units named in the order, and measure the car on its dyno.",
            f"Intended use: {use}.",
            "I know that changed calibration can be prohibited on public roads and can affect type approval,",
            "insurance and warranty, and that bringing stock back does not restore such rights.",
            "",
            "Signed: [placeholder, invented person]",
        ]
    )


def _escaped(text: str) -> str:
    return text.replace("\\", r"\\").replace("(", r"\(").replace(")", r"\)")
