"""A report as plain text, for a terminal, a message or a test: words and tables; of the pictures title and caption."""

import textwrap
from collections.abc import Iterator

from edgemon.report.document import (
    Banner,
    Blanks,
    Block,
    Bullets,
    Document,
    Facts,
    Heading,
    Paragraph,
    Picture,
    Table,
)

WIDTH = 100
SIMULATED = "SIMULATED DATA - NOT A REAL MACHINE"


def render(document: Document) -> str:
    """Write all of it."""
    lines = [SIMULATED, ""] if document.sim else []
    lines += [document.title, document.subtitle, ""]
    for number, section in enumerate(document.sections, start=1):
        title = f"{number}. {section.title}"
        lines += [title, "=" * len(title)]
        for block in section.blocks:
            lines += [*_lines(block), ""]
    return "\n".join([*lines, document.identity, ""])


def _lines(block: Block) -> Iterator[str]:
    match block:
        case Paragraph(text=text):
            yield from textwrap.wrap(text, WIDTH)
        case Heading(text=text):
            yield from (text, "-" * len(text))
        case Bullets(items=items):
            for item in items:
                yield from textwrap.wrap(item, WIDTH, initial_indent="- ", subsequent_indent="  ")
        case Facts(rows=rows):
            yield from _facts(rows)
        case Banner(word=word, sentence=sentence, rows=rows):
            yield word.upper()
            yield from textwrap.wrap(sentence, WIDTH)
            yield from _facts(rows)
        case Table(columns=columns, rows=rows):
            yield " | ".join(columns)
            yield from (" | ".join(row) for row in rows)
        case Picture(title=title, caption=caption):
            yield from textwrap.wrap(f"[{title}] {caption}", WIDTH)
        case Blanks(labels=labels):
            yield from (f"{label + ': ' if label else ''}{'_' * 40}" for label in labels)


def _facts(rows: tuple[tuple[str, str], ...]) -> Iterator[str]:
    for name, text in rows:
        yield from textwrap.wrap(f"{name}: {text}", WIDTH, subsequent_indent="    ")
