"""Fingerprints of cloth: two stashes, pieces or fabrics have the same one exactly where their documents say the same.

SHA-256 of the document as JSON with sorted keys and no spaces; fabrics and pieces stand by id, so that their order
makes no difference.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

from stash.fabric import Fabric
from stash.interchange.contents import Contents
from stash.interchange.writer import fabric_document, piece_document, stash_document
from stash.piece import Piece


def canonical(document: Any) -> str:
    """The one way in which a document is written where it is to be compared."""
    return json.dumps(document, sort_keys=True, separators=(",", ":"), allow_nan=False)


def stash_digest(contents: Contents) -> str:
    """The fingerprint of everything a stash holds."""
    document = stash_document(contents)
    for key in ("fabrics", "pieces"):
        document[key] = sorted(document[key], key=lambda entry: str(entry["id"]))
    return _sha256(document)


def piece_digest(piece: Piece) -> str:
    """The fingerprint of one piece."""
    return _sha256(piece_document(piece))


def fabric_digest(fabric: Fabric) -> str:
    """The fingerprint of one fabric."""
    return _sha256(fabric_document(fabric))


def plan_digests(contents: Contents, used: Iterable[str]) -> Mapping[str, Any]:
    """What a plan document carries so that booking it can tell whether the cloth has changed since.

    ``used`` are ids of the pieces with placements. Keys: ``stash_digest``, and ``piece_digests`` and
    ``fabric_digests`` by id for the used pieces and their fabrics.
    """
    wanted = set(used)
    pieces = [piece for piece in contents.pieces if piece.id in wanted]
    fabrics = {piece.fabric for piece in pieces}
    return {
        "stash_digest": stash_digest(contents),
        "piece_digests": {piece.id: piece_digest(piece) for piece in pieces},
        "fabric_digests": {fabric.id: fabric_digest(fabric) for fabric in contents.fabrics if fabric.id in fabrics},
    }


def _sha256(document: Any) -> str:
    return hashlib.sha256(canonical(document).encode()).hexdigest()
