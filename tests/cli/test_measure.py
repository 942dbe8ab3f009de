"""Photographs through the commands: measured, drawn on, added; or refused with what to do."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest
from PIL import Image

from tests.cli import scene
from tests.cli.conftest import Call


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A photograph of striped cloth beside a ruler."""
    return scene.write(tmp_path_factory.mktemp("photos") / "good.jpg", cloth=True, ruler=True)


def test_measure_tells_the_true_repeat(call: Call, good: Path) -> None:
    """The stripe of 42 mm is measured within 1 %, and within what its own uncertainty allows three times over."""
    done = call("measure", good, "--json")
    assert done.code == 0
    print_ = done.document["print"]
    assert print_["kind"] == "stripe"
    assert abs(print_["across_mm"] - scene.REPEAT_MM) <= min(0.01 * scene.REPEAT_MM, 3 * print_["across_mm_u95"])
    assert done.document["scale"]["source"] == "ruler"
    assert done.err == ""


def test_overlay_is_a_picture_and_words_name_it(call: Call, good: Path, tmp_path: Path) -> None:
    """The overlay is written as a picture where it was asked for."""
    done = call("measure", good, "--overlay", "seen.png")
    assert done.code == 0
    assert "seen.png" in done.out
    with Image.open(tmp_path / "seen.png") as picture:
        assert picture.format == "PNG"


def test_batch_has_one_line_a_photo_and_the_worst_status(call: Call, good: Path, tmp_path: Path) -> None:
    """Of a good photo, a blank one and a missing one: three lines, an error/1 among them, and status 2 (2 before 3)."""
    Image.new("RGB", (640, 480), (200, 198, 190)).save(tmp_path / "blank.png")
    done = call("measure", good, "blank.png", "missing.jpg", "--jsonl")
    rows = [json.loads(row) for row in done.out.splitlines()]
    assert [row["schema"] for row in rows] == ["measurement/1", "measurement/1", "error/1"]
    assert rows[1]["scale"] is None
    assert done.code == 2
    assert call("measure", good, "blank.png", "--jsonl").code == 3


def test_json_of_several_photos_points_to_jsonl(call: Call, good: Path) -> None:
    """--json is one document: several photographs are refused with the option that serves."""
    done = call("measure", good, good, "--json")
    assert done.code == 2
    assert "--jsonl" in done.document["remedy"]


def test_points_set_the_scale(call: Call, good: Path) -> None:
    """Points told by hand set the scale; the warning or the uncertainty owns up to the unknown tilt."""
    done = call("measure", good, "--points", "300,1000 1300,1000 = 12 in", "--json")
    assert done.code in (0, 3)
    if done.code == 0:
        assert done.document["scale"]["source"] == "points"
        assert done.document["scale"]["px_per_mm_u95"] > 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--points", "300,1000 1300,1000"], "x1,y1 x2,y2 = 12 in"),
        (["--points", "300,1000 1300,1000 = twelve"], "length"),
        (["--thread", "300,1000"], "x1,y1 x2,y2"),
        (["--thread", "300,1000 301,1000"], "far apart"),
        (["--scale", "points"], "--points"),
        (["--scale", "guess"], "guess"),
        (["--focal", "wide"], "wide"),
        (["--focal", "2"], "focal"),
        (["--focal", "nan"], "focal"),
        (["--torn", "above"], "above"),
        (["--torn", "top", "--selvage", "top"], "top"),
        (["--thickness", "thick"], "thick"),
        (["--overlay", "seen.txt"], ".png"),
        (["--overlay", "no/such/folder/seen.png"], "seen.png"),
        (["--colour"], "--colour"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_wrong_options(call: Call, good: Path, words: list[str], told: str) -> None:
    """An option that cannot be used is status 2 and one sentence that names it."""
    done = call("measure", good, *words, "--json")
    assert done.code == 2
    assert done.document["schema"] == "error/1"
    assert told in done.document["error"] + done.document["remedy"]
    assert len(done.err.strip().splitlines()) == 1


def test_photo_without_a_ruler(call: Call, tmp_path: Path) -> None:
    """Striped cloth alone sets no scale, though its stripes look like a ruler's: status 3, null, and what to do."""
    photo = scene.write(tmp_path / "alone.jpg", cloth=True, ruler=False)
    done = call("measure", photo, "--json")
    assert (done.code, done.document["scale"], done.document["print"]) == (3, None, None)
    assert any("ruler" in warning for warning in done.document["warnings"])
    refused = call("add", photo, "--name", "Stripe", "--json")
    assert refused.code == 3
    assert "ruler" in refused.document["remedy"]
    assert call("stash", "list", "--json").document["fabrics"] == []


def test_blank_wall(call: Call, tmp_path: Path) -> None:
    """A blank wall: status 3, scale and fabric null, and a warning."""
    photo = scene.write(tmp_path / "wall.jpg", cloth=False, ruler=False)
    done = call("measure", photo, "--json")
    assert (done.code, done.document["scale"], done.document["fabric"]) == (3, None, None)
    assert done.document["warnings"]
    assert call("add", photo, "--name", "Wall").code == 3


def test_ruler_alone(call: Call, tmp_path: Path) -> None:
    """A ruler with no cloth gives a scale within 1 % of the truth, no cloth, and a warning; it adds nothing."""
    photo = scene.write(tmp_path / "ruler.jpg", cloth=False, ruler=True)
    done = call("measure", photo, "--json")
    assert done.code == 0
    assert done.document["scale"]["unit"] == "mm"
    assert done.document["fabric"] is None
    assert done.document["warnings"]
    assert call("add", photo, "--name", "Ruler").code in (2, 3)
    assert call("stash", "list", "--json").document["fabrics"] == []


def test_photo_is_added_without_what_it_need_not_tell(call: Call, good: Path, tmp_path: Path) -> None:
    """The kept photograph carries date and focal length and nothing else; the fabric has the measured repeat."""
    added = call("add", good, "--name", "Red stripe", "--torn", "top", "--json")
    assert added.code == 0
    (kept,) = (tmp_path / "stash" / "photos").rglob("*.jpg")
    with Image.open(kept) as picture:
        exif = picture.getexif()
        assert set(exif) <= {0x8769}
        assert set(exif.get_ifd(0x8769)) <= {0x9003, 0xA405}
    fabric = call("stash", "list", "--json").document["fabrics"][0]
    assert abs(fabric["print"]["across_mm"] - scene.REPEAT_MM) < 0.01 * scene.REPEAT_MM


def test_several_photos_are_added_all_or_none(call: Call, good: Path, tmp_path: Path) -> None:
    """Where the second of two photographs sets no scale, the first is not added either; the sentence names it."""
    blank = scene.write(tmp_path / "wall.jpg", cloth=False, ruler=False)
    refused = call("add", good, blank, "--name", "Red stripe", "--json")
    assert refused.code == 3
    assert "wall.jpg" in refused.document["error"]
    assert call("stash", "list", "--json").document == {"schema": "stash/1", "fabrics": [], "pieces": []}
    assert call("add", good, good, "--name", "Red stripe").code == 0
    assert len(call("stash", "list", "--json").document["pieces"]) == 2


def test_target_is_written_at_true_scale(call: Call, tmp_path: Path) -> None:
    """The printed target on A4 is 210 × 297 mm of paper (ISO 216), on letter 8 1/2 × 11 in; no other."""
    pdfium = pytest.importorskip("pypdfium2")
    for paper, size in (("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))):
        assert call("target", "--out", f"{paper}.pdf", "--paper", paper).code == 0
        width, height = pdfium.PdfDocument(tmp_path / f"{paper}.pdf")[0].get_size()
        assert (width * 25.4 / 72, height * 25.4 / 72) == pytest.approx(size, abs=0.05)
    assert call("target", "--out", "a3.pdf", "--paper", "a3").code == 2
    assert call("target", "--out", "no/such/folder/a4.pdf").code == 2


def test_without_its_system_libraries(call: Call, good: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where OpenCV cannot be loaded, as on a bare server, the sentence holds the apt-get command that mends it."""
    monkeypatch.setitem(sys.modules, "cv2", None)
    for words in (("measure", good), ("add", good, "--name", "Cloth"), ("target", "--out", "a4.pdf")):
        done = call(*words, "--json")
        assert done.code == 2
        assert "apt-get install" in done.document["remedy"]
