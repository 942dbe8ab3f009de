"""Every document that a command prints is one that its published schema allows (JSON Schema, draft 2020-12)."""

from __future__ import annotations

import copy
import json
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.cli import scene
from tests.cli.conftest import Call, strips

jsonschema = pytest.importorskip("jsonschema")

NAMES = ("measurement", "stash", "garment", "plan", "which", "error")
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
