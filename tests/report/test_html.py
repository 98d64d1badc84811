"""The page: well-formed, self-contained, and nothing that is written in it can become part of it."""

import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser

from edgemon.report import html
from edgemon.report.analyst import parse
from edgemon.report.port import Happening
from edgemon.report.view import document_of
from tests.report import making

VOID = {"meta", "br", "col", "hr", "img", "input", "link"}
HOSTILE = "</style></title><script>alert(1)</script><img src=x onerror=alert(1)> & \" ' ]]> {}"


class Reader(HTMLParser):
    """Keeps tags open and attributes seen; fails where a tag is closed that is not the last one opened."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_startendtag(tag, attrs)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


@cache
def usual() -> str:
    return html.render(document_of(making.material(0.0031)))


def test_the_page_is_well_formed_and_needs_nothing_from_outside() -> None:
    reader = read(usual())
    assert not {"script", "link", "iframe", "object", "embed", "img", "image"} & set(reader.tags)
    references = [(name, value) for name, value in reader.attributes if name in ("src", "href", "xlink:href", "action", "data")]
    assert references
    assert all(value.startswith("#") for _, value in references)
    assert not [name for name, _ in reader.attributes if name.startswith("on")]
    styles = [value for name, value in reader.attributes if name in ("style", "clip-path")]
    addresses = [address for style in styles for address in re.findall(r"url\(([^)]*)\)", style)]
    assert all(address.startswith("#") for address in addresses)


def test_ids_are_unique_and_every_reference_meets_one() -> None:
    page = usual()
    reader = read(page)
    ids = [value for name, value in reader.attributes if name == "id"]
    assert len(ids) == len(set(ids))
    wanted = {value[1:] for name, value in reader.attributes if name == "xlink:href"} | set(
        re.findall(r"url\(#([^)]*)\)", page)
    )
    assert wanted <= set(ids)


def test_hostile_names_stay_text() -> None:
    point = replace(making.point(), name=HOSTILE)
    made = making.material(0.0050)
    of_point = replace(made.points[0], point=point)
    event = making.late().event
    made = replace(
        made,
        site=HOSTILE,
        area=HOSTILE,
        machine=making.machine(point, name=HOSTILE),
        points=(of_point,),
        history=(Happening(event, HOSTILE),),
        analyst=parse(f"# {HOSTILE}\n{HOSTILE}\n\n# Verdict\n{HOSTILE}".encode(), HOSTILE),
        remarks=(HOSTILE,),
    )
    reader = read(html.render(document_of(made)))
    assert "script" not in reader.tags
    assert "img" not in reader.tags
    assert reader.tags.count("style") == 1 + sum(tag == "svg" for tag in reader.tags)
    assert HOSTILE in "".join(reader.text)


def test_simulated_data_is_marked_in_title_in_every_section_and_on_every_printed_page() -> None:
    page = html.render(document_of(making.material(sim=True)))
    sections = page.count("<section>")
    assert page.count('<div class="sim">') == sections
    assert "(SIMULATED)</title>" in page
    assert '@top-right { content: "SIMULATED DATA"' in page
    assert "SIMULATED" not in usual()


def test_the_same_material_gives_the_same_page() -> None:
    assert html.render(document_of(making.material(0.0031))) == usual()
