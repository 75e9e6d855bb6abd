"""Reads drawn figures back: where each text lies on the paper, and what it says."""

from __future__ import annotations

from typing import Any
from unittest import mock

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from floorfit.report.lettering import DrawnWord, Words


def texts(figure: Any) -> list[tuple[Text, Any]]:
    """Return every text that is really drawn, and its box in pixels."""
    drawn: list[Text] = []

    def noting(draw: Any) -> Any:
        def noted(artist: Text | Words, renderer: Any, *args: Any, **kwargs: Any) -> None:
            drawn.extend(map(artist.as_text, artist.words) if isinstance(artist, Words) else [artist])
            draw(artist, renderer, *args, **kwargs)

        return noted

    patches = [mock.patch.object(kind, "draw", noting(kind.draw)) for kind in (Text, Words)]
    canvas = FigureCanvasAgg(figure)
    with patches[0], patches[1]:
        canvas.draw()
    renderer = canvas.get_renderer()
    found = [text for text in dict.fromkeys(drawn) if text.get_visible() and text.get_text().strip()]
    return [(text, text.get_window_extent(renderer)) for text in found]


def overlaps(figure: Any, *, slack: float = 1.0) -> list[tuple[str, str]]:
    """Return the pairs of texts whose boxes cover each other by more than ``slack`` pixels both ways."""
    return overlapping(texts(figure), slack=slack)


def overlapping(boxes: list[tuple[Text, Any]], *, slack: float = 1.0) -> list[tuple[str, str]]:
    """Return the same of texts that were read already."""
    return [
        (a.get_text(), b.get_text())
        for k, (a, box_a) in enumerate(boxes)
        for b, box_b in boxes[:k]
        if min(box_a.x1, box_b.x1) - max(box_a.x0, box_b.x0) > slack
        and min(box_a.y1, box_b.y1) - max(box_a.y0, box_b.y0) > slack
    ]


def words_of(figure: Any) -> list[DrawnWord]:
    """Return all lines that were written, each home's in their order."""
    return [word for words in figure.findobj(Words) for word in words.words]


def with_gid(figure: Any, gid: str) -> list[str]:
    """Return the texts of one kind."""
    return [word.text for word in words_of(figure) if word.gid == gid]
