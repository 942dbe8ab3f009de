"""Every document that a command prints is one that its published schema allows (JSON Schema, draft 2020-12)."""

from __future__ import annotations

import copy
import json
import sqlite3
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.cli import scene
from tests.cli.conftest import Call, strips

jsonschema = pytest.importorskip("jsonschema")

NAMES = (
    "measurement", "stash", "garment", "plan", "which", "error", "found", "possible", "uses", "entry", "journal",
    "snippets", "table", "check", "added",
)  # fmt: skip
SAMPLES = Path(__file__).resolve().parents[2] / "samples"

#: The plans of the published contract, the yes and the no.
YES: dict[str, Any] = {
    "schema": "plan/1", "answer": "yes", "reason": None, "proven": True, "best": False, "cost": 412.0, "bound": 400.0,
    "placements": [
        {"part": "hem", "segment": 1, "piece": "t1", "stripe": "A", "finished_mm": 700.0, "turned": False,
         "outline_mm": [[38.25, 0], [101.75, 0], [101.75, 712.7], [38.25, 712.7]]},
    ],
    "tightest": {"part": "hem", "segment": 1, "spare_mm": 38.25}, "short": [], "ways_out": [], "settle": [],
    "leftovers": [{"piece": "t1", "outline_mm": [[0, 0], [1100, 0], [1100, 900], [0, 900]]}],
    "garments": [], "stash_digest": "0", "seconds": 0.4,
}  # fmt: skip
NO: dict[str, Any] = {
    "schema": "plan/1", "answer": "no", "reason": None, "proven": True, "placements": [], "leftovers": [],
    "short": [{"fabric": "ticking", "stripe": "A", "missing_mm": 310.0}],
    "ways_out": [{"change": "one more join in hem", "edit": {"part": "hem", "key": "joins", "value": 2},
                  "answer": "yes", "placements": []}],
    "seconds": 0.2,
}  # fmt: skip


def checked(call: Call, name: str, document: Any) -> None:
    """Raises where the schema that the program publishes does not allow the document."""
    schema = json.loads(call("schema", name).out)
    jsonschema.Draft202012Validator(schema).validate(document)


@pytest.mark.parametrize("name", NAMES)
def test_schemas_are_schemas(call: Call, name: str) -> None:
    """Each published schema is itself valid against the meta-schema of its draft."""
    schema = json.loads(call("schema", name).out)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("document", [YES, NO], ids=["yes", "no"])
def test_published_examples_are_allowed(call: Call, document: dict[str, Any]) -> None:
    """The plans of the published contract pass the schema of plans, extra keys too."""
    checked(call, "plan", document)
    checked(call, "plan", {**document, "kept_by": "aunt"})


@pytest.mark.parametrize(
    ("key", "value"),
    [("schema", "plan/2"), ("answer", "maybe"), ("proven", "yes"), ("placements", {}), ("seconds", "quick")],
)
def test_schema_refuses_what_is_wrong(call: Call, key: str, value: Any) -> None:
    """The schema of plans is not one that lets everything pass."""
    wrong = copy.deepcopy(YES) | {key: value}
    with pytest.raises(jsonschema.ValidationError):
        checked(call, "plan", wrong)


def test_answers_are_allowed(filled: Call, tmp_path: Path) -> None:
    """A yes, a no with its ways out, and an unsure pass the schema of plans."""
    unsure = json.loads((tmp_path / "filled.json").read_text(encoding="utf-8"))
    unsure["pieces"][0]["outline_mm_u95"] = 1.0
    (tmp_path / "unsure.json").write_text(json.dumps(unsure), encoding="utf-8")
    for length, place, answer in (("50 cm", "filled.json", "yes"), ("1 m", "filled.json", "no"),
                                  ("888 mm", "unsure.json", "unsure")):  # fmt: skip
        garment = strips(tmp_path / "g.toml", f'id = "hem"\nlength = "{length}"\nwidth = "5 cm"')
        document = filled("enough", garment, "--stash", place, "--json", "--limit", "20").document
        assert document["answer"] == answer
        checked(filled, "plan", document)


def test_what_else_is_planned_is_allowed(filled: Call, tmp_path: Path) -> None:
    """A plan with garments left out, one with parts at hand, a binding, and which-cloth pass their schemas."""
    band = 'length = "888 mm"\nwidth = "2 in"'
    one = strips(tmp_path / "one.toml", *(f'id = "one-{k}"\n{band}' for k in range(5)))
    two = strips(tmp_path / "two.toml", *(f'id = "two-{k}"\n{band}' for k in range(5)))
    checked(filled, "plan", filled("enough", one, two, "--first", "--json", "--limit", "20").document)
    checked(filled, "plan", filled("enough", one, "--have", "one-1", "--json").document)
    checked(filled, "plan", filled("bias", "--width", "2 in", "--length", "2 m", "--piece", "t1", "--json").document)
    checked(filled, "which", filled("which-cloth", one, "--json").document)


def test_stash_is_allowed(filled: Call) -> None:
    """The stash, listed or exported, passes the schema of stashes."""
    checked(filled, "stash", filled("stash", "list", "--json").document)


def refused(call: Call, name: str, document: Any, key: str) -> None:
    """Raises where the schema lets the document pass without that key."""
    without = {name: value for name, value in document.items() if name != key}
    with pytest.raises(jsonschema.ValidationError):
        checked(call, name, without)


def test_what_is_looked_for_is_allowed(filled: Call, tmp_path: Path) -> None:
    """What is found by size, by colour, by neither, and where nothing is; what fits a garment; what a piece of striped
    and one of plain cloth yields: all pass their schemas, and none without its list."""
    for words in (["--fits", "9 x 6 in"], ["--near", "#a01c24", "--within", "20"], ["linen"], ["nothing like it"]):
        document = filled("stash", "find", *words, "--json").document
        checked(filled, "found", document)
        refused(filled, "found", document, "pieces")
    garment = strips(tmp_path / "g.toml", 'id = "hem"\nlength = "50 cm"\nwidth = "5 cm"')
    with garment.open("a", encoding="utf-8") as file:
        file.write('[[panel]]\nid = "body"\nfabric = "linen"\nwidth = "3 in"\nlength = "4 in"\n')
    document = filled("what-fits", garment, "--json").document
    assert len(document["parts"]) == 2
    checked(filled, "possible", document)
    refused(filled, "possible", document, "parts")
    for piece in ("t1", "l1"):
        checked(filled, "uses", filled("uses", piece, "--json").document)
    refused(filled, "uses", filled("uses", "t1", "--json").document, "bias")


def test_the_ledger_is_allowed(filled: Call, tmp_path: Path) -> None:
    """Entries as commands tell them, no change at all, several taken back, the journal, snippets, a check and a mended
    one pass their schemas; with a plan's cloth reserved and snippets kept the stash still passes its own."""
    garment = strips(tmp_path / "g.toml", 'id = "hem"\nlength = "50 cm"\nwidth = "5 cm"')
    filled("enough", garment, "--out", "plan.json")
    for words in (
        ["stash", "note", "linen", "--place", "attic"],
        ["stash", "note", "linen", "--place", "attic"],
        ["stash", "wash", "linen", "--length", "2 %", "--width", "1 %"],
        ["stash", "snippets", "--below", "2 x 4 in"],
        ["reserve", "plan.json"],
        ["cut", "plan.json"],
        ["stash", "remeasure", "t1-1", "--width", "3 cm", "--length", "4 cm"],
        ["stash", "give", "l1", "--to", "Aunt"],
        ["stash", "return", "l1"],
    ):
        document = filled(*words, "--json").document
        checked(filled, "snippets" if "snippets" in words else "entry", document)
    checked(filled, "snippets", filled("stash", "snippets", "--json").document)
    refused(filled, "snippets", filled("stash", "snippets", "--json").document, "below_mm")
    journal = filled("stash", "journal", "--json").document
    assert len(journal["entries"]) == 9
    checked(filled, "journal", journal)
    refused(filled, "journal", journal, "entries")
    checked(filled, "stash", filled("stash", "list", "--json").document)
    checked(filled, "entry", filled("undo", "--back-to", "3", "--json").document)
    checked(filled, "check", filled("stash", "check", "--json").document)
    document = filled("stash", "check", "--mend", "--json").document
    checked(filled, "check", document)
    refused(filled, "check", document, "sound")


def test_a_damaged_stash_is_allowed(filled: Call, tmp_path: Path) -> None:
    """A check that finds faults, and the mending of them, pass the schema of checks."""
    with sqlite3.connect(tmp_path / "stash" / "stripewright.sqlite") as database:
        database.execute("""UPDATE piece SET document = '{"id": "t1"}' WHERE id = 't1'""")
    for words, code in (([], 1), (["--mend"], 0)):
        called = filled("stash", "check", *words, "--json")
        assert called.code == code
        checked(filled, "check", called.document)


def test_tables_are_allowed(filled: Call, tmp_path: Path) -> None:
    """A table with new cloth, more of it and a row that cannot be read passes the schema of tables, dry and taken in,
    and again when all of it is here."""
    (tmp_path / "cloth.csv").write_text(
        "name;width;length\nVoile;1 m;2 m\nVoile;30 cm;40 cm\nTweed;wide;2 m\n", encoding="utf-8"
    )
    fates = []
    for words in (["--dry-run"], [], []):
        document = filled("stash", "import", "cloth.csv", *words, "--json").document
        checked(filled, "table", document)
        fates.append([row["fate"] for row in document["rows"]])
    assert fates[0] == ["new", "more", "left out"]
    refused(filled, "table", document, "rows")


def test_errors_are_allowed(call: Call) -> None:
    """A refusal passes the schema of errors."""
    checked(call, "error", call("undo", "--json").document)
    checked(call, "error", call("frobnicate", "--json").document)


def test_garment_files_are_allowed(call: Call) -> None:
    """The sample garment file passes the schema of garments, and one with a misspelt key does not."""
    for file in sorted(SAMPLES.glob("*.toml")):
        garment = tomllib.loads(file.read_text(encoding="utf-8"))
        checked(call, "garment", garment)
        with pytest.raises(jsonschema.ValidationError):
            checked(call, "garment", garment | {"seem": "1/4 in"})


def test_measurements_are_allowed(call: Call, tmp_path: Path) -> None:
    """A measured photograph and one with nothing in it pass the schema of measurements."""
    for cloth, ruler in ((True, True), (False, False)):
        photo = scene.write(tmp_path / "photo.jpg", cloth=cloth, ruler=ruler)
        checked(call, "measurement", call("measure", photo, "--json").document)
