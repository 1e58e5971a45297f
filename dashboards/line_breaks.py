"""Where long texts of a table may break, so that no word breaks anywhere else.

In: text as it came. Out: safe markup with the places marked.
"""

from __future__ import annotations

import re

from markupsafe import Markup, escape

from dashboards import words

LONGEST_WORD = 20  # letters: what has more may break wherever it must
PAPER_LETTERS = 40  # of a value as it came; the screen and the CSV have more of it


def write_text(text: str) -> Markup:
    """A text whose words stay whole, but for those that no column could hold; they are marked for paper."""
    if len(text) <= LONGEST_WORD or max(map(len, text.split()), default=0) <= LONGEST_WORD:
        return escape(text)
    start, *rest = re.split(rf"(?<=\S{{{LONGEST_WORD}}})(?=\S)", text)
    return escape(start) + (Markup('<wbr class="endless">') + Markup("<wbr>").join(escape(part) for part in rest) if rest else "")


def write_breaks(text: str) -> Markup:
    """A text that may break after /, _ and -, and after the commas of a record that was not split."""
    return Markup("<wbr>").join(write_text(part) for part in re.split(r"(?<=[/_,-])(?=.)", text))


def write_cut(value: str | None) -> Markup:
    """A value as it came: on paper no more of it than its column takes."""
    if not value:
        return Markup(words.NONE)
    start, rest = write_breaks(value[:PAPER_LETTERS]), write_breaks(value[PAPER_LETTERS:])
    return Markup('<span class="start">{}</span><span class="rest">{}</span>').format(start, rest) if rest else start


def write_long(value: str | None) -> Markup:
    """Sentences; a record that they quote may break before its tab marks, as it did at its tabs."""
    if not value:
        return Markup(words.NONE)
    return (
        Markup("<wbr>").join(write_text(part) for part in re.split(r"(?<=.)(?=\\t)", value))
        if "\\t" in value
        else write_text(value)
    )
