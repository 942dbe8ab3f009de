"""Photographs as they are kept: none that is a bomb, none that says where it was taken, none twice."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

from PIL import Image

from tests.cli import scene
from tests.cli.conftest import Call

#: EXIF 2.32: the block of the position, and the camera's maker.
GPS_IFD, MAKE = 0x8825, 0x010F


def placed(photo: Path, target: Path, degrees: float) -> Path:
    """The same pixels, saved as if they had been taken at that latitude."""
    exif = Image.Exif()
    exif[MAKE] = "Some maker"
    exif[GPS_IFD] = {1: "N", 2: (degrees, 30.0, 0.0), 3: "E", 4: (7.0, 0.0, 0.0)}
    with Image.open(photo) as picture:
        picture.save(target, exif=exif, quality=95)
    assert GPS_IFD in Image.open(target).getexif()
    return target


def kept(folder: Path) -> list[Path]:
    """The photographs of the stash."""
    return [file for file in (folder / "stash").rglob("*.jpg") if file.is_file()]


def test_kept_once_and_without_its_place(call: Call, tmp_path: Path) -> None:
    """Two files with the same pixels, taken at two places by their tags, are one photograph in the stash; neither the
    place nor the maker is in it; it goes when the last piece of it is taken back."""
    photo = scene.write(tmp_path / "photo.jpg", cloth=True, ruler=True)
    one, two = (placed(photo, tmp_path / f"{name}.jpg", at) for name, at in (("north", 60.0), ("south", 40.0)))
    assert one.read_bytes() != two.read_bytes()
    assert call("add", one, "--name", "Deck").code == 0
    assert call("add", two, "--name", "Chair").code == 0
    (file,) = kept(tmp_path)
    with Image.open(file) as picture:
        tags = picture.getexif()
        assert not {GPS_IFD, MAKE} & set(tags)
        assert not tags.get_ifd(GPS_IFD)
    assert b"Some maker" not in file.read_bytes()
    assert call("undo").code == 0
    assert kept(tmp_path) == [file]
    assert call("undo").code == 0
    assert kept(tmp_path) == []


def test_a_bomb_is_refused_and_nothing_is_kept(call: Call, tmp_path: Path) -> None:
    """A picture of a few kilobytes that would be 30,000 pixels square is refused with what to do, and not added."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", 30000, 30000, 8, 2, 0, 0, 0)
    body = chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0" * 90_000)) + chunk(b"IEND", b"")
    (tmp_path / "bomb.png").write_bytes(b"\x89PNG\r\n\x1a\n" + body)
    refused = call("add", "bomb.png", "--name", "Bomb", "--json")
    assert refused.code == 2
    assert "million pixels" in refused.document["error"]
    assert refused.document["remedy"]
    assert call("stash", "list", "--json").document["fabrics"] == []
    assert kept(tmp_path) == []
