"""The words of pages and pictures: one catalogue for each language, in the gettext format.

English is the language of the source, so that its catalogue is empty. Files that machines read stay as they are: what
a run says in them (reasons, notes, findings) is found in the catalogue again when a page is made.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from string import Formatter

__all__ = ["ENGLISH", "LANGUAGES", "Language", "language", "marked", "messages"]

#: A number, or a place in parentheses.
_NUMBER = r"([-+(]*(?:\d|nan|inf).*?)"


@dataclass(frozen=True)
class Language:
    """A language of pages and pictures.

    Parameters
    ----------
    code : str
        ISO 639-1.
    decimal : {".", ","}
        Sign before the decimals (CLDR: "." in English, "," in German).
    texts : mapping of str to str
        English text to text in this language.
    """

    code: str = "en"
    decimal: str = "."
    texts: Mapping[str, str] = field(default_factory=dict)

    def words(self, text: str) -> str:
        """Return an English text in this language; itself where the catalogue lacks it."""
        return self.texts.get(text) or text

    def sentence(self, text: str, decimal: str = "") -> str:
        """Return what a run said in this language; itself where the catalogue lacks it.

        Parameters
        ----------
        text : str
            A reason, a note or a finding, filled in: a text of the catalogue with something in place of each ``{}``.
        decimal : str
            Sign before the decimals; that of the language where left out.

        Notes
        -----
        In a translation ``{0}`` is a name, which stays as it is, ``{0:n}`` a number or a place, ``{0:t}`` a text of the
        catalogue. A code before a colon is a text of its own. Of several that fit, the longest is taken.

        Examples
        --------
        >>> language("de").sentence("near-wall: 1.2 mm from the wall, the probe needs 3 mm. Read further from the wall")
        'zu nah an der Wand: 1,2 mm von der Wand, der Prüfkopf braucht 3 mm. Weiter weg von der Wand messen'
        """
        if text in self.texts:
            return self.texts[text]
        code, colon, words = text.partition(": ")
        if colon and code in self.texts:
            return f"{self.texts[code]}: {self.sentence(words, decimal)}"
        for template in self._templates:
            if found := template.pattern.fullmatch(text):
                pieces = found.groups()
                named = dict(zip(template.fields, pieces, strict=True))
                return _Filled(self, decimal or self.decimal).vformat(template.text, pieces, named)
        return text

    @cached_property
    def _templates(self) -> list[_Template]:
        made = [_Template.of(english, text) for english, text in self.texts.items() if "{" in english]
        return sorted(made, key=lambda one: -one.length)


@dataclass(frozen=True)
class _Template:
    """A text with fields: what finds it, its letters, the names of its fields, and its translation."""

    pattern: re.Pattern[str]
    length: int
    fields: tuple[str, ...]
    text: str

    @classmethod
    def of(cls, english: str, text: str) -> _Template:
        kinds = {name: kind for _, name, kind, _ in Formatter().parse(text)}
        pattern, length, fields = "", 0, list[str]()
        for words, name, *_ in Formatter().parse(english):
            pattern, length = pattern + re.escape(words), length + len(words)
            if name is not None:
                fields.append(name or str(len(fields)))
                pattern += _NUMBER if kinds.get(fields[-1]) == "n" else "(.*?)"
        return cls(re.compile(pattern, re.DOTALL), length, tuple(fields), text)


class _Filled(Formatter):
    """Fills pieces of an English sentence into its translation."""

    def __init__(self, language: Language, decimal: str) -> None:
        self.language, self.decimal = language, decimal

    def format_field(self, value: str, format_spec: str) -> str:
        if format_spec == "t":
            return self.language.sentence(value, self.decimal)
        is_comma = format_spec == "n" and self.decimal == ","
        return value.replace(",", ";").replace(".", ",") if is_comma else value


ENGLISH = Language()

#: Languages that are complete, with their decimal sign.
LANGUAGES = {"en": ".", "de": ","}


def marked(text: str) -> str:
    """Return a text as it is; marks a constant for the catalogue."""
    return text


@cache
def language(code: str) -> Language:
    """Return a language by its code.

    Parameters
    ----------
    code : str
        One of `LANGUAGES`.

    Raises
    ------
    KeyError
        If there is no such language.

    Examples
    --------
    >>> language("de").words("shift"), language("de").decimal
    ('Versatz', ',')
    """
    decimal = LANGUAGES[code]
    if code == ENGLISH.code:
        return ENGLISH
    from importlib.resources import files

    return Language(code, decimal, messages((files("floorfit.report") / "words" / f"{code}.po").read_text("utf-8")))


def messages(text: str) -> dict[str, str]:
    """Read a catalogue: ``msgid`` and ``msgstr`` with their quoted lines; comments are skipped.

    Parameters
    ----------
    text : str
        A PO file (GNU gettext manual, "The Format of PO Files") without plural forms and contexts.

    Returns
    -------
    dict
        Text to translation; the header is left out.
    """
    found: dict[str, str] = {}
    parts = {"msgid": "", "msgstr": ""}
    current = "msgid"
    for line in [*text.splitlines(), 'msgid ""']:
        word, _, rest = line.partition(" ")
        if word == "msgid" and parts["msgstr"]:
            found[parts["msgid"]] = parts["msgstr"]
            parts = {"msgid": "", "msgstr": ""}
        if word in parts:
            current, parts[word], line = word, "", rest
        if line.startswith('"'):
            parts[current] += ast.literal_eval(line)
    found.pop("", None)
    return found
