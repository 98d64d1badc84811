"""The PDF: pages, heads, text."""

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from edgemon.model.alarm import AlarmState
from edgemon.model.limit import Severity
from edgemon.report import pdf
from edgemon.report.port import Happening, Material
from edgemon.report.view import document_of
from tests.report import making

PDFTOTEXT = shutil.which("pdftotext")


def pages_of(made: Material, folder: Path) -> list[str]:
    """Read the text of every page by another program."""
    file = folder / "report.pdf"
    file.write_bytes(pdf.render(document_of(made)))
    assert PDFTOTEXT is not None
    told = subprocess.run([PDFTOTEXT, "-layout", str(file), "-"], check=True, capture_output=True, text=True)
    return told.stdout.split("\f")[:-1]


def test_the_same_material_gives_the_same_bytes() -> None:
    first = pdf.render(document_of(making.material()))
    assert first.startswith(b"%PDF-")
    assert first == pdf.render(document_of(making.material()))


def test_odd_names_break_nothing() -> None:
    name = "<b>&amp; \N{CJK UNIFIED IDEOGRAPH-6CF5} Насос " + "x" * 400
    made = replace(making.material(), machine=making.machine(making.point(), name=name), site=name, remarks=(name,))
    assert pdf.render(document_of(made)).startswith(b"%PDF-")


def test_more_history_than_a_page_holds_goes_on() -> None:
    many = tuple(changed(k) for k in range(80))
    content = pdf.render(document_of(making.material(history=many)))
    assert len(re.findall(rb"/Type /Page\b(?!s)", content)) >= 4


def changed(k: int) -> Happening:
    return making.changed("RAISED", AlarmState.UNACK, Severity.ALERT, making.SINCE + 60.0 * k)


@pytest.mark.live
@pytest.mark.skipif(PDFTOTEXT is None, reason="pdftotext is not installed: apt-get install poppler-utils")
def test_every_page_is_headed_numbered_and_marked_where_simulated(tmp_path: Path) -> None:
    pages = pages_of(making.material(0.0050, sim=True), tmp_path)
    assert len(pages) >= 3
    for number, page in enumerate(pages, start=1):
        assert "Saltmarsh Desalination Works · High-pressure pump 1 · 2026-02-23 06:30:00 to 2026-03-02 06:30:00 UTC" in page
        assert f"page {number} of {len(pages)}" in page
        assert "SIMULATED DATA - NOT A REAL MACHINE" in page
    assert "Alarm: above the alarm limit" in pages[0]
    assert "By when" in pages[0]
    assert "Signature" in pages[-1]


@pytest.mark.live
@pytest.mark.skipif(PDFTOTEXT is None, reason="pdftotext is not installed: apt-get install poppler-utils")
def test_real_data_carries_no_mark_and_text_survives(tmp_path: Path) -> None:
    pages = pages_of(making.material(), tmp_path)
    whole = "\n".join(pages)
    assert "SIMULATED" not in whole
    assert "m/s²" in whole
    assert "61.0 °C" in whole
