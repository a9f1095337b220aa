"""In which line of a TOML text each key stands. The text has been read by tomllib before: it is valid."""

from __future__ import annotations

from dataclasses import dataclass, field

Path = tuple[str | int, ...]


@dataclass
class _Reader:
    """A cursor over valid TOML that notes where keys and elements begin."""

    text: str
    at: int = 0
    lines: dict[Path, int] = field(default_factory=dict)
    counts: dict[Path, int] = field(default_factory=dict)

    def line(self) -> int:
        return self.text.count("\n", 0, self.at) + 1

    def more(self) -> bool:
        return self.at < len(self.text)

    def skip(self, blanks: str = " \t\r\n,") -> None:
        """Past blanks and comments."""
        while self.more():
            if self.text[self.at] == "#":
                end = self.text.find("\n", self.at)
                self.at = len(self.text) if end < 0 else end
            elif self.text[self.at] in blanks:
                self.at += 1
            else:
                return

    def string(self) -> str:
        """Past a quoted text, whichever of the four kinds; the text without its quotes."""
        quote = self.text[self.at]
        mark = quote * 3 if self.text.startswith(quote * 3, self.at) else quote
        start = self.at = self.at + len(mark)
        while not self.text.startswith(mark, self.at):
            self.at += 2 if quote == '"' and self.text[self.at] == "\\" else 1
        end = self.at
        self.at += len(mark)
        while len(mark) == 3 and self.more() and self.text[self.at] == quote:
            self.at += 1
        return self.text[start:end]

    def key(self) -> Path:
        """A dotted key."""
        names: list[str] = []
        while self.more():
            self.skip(" \t")
            if self.text[self.at] in "\"'":
                names.append(self.string())
            else:
                start = self.at
                while self.text[self.at].isalnum() or self.text[self.at] in "-_":
                    self.at += 1
                names.append(self.text[start : self.at])
            self.skip(" \t")
            if not self.more() or self.text[self.at] != ".":
                break
            self.at += 1
        return tuple(names)

    def value(self, path: Path) -> None:
        """Past one value, noting the keys and elements inside it."""
        self.lines.setdefault(path, self.line())
        mark = self.text[self.at]
        if mark in "\"'":
            self.string()
        elif mark in "[{":
            self.inside(path, mark)
        else:
            while self.more() and self.text[self.at] not in ",]}#\n":
                self.at += 1

    def inside(self, path: Path, mark: str) -> None:
        """Past an array or an inline table."""
        self.at += 1
        number = 0
        self.skip()
        while self.text[self.at] not in "]}":
            if mark == "[":
                self.value((*path, number))
                number += 1
            else:
                self.pair(path)
            self.skip()
        self.at += 1

    def pair(self, table: Path) -> None:
        """Past `key = value`."""
        line = self.line()
        path = (*table, *self.key())
        for n in range(len(table) + 1, len(path) + 1):
            self.lines.setdefault(path[:n], line)
        self.at += 1
        self.skip(" \t")
        self.value(path)

    def header(self) -> Path:
        """Past `[table]` or `[[array of tables]]`; the table that the following keys belong to."""
        many = self.text.startswith("[[", self.at)
        line = self.line()
        self.at += 2 if many else 1
        names = self.key()
        self.at += 2 if many else 1
        path: Path = ()
        for n, name in enumerate(names):
            path = (*path, name)
            self.lines.setdefault(path, line)
            if many and n == len(names) - 1:
                self.counts[path] = self.counts.get(path, -1) + 1
            if path in self.counts:
                path = (*path, self.counts[path])
                self.lines.setdefault(path, line)
        return path


def lines_of(text: str) -> dict[Path, int]:
    """Line (from 1) of each key and array element of a valid TOML text."""
    reader = _Reader(text.replace("\r\n", "\n"))
    table: Path = ()
    reader.skip()
    while reader.more():
        if reader.text[reader.at] == "[":
            table = reader.header()
        else:
            reader.pair(table)
        reader.skip()
    return reader.lines
