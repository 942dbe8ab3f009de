"""A catalogue in memory for as long as one question lasts, so that documents are searched as catalogues are."""

from __future__ import annotations

import json
from collections.abc import Iterator

from sqlalchemy import create_engine, insert

from stash.catalogue.finder import Candidate, candidates, follow
from stash.catalogue.schema import fabric, metadata, piece
from stash.catalogue.trait import Query
from stash.interchange.contents import Contents
from stash.interchange.writer import fabric_document, piece_document


def asked_in_memory(contents: Contents, query: Query) -> Iterator[Candidate]:
    """What a query leaves of the contents; see ``finder.candidates``."""
    engine = create_engine("sqlite://")
    with engine.begin() as connection:
        metadata.create_all(connection)
        for place, held in enumerate(contents.fabrics):
            row = {"id": held.id, "place": place, "document": json.dumps(fabric_document(held))}
            connection.execute(insert(fabric).values(row))
            follow(connection, fabric, held.id, row)
        for place, lying in enumerate(contents.pieces):
            document = json.dumps(piece_document(lying))
            row = {"id": lying.id, "fabric": lying.fabric, "place": place, "document": document}
            connection.execute(insert(piece).values(row))
            follow(connection, piece, lying.id, row)
        yield from candidates(connection, query)
    engine.dispose()
