"""A night sheet in words: one line that answers, then sections of lines, for every reader."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Item:
    """One thing in a section: what it is about, a mark of how grave, and what is said of it.

    `standing` is a word that the pages have a pattern for, "" for none. `todo` is what to do.
    `batch` is the code of the batch it is about, "" for none.
    """

    head: str
    lines: tuple[str, ...]
    standing: str = ""
    standing_words: str = ""
    todo: str = ""
    batch: str = ""


@dataclass(frozen=True, slots=True)
class Section:
    """A titled list. `name` is the same in every language; `nothing` stands where it is empty."""

    name: str
    title: str
    items: tuple[Item, ...]
    nothing: str


@dataclass(frozen=True, slots=True)
class SheetTold:
    """A whole sheet in words. `line` is at most 160 characters, `answer` the same in full."""

    line: str
    answer: str
    made: str
    sections: tuple[Section, ...]
    cautions: tuple[str, ...]
    note: str

    def as_text(self) -> str:
        """Return the sheet as plain text, as in a mail or a terminal."""
        lines = [self.answer, self.made]
        for section in self.sections:
            lines += ["", section.title.upper()]
            if not section.items:
                lines.append(section.nothing)
            for item in section.items:
                mark = f" [{item.standing_words}]" if item.standing_words else ""
                lines.append(f"- {item.head}{mark}")
                lines += [f"  {line}" for line in item.lines]
                if item.todo:
                    lines.append(f"  {item.todo}")
        if self.note:
            lines += ["", self.note]
        if self.cautions:
            lines += ["", *self.cautions]
        return "\n".join(lines)
