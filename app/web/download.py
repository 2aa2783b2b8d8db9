"""Files that leave: always as a download, never shown inline, whatever their name claims."""

from urllib.parse import quote

from fastapi.responses import Response


def attachment(data: bytes, file_name: str, media_type: str = "application/octet-stream") -> Response:
    """A download with an RFC 6266 header; the name is kept as a label only."""
    plain = "".join(c if c.isascii() and c.isprintable() and c not in '"\\%' else "_" for c in file_name) or "file"
    header = f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(file_name, safe='')}"
    return Response(data, media_type=media_type, headers={"Content-Disposition": header})
