"""The photographs that pieces were measured from, as files named by the SHA-256 of what is in them."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from stash.errors import CatalogueBlocked
from stash.photograph import KeptPhoto


def file_of(folder: Path, sha256: str) -> Path:
    """Where the photograph with that fingerprint is kept."""
    return folder / f"{sha256}.jpg"


def keep(folder: Path, photo: KeptPhoto) -> Path:
    """Writes the photograph, whole or not at all. Raises CatalogueBlocked where it cannot be written."""
    target = file_of(folder, photo.sha256)
    if target.exists():
        return target
    try:
        folder.mkdir(parents=True, exist_ok=True)
        write_whole(target, photo.jpeg)
    except OSError as error:
        raise CatalogueBlocked(
            f"the photograph cannot be kept in {folder} ({error.strerror or error})",
            "make room or allow writing there; nothing was changed",
        ) from error
    return target


def write_whole(target: Path, content: bytes) -> None:
    """Writes a file aside, down to the disk, and puts it in place in one step."""
    handle, aside = tempfile.mkstemp(dir=target.parent, prefix=".new-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(aside, _mode(target))
        os.replace(aside, target)
    except BaseException:
        Path(aside).unlink(missing_ok=True)
        raise


def _mode(target: Path) -> int:
    """The rights of the file that is there, else those that any new file gets."""
    if target.exists():
        return target.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def forget(folder: Path, sha256: str) -> None:
    """Removes a photograph that nothing refers to any longer."""
    file_of(folder, sha256).unlink(missing_ok=True)
