"""A report as one HTML file that needs nothing else: styles and pictures inside, no script, every text escaped."""

from collections.abc import Iterator
from html import escape

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
    Section,
    Table,
    Tone,
)
from edgemon.report.plots import TONES, svg
from edgemon.report.text import SIMULATED

_GROUNDS = {
    Tone.ALERT: "#fdf0e0",
    Tone.ALARM: "#fbe3e6",
    Tone.NO_DATA: "#edeaf6",
    Tone.NORMAL: "#e8f2ea",
    Tone.PLAIN: "#f2f2f2",
}
_STYLE = """
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { font: 10.5pt/1.45 "DejaVu Sans", "Liberation Sans", Arial, sans-serif; color: #1c1c1c; background: #fff;
  max-width: 190mm; margin: 0 auto; padding: 8mm 6mm; }
h1 { font-size: 19pt; line-height: 1.2; margin: 0 0 1mm; }
h2 { font-size: 13pt; margin: 9mm 0 3mm; padding-bottom: 1mm; border-bottom: 0.4mm solid #1a3a5c; break-after: avoid; }
h3 { font-size: 10.5pt; margin: 5mm 0 1.5mm; break-after: avoid; }
p { margin: 0 0 2mm; overflow-wrap: anywhere; }
.subtitle, footer { color: #555; font-size: 9pt; }
footer { margin-top: 10mm; border-top: 0.2mm solid #999; padding-top: 2mm; }
ul { margin: 0 0 2mm; padding-left: 6mm; }
li { margin-bottom: 0.8mm; overflow-wrap: anywhere; }
table { border-collapse: collapse; width: 100%; font-size: 8.5pt; margin: 1mm 0 3mm; table-layout: fixed; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
th { text-align: left; border-bottom: 0.3mm solid #444; padding: 1mm 1.5mm; vertical-align: bottom; }
td { border-bottom: 0.15mm solid #ccc; padding: 1mm 1.5mm; vertical-align: top; overflow-wrap: anywhere; }
.facts th { width: 42mm; border-bottom: 0.15mm solid #ccc; font-weight: 600; vertical-align: top; }
.banner { border-left: 2mm solid; padding: 3mm 4mm; margin: 2mm 0 4mm; break-inside: avoid; }
.banner .word { font-size: 15pt; font-weight: 700; margin: 0 0 1mm; }
.banner dl { margin: 2mm 0 0; display: grid; grid-template-columns: 36mm 1fr; row-gap: 1.2mm; }
.banner dt { font-weight: 600; } .banner dd { margin: 0; overflow-wrap: anywhere; }
figure { margin: 2mm 0 5mm; break-inside: avoid; }
figure svg { width: 100%; height: auto; display: block; }
figcaption { font-size: 8.5pt; color: #333; } figcaption b { color: #1c1c1c; }
.blank { display: flex; gap: 3mm; margin: 7mm 0 0; font-size: 9pt; color: #444; break-inside: avoid; }
.blank span { flex: 1; border-bottom: 0.2mm solid #444; }
.sim { background: #5b4a8a; color: #fff; font-weight: 700; text-align: center; padding: 1.2mm; letter-spacing: 0.04em;
  -webkit-print-color-adjust: exact; print-color-adjust: exact; }
@page { size: A4; margin: 18mm 12mm 15mm; font-family: "DejaVu Sans", "Liberation Sans", Arial, sans-serif;
  @bottom-right { content: counter(page) " / " counter(pages); font-size: 8pt; color: #555; } }
@media print {
  body { padding: 0; max-width: none; }
  .screen { display: none; }
  .banner, td { -webkit-print-color-adjust: exact; print-color-adjust: exact; }
}
"""


def render(document: Document) -> str:
    """Write the page."""
    parts = ['<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">']
    parts.append("<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">")
    parts.append('<meta name="viewport" content="width=device-width, initial-scale=1">')
    parts.append(f"<title>{_text(document)}</title><style>{_STYLE}{_page(document)}{_tones()}</style></head><body>")
    mark = f'<div class="sim">{SIMULATED}</div>' if document.sim else ""
    parts.append(f'<header><div class="screen">{mark}</div><h1>{escape(document.title)}</h1>')
    parts.append(f'<p class="subtitle">{escape(document.subtitle)}</p></header><main>')
    for number, section in enumerate(document.sections, start=1):
        parts.extend(_section(number, section, mark))
    parts.append(f"</main><footer>{escape(document.identity)}</footer></body></html>\n")
    return "\n".join(parts)


def _text(document: Document) -> str:
    return escape(f"{document.title}{' (SIMULATED)' if document.sim else ''}")


def _page(document: Document) -> str:
    """Head every printed page."""
    look = f"font-size: 8pt; font-weight: bold; color: {TONES[Tone.NO_DATA]};"
    mark = f"@top-right {{ content: {_string('SIMULATED DATA')}; {look} }}"
    head = f"@top-left {{ content: {_string(document.head)}; font-size: 7pt; color: #555; }}"
    return f"@page {{ {head} {mark if document.sim else ''} }}\n"


def _string(text: str) -> str:
    """Write a string of CSS in which nothing can end it: all but letters, digits and spaces as escapes.

    Notes
    -----
    Source: CSS Syntax Module Level 3, section 4.3.7 (six hexadecimal digits end an escape by themselves).
    """
    return (
        '"'
        + "".join(char if char.isascii() and (char.isalnum() or char == " ") else f"\\{ord(char):06x}" for char in text)
        + '"'
    )


def _tones() -> str:
    grounds = (f".{tone.value} {{ background: {_GROUNDS[tone]}; border-color: {TONES[tone]}; }}" for tone in Tone)
    return "\n".join((*grounds, *(f".{tone.value} .word {{ color: {TONES[tone]}; }}" for tone in Tone)))


def _section(number: int, section: Section, mark: str) -> Iterator[str]:
    yield f"<section><h2>{number}. {escape(section.title)}</h2>"
    yield f'<div class="screen">{mark}</div>' if mark and number > 1 else ""
    for index, block in enumerate(section.blocks, start=1):
        yield from _block(block, f"p{number}x{index}")
    yield "</section>"


def _block(block: Block, name: str) -> Iterator[str]:
    match block:
        case Paragraph(text=text, strong=strong):
            yield f"<p>{f'<strong>{escape(text)}</strong>' if strong else escape(text)}</p>"
        case Heading(text=text):
            yield f"<h3>{escape(text)}</h3>"
        case Bullets(items=items):
            yield "<ul>" + "".join(f"<li>{escape(item)}</li>" for item in items) + "</ul>"
        case Facts(rows=rows):
            cells = "".join(f'<tr><th scope="row">{escape(key)}</th><td>{escape(text)}</td></tr>' for key, text in rows)
            yield f'<table class="facts"><tbody>{cells}</tbody></table>'
        case Banner():
            yield from _banner(block)
        case Table():
            yield from _table(block)
        case Picture(plot=plot, title=title, caption=caption):
            picture = svg(plot, name).replace("<svg ", f'<svg role="img" aria-label="{escape(title)}" ', 1)
            yield f"<figure>{picture}<figcaption><b>{escape(title)}.</b> {escape(caption)}</figcaption></figure>"
        case Blanks(labels=labels):
            yield "".join(f'<div class="blank">{escape(label)}<span></span></div>' for label in labels)


def _banner(banner: Banner) -> Iterator[str]:
    yield f'<div class="banner {banner.tone.value}"><p class="word">{escape(banner.word)}</p>'
    yield f"<p>{escape(banner.sentence)}</p><dl>"
    yield "".join(f"<dt>{escape(key)}</dt><dd>{escape(text)}</dd>" for key, text in banner.rows)
    yield "</dl></div>"


def _table(table: Table) -> Iterator[str]:
    total = sum(table.widths)
    columns = "".join(f'<col style="width: {100.0 * width / total:.1f}%">' for width in table.widths)
    heads = "".join(f'<th scope="col">{escape(column)}</th>' for column in table.columns)
    yield f"<table><colgroup>{columns}</colgroup><thead><tr>{heads}</tr></thead><tbody>"
    tones = table.tones or (Tone.PLAIN,) * len(table.rows)
    for row, tone in zip(table.rows, tones, strict=True):
        kind = f' class="{tone.value}"' if tone is not Tone.PLAIN else ""
        yield f"<tr{kind}>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>"
    yield "</tbody></table>"
