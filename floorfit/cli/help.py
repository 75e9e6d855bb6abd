"""How help is printed: prose fitted to the width of the terminal, indented lines (examples) as they stand."""

from __future__ import annotations

import argparse
import textwrap
from itertools import groupby

__all__ = ["HelpFormatter"]


class HelpFormatter(argparse.RawDescriptionHelpFormatter):
    """Wraps paragraphs of the description and of the text after the options; keeps lines that begin with a space."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        out: list[str] = []
        for is_prose, lines in groupby(text.splitlines(), key=lambda line: bool(line) and not line.startswith(" ")):
            part = list(lines)
            out += textwrap.wrap(" ".join(part), width) if is_prose and not part[0].endswith(":") else part
        return "\n".join(indent + line for line in out) + "\n"
