"""What a no says first must not send her to the shop for nothing, or to the wrong part."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.conftest import Call, strips


def _told(call: Call, *arguments: object) -> str:
    done = call("enough", *arguments)
    assert done.code == 1
    return " ".join(done.out.split())


def test_where_strips_cannot_match_more_cloth_is_not_said_to_be_lacking(call: Call, tmp_path: Path) -> None:
    """Uneven stripes A, B, C on one-way cloth: no strip about A is the mirror of another, on any length of it."""
    stripes = [
        {"label": label, "width_mm": 20, "centre_mm": 20 * k + 10, "hex": tone}
        for k, (label, tone) in enumerate((("A", "#a01c24"), ("B", "#efe6d2"), ("C", "#20407a")))
    ]
    print_ = {"kind": "stripe", "across_mm": 60, "stripes": stripes}
    document = {
        "schema": "stash/1",
        "fabrics": [{"id": "ticking", "name": "Red ticking", "one_way": True, "print": print_}],
        "pieces": [
            {
                "id": "t1",
                "fabric": "ticking",
                "outline_mm": [[0, 0], [600, 0], [600, 900], [0, 900]],
                "stripe_direction_deg": 0,
                "stripe_origin_mm": 0,
            }
        ],
    }
    (tmp_path / "s.json").write_text(json.dumps(document), encoding="utf-8")
    ties = [f'id = "{name}"\nlength = "500 mm"\nwidth = "2 in"\nmirror = "ties"' for name in ("tie-left", "tie-right")]
    told = _told(call, strips(tmp_path / "g.toml", *ties), "--stash", "s.json")
    assert "more of Red ticking would not help" in told
    assert "lacks" not in told
    assert "tie-left and tie-right together cannot be cut; either by itself can." in told


def test_a_panel_larger_than_any_piece_is_named(filled: Call, tmp_path: Path) -> None:
    """Cut 1000 mm wide beside a cloth of 1100 by 900 mm, 1200 mm long: it is the apron that finds no room."""
    strips(tmp_path / "g.toml", 'id = "band"\nlength = "300 mm"\nwidth = "2 in"')
    panel = '[[panel]]\nid = "apron"\nfabric = "ticking"\nwidth = "988 mm"\nlength = "1188 mm"\n'
    (tmp_path / "g.toml").write_text((tmp_path / "g.toml").read_text() + panel, encoding="utf-8")
    told = _told(filled, "g.toml")
    assert "Short: apron is 11 13/16 in (300 mm) larger than there is room for on any piece of Red ticking." in told


PANEL = '[[panel]]\nid = "apron"\nfabric = "linen"\nwidth = "3000 mm"\nlength = "900 mm"\nseam = "0 in"\n'


def test_a_panel_is_told_to_be_as_much_too_large_as_it_is(filled: Call, tmp_path: Path) -> None:
    """3000 by 900 mm beside cloth of 1524 by 1828.8 mm: 1476 mm too wide, more than it is long; and no empty row."""
    (tmp_path / "g.toml").write_text(PANEL, encoding="utf-8")
    done = filled("enough", "g.toml")
    assert "Short: apron is 58 1/8 in (1476 mm) larger than" in " ".join(done.out.split())
    assert all(row.strip() for row in done.out.splitlines())


def test_a_fabric_without_a_piece_is_told_to_be_so(filled: Call, tmp_path: Path) -> None:
    """All the linen is given away: no size would do, for there is no piece of it."""
    (tmp_path / "g.toml").write_text(PANEL, encoding="utf-8")
    assert filled("stash", "give", "l1").code == 0
    assert "Short: there is no piece of Linen to cut from." in _told(filled, "g.toml")
