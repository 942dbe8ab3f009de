"""One place that says what to do where OpenCV cannot start, as on a bare server without display libraries."""

from __future__ import annotations

from importlib import import_module

from vision.errors import LibraryMissing

#: What opencv-python links against and a bare Debian or Ubuntu lacks.
SYSTEM_PACKAGES = "libgl1 libxcb1 libglib2.0-0"


def require() -> None:
    """Raises LibraryMissing, naming the command that mends it, where ``import cv2`` fails."""
    try:
        import_module("cv2")
    except ImportError as error:
        raise LibraryMissing(
            f"the image library OpenCV cannot start on this machine ({error})",
            f"install what it needs with: apt-get install -y {SYSTEM_PACKAGES}",
        ) from None
