"""Files that a browser or a program sends, written down piece by piece as they come.

Nothing of a file is held in memory but the piece on its way. A form that is too large, too many
files or a disk with little room left end the receiving, and what was written is wiped.
"""

from __future__ import annotations

import shutil
from enum import StrEnum
from http import HTTPStatus
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from python_multipart.exceptions import MultipartParseError
from python_multipart.multipart import MultipartParser, parse_options_header

if TYPE_CHECKING:
    from typing import BinaryIO

    from python_multipart.multipart import MultipartCallbacks

MIB = 1024 * 1024
MOST_FILE_BYTES = 16 * MIB
MOST_BYTES = 64 * MIB
MOST_FILES = 12
MOST_FIELD_BYTES = 2_000
MOST_FIELDS = 400
LEAVE_FREE_BYTES = 256 * MIB
"""So much of the disk is left to what watches."""

_LONGEST_NAME = 100
_LOOK_EVERY_BYTES = MIB


class NotTakenWhy(StrEnum):
    """Why a form with files is not taken."""

    NO_FORM = "no_form"
    TOO_LARGE = "too_large"
    TOO_MANY = "too_many"
    NO_ROOM = "no_room"
    BROKEN_OFF = "broken_off"


STATUS = {
    NotTakenWhy.NO_FORM: HTTPStatus.UNPROCESSABLE_ENTITY,
    NotTakenWhy.TOO_LARGE: HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
    NotTakenWhy.TOO_MANY: HTTPStatus.UNPROCESSABLE_ENTITY,
    NotTakenWhy.NO_ROOM: HTTPStatus.INSUFFICIENT_STORAGE,
    NotTakenWhy.BROKEN_OFF: HTTPStatus.UNPROCESSABLE_ENTITY,
}


class NotTaken(Exception):
    """A form is not taken; `name` is the file it is about, "" for none."""

    def __init__(self, why: NotTakenWhy, name: str = "") -> None:
        self.why = why
        self.name = name
        super().__init__(f"{why.value} {name}".strip())


class Receiver:
    """Takes a form of the kind multipart/form-data, piece by piece, files into a folder.

    `files` are those that came, in order; `fields` the texts beside them, by name.
    """

    def __init__(self, folder: Path, content_type: str) -> None:
        kind, options = parse_options_header(content_type)
        boundary = options.get(b"boundary")
        if kind != b"multipart/form-data" or not boundary:
            raise NotTaken(NotTakenWhy.NO_FORM)
        self.files: list[Path] = []
        self.fields: dict[str, list[str]] = {}
        self._folder = folder
        self._headers: dict[bytes, bytes] = {}
        self._header = self._value = b""
        self._field: str | None = None
        self._text = bytearray()
        self._texts = 0
        self._file: BinaryIO | None = None
        self._file_bytes = self._bytes = self._looked = 0
        self._ended = False
        calls: MultipartCallbacks = {
            "on_part_begin": self._part_begins,
            "on_header_field": self._header_name,
            "on_header_value": self._header_value,
            "on_header_end": self._header_ends,
            "on_headers_finished": self._headers_end,
            "on_part_data": self._data,
            "on_part_end": self._part_ends,
            "on_end": self._form_ends,
        }
        try:
            self._parser = MultipartParser(boundary, calls)
        except MultipartParseError as trouble:
            raise NotTaken(NotTakenWhy.NO_FORM) from trouble

    def take(self, piece: bytes) -> None:
        """Write a piece down. Raises NotTaken."""
        self._bytes += len(piece)
        if self._bytes > MOST_BYTES:
            raise NotTaken(NotTakenWhy.TOO_LARGE, self._name())
        if self._bytes - self._looked >= _LOOK_EVERY_BYTES or not self._looked:
            self._looked = self._bytes
            if not has_room(self._folder):
                raise NotTaken(NotTakenWhy.NO_ROOM)
        try:
            self._parser.write(piece)
        except MultipartParseError as trouble:
            raise NotTaken(NotTakenWhy.NO_FORM) from trouble
        except OSError as trouble:
            raise NotTaken(NotTakenWhy.NO_ROOM) from trouble

    def end(self) -> None:
        """Say that nothing more comes. Raises NotTaken if the form is not whole."""
        if not self._ended:
            raise NotTaken(NotTakenWhy.BROKEN_OFF, self._name())

    def close(self) -> None:
        """Let go of a file that is still being written."""
        if self._file is not None:
            self._file.close()
            self._file = None

    def _name(self) -> str:
        return self.files[-1].name if self._file is not None else ""

    def _part_begins(self) -> None:
        self._headers = {}
        self._header = self._value = b""
        self._field = None
        self._text = bytearray()

    def _header_name(self, data: bytes, start: int, end: int) -> None:
        self._header += data[start:end]

    def _header_value(self, data: bytes, start: int, end: int) -> None:
        self._value += data[start:end]

    def _header_ends(self) -> None:
        self._headers[self._header.lower()] = self._value
        self._header = self._value = b""

    def _headers_end(self) -> None:
        _, options = parse_options_header(self._headers.get(b"content-disposition", b""))
        name = options.get(b"filename")
        if name is None:
            self._texts += 1
            if self._texts > MOST_FIELDS:
                raise NotTaken(NotTakenWhy.TOO_LARGE)
            self._field = options.get(b"name", b"").decode("utf-8", "replace")[:80]
            return
        if not name:
            return  # a browser sends a nameless file where none was chosen
        if len(self.files) >= MOST_FILES:
            raise NotTaken(NotTakenWhy.TOO_MANY)
        place = self._folder / str(len(self.files))
        place.mkdir()
        self.files.append(place / safe_name(name.decode("utf-8", "replace")))
        self._file = self.files[-1].open("xb")
        self._file_bytes = 0

    def _data(self, data: bytes, start: int, end: int) -> None:
        if self._file is not None:
            self._file_bytes += end - start
            if self._file_bytes > MOST_FILE_BYTES:
                raise NotTaken(NotTakenWhy.TOO_LARGE, self._name())
            self._file.write(data[start:end])
        elif self._field is not None:
            self._text += data[start:end]
            if len(self._text) > MOST_FIELD_BYTES:
                raise NotTaken(NotTakenWhy.TOO_LARGE)

    def _part_ends(self) -> None:
        self.close()
        if self._field is not None:
            text = self._text.decode("utf-8", "replace")
            self.fields.setdefault(self._field, []).append(text)
            self._field = None

    def _form_ends(self) -> None:
        self._ended = True


def has_room(folder: Path) -> bool:
    """Return whether the disk of a folder has more left than what watches may need."""
    return shutil.disk_usage(folder).free >= LEAVE_FREE_BYTES


def safe_name(name: str) -> str:
    r"""Return a file's own name without any folder, fit to be written to disk.

    >>> safe_name("C:\\logs\\bag-07.csv"), safe_name("../../etc/passwd"), safe_name("..")
    ('bag-07.csv', 'passwd', 'file')
    """
    own = PurePosixPath(name.replace("\\", "/")).name
    own = "".join(mark if mark.isprintable() and mark not in '/\\:*?"<>|' else "_" for mark in own)
    while len(own.encode()) > _LONGEST_NAME:
        stem, dot, ending = own.rpartition(".")
        own = f"{stem[:-1]}{dot}{ending[:10]}" if dot and stem else own[:-1]
    return own if own.strip(". ") else "file"
