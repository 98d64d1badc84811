"""A report as PDF by ReportLab: every page headed with machine, period and what is simulated, and numbered."""

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import matplotlib as mpl
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, Image, KeepTogether, PageTemplate, Spacer
from reportlab.platypus import Paragraph as Flowing
from reportlab.platypus import Table as Grid

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
    Tone,
)
from edgemon.report.plots import HEIGHT_IN, TONES, WIDTH_IN, png
from edgemon.report.text import SIMULATED

REGULAR, BOLD = "EdgemonSans", "EdgemonSans-Bold"
SIDE, TOP, BOTTOM = 15 * mm, 24 * mm, 16 * mm
WIDTH = A4[0] - 2 * SIDE
_GROUNDS = {
    Tone.ALERT: "#fdf0e0",
    Tone.ALARM: "#fbe3e6",
    Tone.NO_DATA: "#edeaf6",
    Tone.NORMAL: "#e8f2ea",
    Tone.PLAIN: "#f2f2f2",
}


def _style(name: str, size: float, **more: Any) -> ParagraphStyle:
    given = {"fontName": REGULAR, "leading": 1.35 * size, "spaceAfter": 2 * mm, "splitLongWords": 1, **more}
    return ParagraphStyle(name, fontSize=size, **given)


BODY = _style("body", 9.0)
STRONG = _style("strong", 9.0, fontName=BOLD)
SMALL = _style("small", 7.3, spaceAfter=0)
SMALL_BOLD = _style("small-bold", 7.3, fontName=BOLD, spaceAfter=0)
CAPTION = _style("caption", 7.3, spaceAfter=4 * mm, textColor=colors.HexColor("#333333"))
TITLE = _style("title", 17.0, fontName=BOLD, spaceAfter=1 * mm)
SUBTITLE = _style("subtitle", 8.5, textColor=colors.HexColor("#555555"), spaceAfter=3 * mm)
SECTION = _style("section", 12.0, fontName=BOLD, spaceBefore=5 * mm, spaceAfter=2.5 * mm, keepWithNext=1)
HEADING = _style("heading", 9.5, fontName=BOLD, spaceBefore=2 * mm, spaceAfter=1.5 * mm, keepWithNext=1)
BULLET = _style("bullet", 9.0, leftIndent=5 * mm, bulletIndent=1 * mm, spaceAfter=1 * mm)


def render(document: Document) -> bytes:
    """Write the file; the same document gives the same bytes.

    Returns
    -------
    bytes
        PDF, A4. A character that DejaVu Sans cannot show becomes U+FFFD, as it would be an empty box otherwise.
    """
    _fonts()
    out = io.BytesIO()
    template = BaseDocTemplate(
        out,
        pagesize=A4,
        invariant=1,
        title=f"{document.title}{' (SIMULATED)' if document.sim else ''}",
        subject=document.subtitle,
        author="",
        creator=document.identity,
    )
    frame = Frame(SIDE, BOTTOM, WIDTH, A4[1] - TOP - BOTTOM, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0)
    template.addPageTemplates([PageTemplate("page", [frame])])

    def canvas(*arguments: Any, **named: Any) -> Canvas:
        return _Numbered(document, *arguments, **named)

    template.build(list(_story(document)), canvasmaker=canvas)
    return out.getvalue()


def _fonts() -> None:
    folder = Path(mpl.get_data_path()) / "fonts" / "ttf"
    if REGULAR not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(REGULAR, str(folder / "DejaVuSans.ttf")))
        pdfmetrics.registerFont(TTFont(BOLD, str(folder / "DejaVuSans-Bold.ttf")))


def _safe(text: str) -> str:
    """Escape, and replace what the font has no glyph for."""
    known = pdfmetrics.getFont(REGULAR).face.charToGlyph
    return escape("".join(char if ord(char) in known else "�" for char in text))


class _Numbered(Canvas):  # type: ignore[misc]
    """Writes heads and numbers once it is known how many pages there are."""

    def __init__(self, document: Document, *arguments: Any, **named: Any) -> None:
        super().__init__(*arguments, **named)
        self._document = document
        self._kept: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802 - ReportLab's name
        """Keep the page until all are known."""
        self._kept.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        """Write all pages with their heads."""
        for number, page in enumerate(self._kept, start=1):
            self.__dict__.update(page)
            self._head(number, len(self._kept))
            super().showPage()
        super().save()

    def _head(self, number: int, count: int) -> None:
        self.setFont(REGULAR, 7.0)
        self.setFillColor(colors.HexColor("#555555"))
        self.drawString(SIDE, A4[1] - 10 * mm, _fitted(self._document.head, WIDTH - 25 * mm))
        self.drawRightString(A4[0] - SIDE, A4[1] - 10 * mm, f"page {number} of {count}")
        self.drawString(SIDE, 9 * mm, _fitted(self._document.identity, WIDTH))
        if self._document.sim:
            self.setFillColor(colors.HexColor(TONES[Tone.NO_DATA]))
            self.rect(SIDE, A4[1] - 19 * mm, WIDTH, 6 * mm, stroke=0, fill=1)
            self.setFillColor(colors.white)
            self.setFont(BOLD, 8.5)
            self.drawCentredString(A4[0] / 2, A4[1] - 17.2 * mm, SIMULATED)
        else:
            self.setStrokeColor(colors.HexColor("#999999"))
            self.setLineWidth(0.4)
            self.line(SIDE, A4[1] - 12.5 * mm, A4[0] - SIDE, A4[1] - 12.5 * mm)


def _fitted(text: str, width: float) -> str:
    known = pdfmetrics.getFont(REGULAR).face.charToGlyph
    text = "".join(char if ord(char) in known else "�" for char in text)
    while text and pdfmetrics.stringWidth(text, REGULAR, 7.0) > width:
        text = text[:-2] + "…" if len(text) > 2 else ""
    return text


def _story(document: Document) -> Iterator[Flowable]:
    yield Flowing(_safe(document.title), TITLE)
    yield Flowing(_safe(document.subtitle), SUBTITLE)
    for number, section in enumerate(document.sections, start=1):
        title = Flowing(f"{number}. {_safe(section.title)}", SECTION)
        heads: list[Flowable] = [title]
        for block, following in zip(section.blocks, (*section.blocks[1:], None), strict=True):
            if isinstance(block, Heading) or isinstance(following, Blanks):
                heads.extend(_block(block))
            elif isinstance(block, Picture | Blanks):
                yield KeepTogether([*heads, *_block(block)])
                heads = []
            else:
                yield from (*heads, *_block(block))
                heads = []
        yield from heads


def _block(block: Block) -> Iterator[Flowable]:
    match block:
        case Paragraph(text=text, strong=strong):
            yield Flowing(_safe(text), STRONG if strong else BODY)
        case Heading(text=text):
            yield Flowing(_safe(text), HEADING)
        case Picture():
            yield from _picture(block)
        case Bullets(items=items):
            yield from (Flowing(_safe(item), BULLET, bulletText="•") for item in items)
        case Facts(rows=rows):
            yield _facts(rows)
            yield Spacer(0, 3 * mm)
        case Banner():
            yield _banner(block)
            yield Spacer(0, 3 * mm)
        case Table():
            yield _table(block)
            yield Spacer(0, 3 * mm)
        case Blanks(labels=labels):
            yield from (_blank(label) for label in labels)


def _picture(picture: Picture) -> Iterator[Flowable]:
    yield Image(io.BytesIO(png(picture.plot)), WIDTH, WIDTH * HEIGHT_IN / WIDTH_IN)
    yield Flowing(f'<font name="{BOLD}">{_safe(picture.title)}.</font> {_safe(picture.caption)}', CAPTION)


def _facts(rows: tuple[tuple[str, str], ...]) -> Grid:
    cells = [[Flowing(_safe(key), SMALL_BOLD), Flowing(_safe(text), SMALL)] for key, text in rows]
    return Grid(cells, colWidths=[42 * mm, WIDTH - 42 * mm], style=[*_PADDING, *_RULES])


_PADDING: list[Any] = [
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 1.5 * mm),
    ("RIGHTPADDING", (0, 0), (-1, -1), 1.5 * mm),
    ("TOPPADDING", (0, 0), (-1, -1), 0.8 * mm),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.0 * mm),
]
_RULES: list[Any] = [("LINEBELOW", (0, 0), (-1, -1), 0.3, colors.HexColor("#cccccc"))]


def _banner(banner: Banner) -> Grid:
    tone = colors.HexColor(TONES[banner.tone])
    word = _style("word", 14.0, fontName=BOLD, textColor=tone, spaceAfter=0)
    body = _style("banner", 9.0, spaceAfter=0)
    rows: list[list[Any]] = [[Flowing(_safe(banner.word), word), ""], [Flowing(_safe(banner.sentence), body), ""]]
    rows += [
        [Flowing(_safe(key), _style("key", 9.0, fontName=BOLD, spaceAfter=0)), Flowing(_safe(text), body)]
        for key, text in banner.rows
    ]
    style = [
        ("SPAN", (0, 0), (1, 0)),
        ("SPAN", (0, 1), (1, 1)),
        ("BACKGROUND", (0, 0), (-1, -1), colors.HexColor(_GROUNDS[banner.tone])),
        ("LINEBEFORE", (0, 0), (0, -1), 5.0, tone),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 4 * mm),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.3 * mm),
    ]
    return Grid(rows, colWidths=[36 * mm, WIDTH - 36 * mm], style=style)


def _table(table: Table) -> Grid:
    total = sum(table.widths)
    rows = [[Flowing(_safe(column), SMALL_BOLD) for column in table.columns]]
    rows += [[Flowing(_safe(cell), SMALL) for cell in row] for row in table.rows]
    style = [*_PADDING, *_RULES, ("LINEBELOW", (0, 0), (-1, 0), 0.8, colors.HexColor("#444444"))]
    for index, tone in enumerate(table.tones, start=1):
        if tone is not Tone.PLAIN:
            style.append(("BACKGROUND", (0, index), (-1, index), colors.HexColor(_GROUNDS[tone])))
    return Grid(rows, colWidths=[WIDTH * width / total for width in table.widths], style=style, repeatRows=1)


def _blank(label: str) -> Grid:
    cells = [Flowing(_safe(label), SMALL), ""] if label else ["", ""]
    style = [
        ("LINEBELOW", (1, 0), (1, 0), 0.5, colors.HexColor("#444444")),
        ("LEFTPADDING", (0, 0), (0, 0), 0),
        ("VALIGN", (0, 0), (0, 0), "BOTTOM"),
    ]
    return Grid([cells], colWidths=[42 * mm, WIDTH - 42 * mm], rowHeights=[9 * mm], style=style)
