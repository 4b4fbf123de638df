"""The bytes of a text file as lines: its encoding, its head, and looks into its middle and end."""

from __future__ import annotations

import codecs
import io
import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

from collector.files.refusal import FileRefused

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

HEAD_BYTES = 256 * 1024
MOST_LINE = 64 * 1024
_LOOKS = 24
_LOOK_BYTES = 16 * 1024
_TAIL_BYTES = 64 * 1024

_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_OTHERS = (
    (b"PK\x03\x04", "a spreadsheet or an archive", "Give it the ending .xlsx if it is a workbook"),
    (b"PAR1", "a Parquet file", "Give it the ending .parquet"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet (.xls)", "Save it as .xlsx or as CSV"),
    (b"\x1f\x8b", "packed with gzip", "Unpack it first"),
    (b"%PDF", "a PDF", "Export the readings as CSV"),
    (b"SQLite format 3", "a database", "Export the readings as CSV"),
)


@dataclass(frozen=True, slots=True)
class TextFile:
    """A text file and its encoding. Bytes that are none in it read as U+FFFD."""

    path: Path
    encoding: str
    size: int

    def head(self) -> list[str]:
        """Return the lines of the first 256 KiB, without one that is cut off."""
        with self.path.open("rb") as raw:
            data = raw.read(HEAD_BYTES)
        lines = _lines(data.decode(self.encoding, errors="replace"))
        return lines if len(data) == self.size or len(lines) == 1 else lines[:-1]

    def lines(self) -> Lines:
        """Return the lines, to be iterated over once."""
        return Lines(self)

    def looks(self) -> list[list[str]]:
        """Return neighbouring lines from places spread over the file, its end the last.

        Nothing from the head; empty when the head is the whole file.
        """
        if self.size <= HEAD_BYTES:
            return []
        wide = 4 if "32" in self.encoding else 2 if "16" in self.encoding else 1
        last = max(HEAD_BYTES, self.size - _TAIL_BYTES)
        spread = [
            HEAD_BYTES + (last - HEAD_BYTES) * number // _LOOKS for number in range(1, _LOOKS)
        ]
        looks = []
        with self.path.open("rb") as raw:
            plain = self._encoding_within()
            for start, most in [*((at, _LOOK_BYTES) for at in spread), (last, _TAIL_BYTES)]:
                raw.seek(start - start % wide)
                lines = _lines(raw.read(most).decode(plain, errors="replace"))
                whole = lines[1:] if start == last else lines[1:-1]
                looks.append([line for line in whole if line.strip()])
        return looks

    def _encoding_within(self) -> str:
        """Return the encoding for bytes that do not begin with the mark of the byte order."""
        if self.encoding == "utf-8-sig":
            return "utf-8"
        if self.encoding in {"utf-16", "utf-32"}:
            with self.path.open("rb") as raw:
                mark = raw.read(2)
            return self.encoding + ("-be" if mark == codecs.BOM_UTF16_BE else "-le")
        return self.encoding


class Lines:
    """Every line of a file. One longer than 64 KiB comes in pieces, so that memory is bounded."""

    def __init__(self, file: TextFile) -> None:
        self._raw = file.path.open("rb")
        self._text = io.TextIOWrapper(
            self._raw, encoding=file.encoding, errors="replace", newline=""
        )

    def __iter__(self) -> Iterator[str]:
        """Yield line after line, ends of lines included."""
        readline = self._text.readline
        while line := readline(MOST_LINE):
            yield line

    def read_bytes(self) -> int:
        """Return how many bytes have been read, in steps of a block."""
        return 0 if self._raw.closed else self._raw.tell()

    def close(self) -> None:
        """Close the file."""
        self._text.close()


def open_text(path: Path, encoding: str | None) -> TextFile:
    """Return the file with its encoding, found out unless given. Raises FileRefused, OSError."""
    size = path.stat().st_size
    with path.open("rb") as raw:
        head = raw.read(HEAD_BYTES)
    if not head.strip(b"\x00\r\n\t \xef\xbb\xbf\xff\xfe"):
        problem = "the file is empty" if not head else "the file holds nothing but blanks"
        raise FileRefused(problem, "Export it from the logger again")
    if encoding is None:
        encoding = _encoding_of(head)
    else:
        try:
            head.decode(encoding, errors="replace")
        except LookupError:
            problem = f'"{encoding}" is no encoding that is known'
            raise FileRefused(
                problem, "Write encoding=utf-8, encoding=utf-16 or encoding=latin-1"
            ) from None
    return TextFile(path, encoding, size)


def _encoding_of(head: bytes) -> str:
    for mark, encoding in _BOMS:
        if head.startswith(mark):
            return encoding
    for mark, what, fix in _OTHERS:
        if head.startswith(mark):
            problem = f"the file is {what}, not a text"
            raise FileRefused(problem, fix)
    even, odd = head[0:4096:2], head[1:4096:2]
    if odd and odd.count(0) > len(odd) * 0.6 and even.count(0) < len(even) * 0.1:
        return "utf-16-le"
    if even and even.count(0) > len(even) * 0.6 and odd.count(0) < len(odd) * 0.1:
        return "utf-16-be"
    if head.count(0) > len(head) // 100 + 1:
        problem = "the file is no text: it is full of zero bytes"
        raise FileRefused(problem, "Export the readings as CSV")
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        # What a Western logger or spreadsheet writes; it has a character for every byte but five.
        return "cp1252"
    return "utf-8"


def _lines(text: str) -> list[str]:
    return list(itertools.islice(io.StringIO(text, newline=""), 20_000))
