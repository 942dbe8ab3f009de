"""The only door that opens an image file: orientation, size limits, colour profile, focal length, HEIC."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError

from vision.errors import PhotoUnreadable
from vision.estimate import Estimate

#: Largest photograph opened, in megapixels: the largest phone sensors make 200; more is a mistake or an attack.
LARGEST_MEGAPIXELS = 220.0
#: Smallest side that can hold a ruler and a cloth, in pixels (our own judgement).
SMALLEST_SIDE_PX = 48
#: Longest side, in pixels: OpenCV counts those of a side in 16 bits. Joined panoramas are longer, and no plane besides.
LONGEST_SIDE_PX = 32766
#: Diagonal of the 36 x 24 mm frame to which "35 mm equivalent" refers (CIPA DCG-001-2018).
FRAME_DIAGONAL_MM = 43.2666
#: EXIF rounds the equivalent focal length to whole mm, and some makers reckon by the width, not the diagonal.
FOCAL_RELATIVE_U95 = 0.05
#: A phone's main camera where the photo does not say: 24-28 mm is usual (common practice); this spans 22-30.
ASSUMED_FOCAL_35MM = Estimate(26.0, 4.0)
#: How far the picture's shape may differ from the shape EXIF remembers before it counts as cropped.
CROP_ASPECT_TOLERANCE = 0.02

_FOCAL_RANGE_35MM = (8.0, 400.0)

_TOO_LARGE = f"more than {LARGEST_MEGAPIXELS:.0f} million pixels"
_SMALLER = "save it smaller; 12 million pixels are plenty"

Image.MAX_IMAGE_PIXELS = int(LARGEST_MEGAPIXELS * 1e6)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Photo:
    """An upright photograph: ``rgb`` (H, W, 3) uint8 sRGB, read-only; ``focal35_mm`` None where it is not told."""

    name: str
    rgb: NDArray[np.uint8]
    focal35_mm: float | None
    taken: str | None

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height)."""
        return self.rgb.shape[1], self.rgb.shape[0]


def focal_length_px(size_px: tuple[int, int], focal35_mm: float | None) -> Estimate:
    """The focal length in pixels of the upright photo, by the diagonal; an assumed phone lens where None."""
    per_mm = math.hypot(*size_px) / FRAME_DIAGONAL_MM
    if focal35_mm is None:
        return ASSUMED_FOCAL_35MM * per_mm
    return Estimate(focal35_mm * per_mm, focal35_mm * per_mm * FOCAL_RELATIVE_U95)


def read_photo(path: str | Path) -> Photo:
    """Open a photograph upright. Raises PhotoUnreadable with what was found and what to do."""
    path = Path(path)
    _check_file(path)
    _allow_heic()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(path) as image:
                _check_size(path, image)
                exif = image.getexif()
                focal, taken = _focal35(exif, image.size), _taken(exif)
                ImageOps.exif_transpose(image, in_place=True)
                rgb = np.asarray(_to_srgb(image), dtype=np.uint8)
    except UnidentifiedImageError:
        raise PhotoUnreadable(
            f"{path} is not a photograph that can be read", "give a JPEG, PNG, HEIC, TIFF or WebP file"
        ) from None
    except Image.DecompressionBombError:
        raise PhotoUnreadable(f"{path} claims {_TOO_LARGE}", _SMALLER) from None
    except (OSError, SyntaxError, ValueError, EOFError, MemoryError) as error:
        reason = str(error).strip().rstrip(".") or type(error).__name__
        raise PhotoUnreadable(
            f"{path} is damaged or cut short ({reason})", "copy it from the camera again, or take it again"
        ) from None
    rgb.setflags(write=False)
    return Photo(name=path.name, rgb=rgb, focal35_mm=focal, taken=taken)


def _check_file(path: Path) -> None:
    if not path.exists():
        raise PhotoUnreadable(f"there is no file {path}", "check the name and the folder")
    if path.is_dir():
        raise PhotoUnreadable(f"{path} is a folder", "name the photographs in it, one by one or with a pattern")
    try:
        with path.open("rb") as stream:
            empty = not stream.read(1)
    except OSError as error:
        raise PhotoUnreadable(f"{path} cannot be opened ({error.strerror})", "check who may read it") from None
    if empty:
        raise PhotoUnreadable(f"{path} is empty", "copy it from the camera again")


def _check_size(path: Path, image: Image.Image) -> None:
    width, height = image.size
    if width * height > LARGEST_MEGAPIXELS * 1e6:
        raise PhotoUnreadable(f"{path} has {width} x {height} pixels, {_TOO_LARGE.removesuffix(' pixels')}", _SMALLER)
    if max(width, height) > LONGEST_SIDE_PX:
        raise PhotoUnreadable(
            f"{path} has {width} x {height} pixels, and a side may have {LONGEST_SIDE_PX} at most", _SMALLER
        )
    if min(width, height) < SMALLEST_SIDE_PX:
        raise PhotoUnreadable(
            f"{path} has only {width} x {height} pixels, and {SMALLEST_SIDE_PX} are needed each way",
            "give the photograph itself, not its thumbnail",
        )


def _allow_heic() -> None:
    try:
        import pi_heif
    except ImportError:  # HEIC files are then reported as unreadable, everything else works
        return
    pi_heif.register_heif_opener()


def _to_srgb(image: Image.Image) -> Image.Image:
    if image.mode.startswith(("I", "F")):
        array = np.asarray(image, dtype=np.float64)
        top = 65535.0 if array.max(initial=0.0) > 255 else 255.0
        return Image.fromarray(np.clip(array * (255.0 / top), 0, 255).astype(np.uint8)).convert("RGB")
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        on_white = Image.new("RGBA", image.size, "white")
        on_white.alpha_composite(image.convert("RGBA"))
        return on_white.convert("RGB")
    return _by_profile(image)


def _by_profile(image: Image.Image) -> Image.Image:
    """Apply an embedded colour profile other than sRGB (phones write Display P3); without one, sRGB is assumed."""
    profile = image.info.get("icc_profile")
    if profile and image.mode in ("RGB", "CMYK"):
        import io

        from PIL import ImageCms

        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            if "srgb" not in ImageCms.getProfileDescription(source).lower():
                converted = ImageCms.profileToProfile(image, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
                if converted is not None:
                    return converted
        except (ImageCms.PyCMSError, OSError):
            pass  # a broken profile only shifts colours; the picture itself is sound
    return image if image.mode == "RGB" else image.convert("RGB")


def _focal35(exif: Image.Exif, size_px: tuple[int, int]) -> float | None:
    details: dict[int, Any] = dict(exif.get_ifd(ExifTags.IFD.Exif))
    if _cropped(details, size_px):
        return None
    focal = _number(details.get(ExifTags.Base.FocalLengthIn35mmFilm))
    if focal is None:
        focal = _focal_from_sensor(details)
    if focal is None or not _FOCAL_RANGE_35MM[0] <= focal <= _FOCAL_RANGE_35MM[1]:
        return None
    return focal


def _cropped(details: dict[int, Any], size_px: tuple[int, int]) -> bool:
    """Whether the picture has another shape than the one that was taken, so that its focal length tells nothing."""
    width = _number(details.get(ExifTags.Base.ExifImageWidth))
    height = _number(details.get(ExifTags.Base.ExifImageHeight))
    if not width or not height:
        return False
    was, now = max(width, height) / min(width, height), max(size_px) / min(size_px)
    return abs(was / now - 1) > CROP_ASPECT_TOLERANCE


def _focal_from_sensor(details: dict[int, Any]) -> float | None:
    """From the real focal length and the focal plane's resolution (EXIF 2.32, tags 37386, 41486, 41488)."""
    focal = _number(details.get(ExifTags.Base.FocalLength))
    per_unit = _number(details.get(ExifTags.Base.FocalPlaneXResolution))
    width = _number(details.get(ExifTags.Base.ExifImageWidth))
    height = _number(details.get(ExifTags.Base.ExifImageHeight))
    unit_mm = {2: 25.4, 3: 10.0, 4: 1.0}.get(details.get(ExifTags.Base.FocalPlaneResolutionUnit, 2))
    if not (focal and per_unit and width and height and unit_mm):
        return None
    return focal * FRAME_DIAGONAL_MM / (math.hypot(width, height) / per_unit * unit_mm)


def _number(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def _taken(exif: Image.Exif) -> str | None:
    details = exif.get_ifd(ExifTags.IFD.Exif)
    value = details.get(ExifTags.Base.DateTimeOriginal) or exif.get(ExifTags.Base.DateTime)
    return str(value).strip("\x00 ") if value else None
