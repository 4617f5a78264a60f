"""A page as a reader without eyes has it: its tables cell by cell, its headings, its text, by Python's own parser."""

from html.parser import HTMLParser

VOID = {"meta", "br", "link", "img", "input", "hr"}


class Page(HTMLParser):
    """Reads one HTML document.

    Attributes:
        tables: by name, or the id of their heading, rows of cells; the first row is the heads.
        headings: level and text.
        tags: every element that was opened.
        text: all text but that of style.
    """

    def __init__(self, document: str) -> None:
        super().__init__()
        self.tables: list[tuple[str, list[list[str]]]] = []
        self.headings: list[tuple[int, str]] = []
        self.tags: list[str] = []
        self.text: list[str] = []
        self.title = ""
        self.style = ""
        self.ids: list[str] = []
        self.addresses: list[str] = []
        self._open: list[str] = []
        self.feed(document)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        keys = dict(attrs)
        self.tags.append(tag)
        self.addresses += [str(keys[key]) for key in ("href", "src", "xlink:href") if key in keys]
        assert not any(key.startswith("on") for key in keys)
        if "id" in keys:
            self.ids.append(str(keys["id"]))
        if tag == "table":
            self.tables.append((str(keys.get("aria-labelledby") or keys["aria-label"]), []))
        elif tag == "tr":
            self.tables[-1][1].append([])
        elif tag in ("th", "td"):
            self.tables[-1][1][-1].append("")
        elif tag in ("h1", "h2", "h3", "h4"):
            self.headings.append((int(tag[1]), ""))
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.handle_endtag(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag, tag

    def handle_data(self, data: str) -> None:
        if "style" in self._open:
            self.style += data
            return
        if self._open[-1:] == ["title"] and "svg" not in self._open:
            self.title += data
        self.text.append(data)
        if {"th", "td"} & set(self._open):
            self.tables[-1][1][-1][-1] += data
        for tag in self._open:
            if tag in ("h1", "h2", "h3", "h4"):
                level, text = self.headings[-1]
                self.headings[-1] = level, text + data

    def of(self, name: str) -> list[list[str]]:
        """The rows of the table with a name, or with a heading of that id, each cell without spaces round it."""
        found = [rows for label, rows in self.tables if label == name]
        assert len(found) == 1, (name, [label for label, _ in self.tables])
        return [[cell.strip() for cell in row] for row in found[0]]
