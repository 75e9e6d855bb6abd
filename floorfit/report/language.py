"""The words of pages and pictures: one catalogue for each language, in the gettext format.

English is the language of the source, so that its catalogue is empty. Files that machines read stay as they are.
"""

from __future__ import annotations

import ast
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

__all__ = ["ENGLISH", "LANGUAGES", "Language", "language", "marked", "messages"]


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
