"""Reads a report page back with a plain HTML parser: numbers, tags, text."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

#: Printed units in one unit of the record (mm, or a plain number). The inch is 25.4 mm exactly.
PER_MM = {"mm": 1.0, "in": 1 / 25.4, "1": 1.0, "1/100": 100.0}


@dataclass(frozen=True)
class Number:
    """A number on the page: its place in the record, the value kept with it, the text, its unit."""

    at: str
    value: float
    text: str
    unit: str


@dataclass
class Page(HTMLParser):
    """Tags with their attributes, numbers, and the text outside scripts and styles."""

    tags: list[tuple[str, dict[str, str | None]]] = field(default_factory=list)
    numbers: list[Number] = field(default_factory=list)
    words: list[str] = field(default_factory=list)
    data: str = ""

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self._open: dict[str, str | None] | None = None
        self._inside = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        attributes = dict(attrs)
        self.tags.append((tag, attributes))
        self._open = attributes if tag == "data" else None
        if tag in ("script", "style"):
            self._inside = "json" if attributes.get("type") == "application/json" else tag

    def handle_endtag(self, tag: str) -> None:
        self._open = None
        if tag in ("script", "style"):
            self._inside = ""

    def handle_data(self, data: str) -> None:
        if self._inside == "json":
            self.data += data
        if self._inside:
            return
        self.words.append(data)
        if self._open is not None:
            a = self._open
            self.numbers.append(Number(a["data-at"] or "", float(a["value"] or "nan"), data, a["data-unit"] or ""))

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def read_page(text: str) -> Page:
    page = Page()
    page.feed(text)
    page.close()
    return page


#: Words of English sentences that are none in German ("in", "was", "so" are both).
ENGLISH = set(
    re.findall(
        "[a-z]+",
        "and are at be but by each for from has have is it its lies may more no not of on one or other read reading "
        "readings than that the their them there they this to too two were which with",
    )
)


def english_left(html: str) -> set[str]:
    """English words in what a page says; commands, codes, names, and what it was made from do not count."""
    said = re.sub(r"<(pre|h1|title)\b.*?</\1>|<span class=\"code\">.*?</span>|`.*?`", "", html, flags=re.DOTALL)
    page = Page()
    page.feed(re.sub(r'<section class="groups".*?</section>', "", said, flags=re.DOTALL))
    return set(re.findall("[a-z]+", page.text.lower())) & ENGLISH
