"""The door: material in, a file's content out, in the format asked for."""

from enum import StrEnum

from edgemon.errors import EdgemonError
from edgemon.report import text
from edgemon.report.port import Material
from edgemon.report.view import document_of


class Format(StrEnum):
    """What a report can be."""

    HTML = "html"
    PDF = "pdf"
    TEXT = "txt"


def write(material: Material, kind: Format) -> bytes:
    """Make the report.

    Parameters
    ----------
    material : Material
        What was collected.
    kind : Format
        HTML and PDF need the libraries of the extra `report`, plain text needs none.

    Raises
    ------
    EdgemonError
        A library is not installed.
    """
    document = document_of(material)
    if kind is Format.TEXT:
        return text.render(document).encode()
    try:
        if kind is Format.PDF:
            from edgemon.report import pdf  # the libraries come with an extra, and take a second to load

            return pdf.render(document)
        from edgemon.report import html

        return html.render(document).encode()
    except ModuleNotFoundError as error:
        raise EdgemonError(
            f"{error.name} is not installed", f"report as {kind.value}", "pip install 'edgemon[report]', or --format txt"
        ) from error
