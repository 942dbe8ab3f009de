"""Outcomes kept in a file, one JSON line a photograph, so that a run that was stopped goes on where it was."""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stash.cli.batch import Outcome
from stash.cli.failure import FAULT
from stash.errors import InputWrong

if TYPE_CHECKING:
    from stash.measuring import Asked

#: The key under which a line says which photograph and which question it answers; the rest is the document itself.
OF = "of"


class Kept:
    """The lines of one file. A line counts while the photograph, the options and the program are the same."""

    def __init__(self, file: Path, asked: Asked) -> None:
        """Reads what is there. Raises InputWrong where the file holds something else or cannot be written."""
        self.file = file
        self._asked = _digest(json.dumps([asdict(asked), _version()], sort_keys=True).encode())
        self._lines: dict[tuple[str, str, str], str] = {}
        self._read()

    def found(self, photo: Path) -> Outcome | None:
        """What is known of a photograph from an earlier run."""
        text = self._lines.get(self._key(photo))
        if text is None:
            return None
        document = json.loads(text)
        return Outcome(status=document.pop(OF)[_STATUS], document=document)

    def keep(self, photo: Path, outcome: Outcome) -> None:
        """Writes one line at once. A fault of ours is not kept: it may be mended when it is tried again."""
        if outcome.status == FAULT:
            return
        key = self._key(photo)
        line = json.dumps(
            {OF: {**dict(zip(_NAMES, key, strict=True)), _STATUS: outcome.status}, **outcome.document},
            ensure_ascii=False,
        )
        self._lines[key] = line
        try:
            with self.file.open("a", encoding="utf-8") as stream:
                stream.write(line + "\n")
                stream.flush()
                os.fsync(stream.fileno())
        except OSError as error:
            raise self._unwritable(error) from None

    def _read(self) -> None:
        """Takes over whole lines; a last one that was cut off in the middle is dropped, and the file with it."""
        try:
            text = self.file.read_text(encoding="utf-8") if self.file.exists() else ""
        except (OSError, UnicodeDecodeError) as error:
            raise InputWrong(f"{self.file} cannot be read ({error})", "name another file with --into") from None
        *whole, rest = text.split("\n")
        if rest and not rest.startswith(_BEGINNINGS):
            raise self._foreign()
        whole = [row for row in whole if row.strip()]
        for row in whole:
            self._lines[self._key_of(row)] = row
        if rest or len(self._lines) < len(whole):
            self._rewrite()
        else:
            self._touch()

    def _key_of(self, row: str) -> tuple[str, str, str]:
        try:
            of: dict[str, Any] = json.loads(row)[OF]
            int(of[_STATUS])
            return of[_NAMES[0]], of[_NAMES[1]], of[_NAMES[2]]
        except (ValueError, TypeError, KeyError):
            raise self._foreign() from None

    def _foreign(self) -> InputWrong:
        return InputWrong(
            f"{self.file} holds something else than measurements kept by --into", "name a new file with --into"
        )

    def _rewrite(self) -> None:
        fresh = self.file.with_name(self.file.name + ".new")
        try:
            fresh.write_text("".join(line + "\n" for line in self._lines.values()), encoding="utf-8")
            fresh.replace(self.file)
        except OSError as error:
            raise self._unwritable(error) from None

    def _touch(self) -> None:
        try:
            with self.file.open("a", encoding="utf-8"):
                pass
        except OSError as error:
            raise self._unwritable(error) from None

    def _unwritable(self, error: OSError) -> InputWrong:
        return InputWrong(f"{self.file} cannot be written ({error.strerror or error})", "name another file with --into")

    def _key(self, photo: Path) -> tuple[str, str, str]:
        try:
            content = _digest(photo.read_bytes())
        except OSError:
            content = "unreadable"
        return photo.as_posix(), content, self._asked


_NAMES = ("file", "sha256", "asked")
_STATUS = "status"
#: How lines begin: one that was cut off in the middle is known by it.
_BEGINNINGS = (f'{{"{OF}": ',)


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _version() -> str:
    from importlib import metadata

    try:
        return metadata.version("stripewright")
    except metadata.PackageNotFoundError:
        return "source"
