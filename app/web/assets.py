"""Static files: our own folder, and one file each from the htmx and the Plotly wheel. Nothing else of them is served.

All are read when the program starts and lie under one address that changes with any of them, so that a browser may
keep them for good.
"""

import gzip
import hashlib
import importlib.util
import mimetypes
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from starlette.requests import Request
from starlette.responses import Response

from app.errors import NotFound
from app.resources import resource_dir

_FROM_WHEELS = {
    "htmx.js": ("django_htmx", "static/django_htmx/htmx-2.min.js"),
    "plotly.js": ("plotly", "package_data/plotly.min.js"),
}
_COMPRESS_FROM = 64 << 10
_KEEP = "public, max-age=31536000, immutable"
_TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml", ".woff2": "font/woff2"}


@dataclass(frozen=True, slots=True)
class Assets:
    """All static files by their path below /static, with the version in their address."""

    files: dict[str, bytes]
    version: str

    def url(self, path: str) -> str:
        """Address of a static file; a missing one is a defect of the template that names it."""
        if path not in self.files:
            raise LookupError(f"static/{path} does not exist")
        return f"/static/{self.version}/{path}"


def _wheel_file(package: str, path: str) -> bytes:
    # find_spec finds the folder without importing the package.
    spec = importlib.util.find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        raise LookupError(f"the package {package} is not installed")
    return (Path(next(iter(spec.submodule_search_locations))) / path).read_bytes()


@cache
def load_assets() -> Assets:
    folder = resource_dir("static")
    files = {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    files |= {name: _wheel_file(package, path) for name, (package, path) in _FROM_WHEELS.items()}
    whole = hashlib.sha256()
    for name in sorted(files):
        whole.update(name.encode() + b"\x00" + hashlib.sha256(files[name]).digest())
    return Assets(files, whole.hexdigest()[:12])


@cache
def _compressed(path: str) -> bytes:
    return gzip.compress(load_assets().files[path], 9, mtime=0)


def serve(request: Request) -> Response:
    """GET /static/{version}/{path}: only what was read at the start, and only under the current version."""
    assets = load_assets()
    path = request.path_params["path"]
    data = assets.files.get(path)
    if data is None or request.path_params["version"] != assets.version:
        raise NotFound("There is no such file.")
    suffix = Path(path).suffix
    media_type = _TYPES.get(suffix) or mimetypes.guess_type(path)[0] or "application/octet-stream"
    headers = {"Cache-Control": _KEEP}
    if len(data) >= _COMPRESS_FROM and suffix in _TYPES:
        headers["Vary"] = "Accept-Encoding"
        if "gzip" in request.headers.get("accept-encoding", ""):
            headers["Content-Encoding"] = "gzip"
            data = _compressed(path)
    return Response(data, media_type=media_type, headers=headers)


def favicon(request: Request) -> Response:
    """GET /favicon.ico, which browsers ask for whatever the page says."""
    return Response(
        load_assets().files["icons/favicon.svg"], media_type="image/svg+xml", headers={"Cache-Control": "max-age=86400"}
    )
