"""What other programs need to keep a revision: git, zstd with the parent as dictionary, bsdiff."""

import os
import subprocess
from collections.abc import Sequence
from pathlib import Path

import bsdiff4
import zstandard


def bsdiff(base: bytes, new: bytes) -> int:
    """Bytes of a patch."""
    return len(bsdiff4.diff(base, new))


def zstd_patch(base: bytes, new: bytes) -> int:
    """Bytes of a frame that has the parent as dictionary, at a high level, with long matches."""
    dictionary = zstandard.ZstdCompressionDict(base, dict_type=zstandard.DICT_TYPE_RAWCONTENT)
    level = zstandard.ZstdCompressionParameters.from_level(19, window_log=23, enable_ldm=True)
    return len(zstandard.ZstdCompressor(dict_data=dictionary, compression_params=level).compress(new))


def git(repository: Path, *arguments: str) -> bytes:
    own = {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1", "HOME": str(repository)}
    person = ["-c", "user.name=Bench", "-c", "user.email=bench@example.invalid"]
    command = ["git", *person, "-C", str(repository), *arguments]
    return subprocess.run(command, check=True, capture_output=True, env=os.environ | own).stdout


def git_repository(path: Path) -> Path:
    path.mkdir()
    git(path, "init", "-q")
    return path


def git_commit(repository: Path, image: bytes) -> str:
    (repository / "image.bin").write_bytes(image)
    git(repository, "add", "image.bin")
    git(repository, "commit", "-q", "--allow-empty", "-m", "revision")
    return git(repository, "rev-parse", "HEAD").decode().strip()


def git_bytes(path: Path, images: Sequence[bytes]) -> int:
    """By how much the objects grow when all but the first are committed too, after `git gc --aggressive`."""
    repository = git_repository(path)
    sizes = []
    for some in (images[:1], images[1:]):
        for image in some:
            git_commit(repository, image)
        git(repository, "gc", "-q", "--aggressive", "--prune=now")
        sizes.append(sum(p.stat().st_size for p in (repository / ".git/objects").rglob("*") if p.is_file()))
    return sizes[1] - sizes[0]
