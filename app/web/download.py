"""Files that leave: as a download, whatever their name claims; only what was found to be a picture is shown."""

from urllib.parse import quote

from fastapi.responses import Response


def attachment(data: bytes, file_name: str, media_type: str = "application/octet-stream") -> Response:
    """A download with an RFC 6266 header; the name is kept as a label only."""
    plain = "".join(c if c.isascii() and c.isprintable() and c not in '"\\%' else "_" for c in file_name) or "file"
    header = f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(file_name, safe='')}"
    return Response(data, media_type=media_type, headers={"Content-Disposition": header})


def picture(data: bytes, media_type: str) -> Response:
    """A picture shown in place. Opened on its own it may load nothing and run nothing."""
    headers = {"Content-Disposition": "inline", "Content-Security-Policy": "default-src 'none'; sandbox"}
    return Response(data, media_type=media_type, headers=headers)
