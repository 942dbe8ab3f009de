"""The door for photographs: upright, with the focal length, or refused in a sentence that says what to do."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image

from vision.errors import PhotoUnreadable
from vision.photo import focal_length_px, read_photo


def save(path: Path, size: tuple[int, int] = (120, 80), **details: object) -> Path:
    """A picture with its top left quarter white, and the EXIF details given by name."""
    pixels = np.zeros((size[1], size[0], 3), np.uint8)
    pixels[: size[1] // 2, : size[0] // 2] = 255
    exif = Image.Exif()
    if "Orientation" in details:
        exif[ExifTags.Base.Orientation] = details.pop("Orientation")
    for key, value in details.items():
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base[key]] = value
    Image.fromarray(pixels).save(path, exif=exif)
    return path


@pytest.mark.parametrize(
    ("orientation", "corner"), [(1, (0, 0)), (2, (0, -1)), (3, (-1, -1)), (4, (-1, 0)), (6, (0, -1)), (8, (-1, 0))]
)
def test_photos_are_turned_upright(tmp_path: Path, orientation: int, corner: tuple[int, int]) -> None:
    """EXIF 2.32, tag 274: the white corner, stored top left, is seen where the orientation says."""
    photo = read_photo(save(tmp_path / "turned.png", Orientation=orientation))
    assert photo.rgb[corner].tolist() == [255, 255, 255]
    assert photo.size_px == ((80, 120) if orientation > 4 else (120, 80))


def test_focal_length_follows_the_diagonal(tmp_path: Path) -> None:
    """CIPA DCG-001: 43.27 mm, the diagonal of 36 x 24 mm, is as many pixels as the picture's own diagonal."""
    photo = read_photo(save(tmp_path / "phone.jpg", FocalLengthIn35mmFilm=26))
    assert photo.focal35_mm == 26
    assert focal_length_px((3000, 4000), 43.2666).value == pytest.approx(math.hypot(3000, 4000))


def test_a_cropped_photo_tells_no_focal_length(tmp_path: Path) -> None:
    """Where EXIF remembers another shape than the picture has, the lens's centre and scale are not known."""
    path = save(tmp_path / "crop.jpg", FocalLengthIn35mmFilm=26, ExifImageWidth=4000, ExifImageHeight=3000)
    Image.open(path).crop((0, 0, 120, 60)).save(tmp_path / "cut.jpg", exif=Image.open(path).getexif())
    assert read_photo(tmp_path / "cut.jpg").focal35_mm is None


def test_no_focal_length_is_assumed_widely(tmp_path: Path) -> None:
    """Without EXIF the focal length is a phone's, with an uncertainty that says that it was not told."""
    photo = read_photo(save(tmp_path / "plain.png"))
    assert photo.focal35_mm is None
    assert focal_length_px(photo.size_px, None).relative_u95 > 0.1


def test_bad_files_are_refused_in_words(tmp_path: Path) -> None:
    """Missing, a folder, empty, not an image, cut short, tiny: each names the file and the remedy."""
    whole = save(tmp_path / "whole.jpg", (900, 700)).read_bytes()
    (tmp_path / "short.jpg").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "empty.jpg").write_bytes(b"")
    (tmp_path / "text.jpg").write_text("a letter, not a photograph")
    save(tmp_path / "tiny.png", (20, 20))
    for name, words in {
        "absent.jpg": "there is no file",
        ".": "is a folder",
        "empty.jpg": "is empty",
        "text.jpg": "not a photograph",
        "short.jpg": "cut short",
        "tiny.png": "only 20 x 20 pixels",
    }.items():
        with pytest.raises(PhotoUnreadable, match=words) as caught:
            read_photo(tmp_path / name)
        assert caught.value.remedy


def test_a_picture_too_large_is_refused_before_it_is_decoded(tmp_path: Path) -> None:
    """A file of a few kilobytes can claim any size; 900 million pixels are not decoded."""
    import struct
    import zlib

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", 30000, 30000, 8, 2, 0, 0, 0)
    bomb = (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"\0" * 1000))
        + chunk(b"IEND", b"")
    )
    (tmp_path / "bomb.png").write_bytes(bomb)
    with pytest.raises(PhotoUnreadable, match="more than 220 million pixels"):
        read_photo(tmp_path / "bomb.png")


def test_other_pixel_formats_become_srgb(tmp_path: Path) -> None:
    """16-bit grey, palette with transparency and CMYK all arrive as 8-bit RGB."""
    Image.fromarray(np.full((60, 60), 65535, np.uint16)).save(tmp_path / "deep.png")
    Image.new("RGBA", (60, 60), (255, 0, 0, 0)).save(tmp_path / "clear.png")
    Image.new("CMYK", (60, 60), (0, 0, 0, 255)).save(tmp_path / "press.jpg")
    assert read_photo(tmp_path / "deep.png").rgb[30, 30].tolist() == [255, 255, 255]
    assert read_photo(tmp_path / "clear.png").rgb[30, 30].tolist() == [255, 255, 255]
    assert max(read_photo(tmp_path / "press.jpg").rgb[30, 30]) < 10


def test_a_side_too_long_to_count_is_refused(tmp_path: Path) -> None:
    """A strip of 40000 by 60 pixels is refused with what to do, before anything is read from it."""
    Image.new("L", (40000, 60)).save(tmp_path / "long.png")
    with pytest.raises(PhotoUnreadable, match="40000 x 60 pixels") as refused:
        read_photo(tmp_path / "long.png")
    assert "smaller" in refused.value.remedy
