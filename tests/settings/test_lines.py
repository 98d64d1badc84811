"""The line finder against hand-counted files, and against the standard library's parser on generated ones."""

import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.settings.lines import KeyPath, find_lines

SHAPES: dict[str, tuple[str, dict[KeyPath, int]]] = {
    "pairs": ("a = 1\n\n# c = 3\nb = 2\n", {("a",): 1, ("b",): 4}),
    "table": ("[a]\nx = 1\n[b]\nx = 2\n", {("a",): 1, ("a", "x"): 2, ("b",): 3, ("b", "x"): 4}),
    "array of tables": (
        "[[m]]\nid = 1\n\n[[m]]\nid = 2\n",
        {("m",): 1, ("m", 0): 1, ("m", 0, "id"): 2, ("m", 1): 4, ("m", 1, "id"): 5},
    ),
    "nested arrays of tables": (
        "[[m]]\n[[m.p]]\nx = 1\n[[m.p]]\nx = 2\n[[m]]\n[[m.p]]\nx = 3\n",
        {("m", 0, "p", 0, "x"): 3, ("m", 0, "p", 1, "x"): 5, ("m", 1, "p", 0, "x"): 8},
    ),
    "table under the newest element": ("[[m]]\n[[m]]\n[m.t]\nx = 1\n", {("m", 1, "t"): 3, ("m", 1, "t", "x"): 4}),
    "dotted keys": ("a.b.c = 1\na.d = 2\n", {("a",): 1, ("a", "b", "c"): 1, ("a", "d"): 2}),
    "dotted keys with spaces": ("a . b = 1\n[ c . d ]\ne = 1\n", {("a", "b"): 1, ("c", "d", "e"): 3}),
    "quoted keys": ('"a.b" = 1\n\'c d\' = 2\n"e\\"f".g = 3\n', {("a.b",): 1, ("c d",): 2, ('e"f', "g"): 3}),
    "escaped key": ('"\\u0061" = 1\n', {("a",): 1}),
    "quoted header": ('[a."b.c]"]\nx = 1\n', {("a", "b.c]", "x"): 2}),
    "inline table": ("\nb = { x = 1, y = { z = 2 } }\nc = 3\n", {("b", "x"): 2, ("b", "y", "z"): 2, ("c",): 3}),
    "array over lines": ("a = [\n 1, # one ]\n 2,\n]\nb = 1\n", {("a", 0): 2, ("a", 1): 3, ("b",): 5}),
    "inline tables in an array": (
        "l = [\n {x = 1},\n {x = 2, y = [\n  3]},\n]\n",
        {("l", 0, "x"): 2, ("l", 1, "x"): 3, ("l", 1, "y", 0): 4},
    ),
    "multi-line string": ('a = """\n[x]\nb = 1\n"""\nb = 2\n', {("a",): 1, ("b",): 5}),
    "multi-line literal": ("a = '''\n[x] \\\nb = 1'''\nb = 2\n", {("a",): 1, ("b",): 4}),
    "quotes before the closing three": ('a = """x"""""\nb = 2\n', {("b",): 2}),
    "escaped quote": ('a = "x\\"] = #"\nb = 2\n', {("b",): 2}),
    "literal backslash": ("a = 'x\\'\nb = 2\n", {("b",): 2}),
    "hash in a string": ('a = "# no comment"  # comment "\nb = 2\n', {("b",): 2}),
    "comment after header": ("[a] # [b]\nx = 1\n", {("a", "x"): 2}),
    "indented": ("  [a]\n\t x = 1\n", {("a", "x"): 2}),
    "windows line ends": ("a = 1\r\n[b]\r\nc = 2\r\n", {("b",): 2, ("b", "c"): 3}),
    "no last line end": ("a = 1\n[b]", {("a",): 1, ("b",): 2}),
    "dates and floats": ("a = 1979-05-27 07:32:00Z\nb = 1e3\nc = inf\n", {("b",): 2, ("c",): 3}),
    "empty containers": ("a = []\nb = {}\nc = \"\"\nd = ''\ne = 1\n", {("e",): 5}),
}


@pytest.mark.parametrize("name", SHAPES)
def test_every_shape_of_toml_gives_the_line_a_person_counts(name: str) -> None:
    text, expected = SHAPES[name]
    tomllib.loads(text)  # the shape is valid TOML
    lines = find_lines(text)
    assert {path: lines.of(path) for path in expected} == expected


def test_a_key_that_is_not_there_stands_where_its_table_stands() -> None:
    lines = find_lines("[a]\nx = 1\n\n[b]\n")
    assert lines.of(("b", "missing", "deeper")) == 4
    assert lines.of(("nowhere",)) == 1


_KEYS = st.text("abc.]['\"# =é", min_size=1, max_size=4)
_SCALARS = st.one_of(
    st.integers(-9, 9).map(str),
    st.booleans().map(lambda value: str(value).lower()),
    st.text("ab#]}[,=' \n", max_size=6).map(lambda text: '"""' + text.replace('"', "") + '"""'),
    st.text("ab#]}[,= \\", max_size=6).map(lambda text: f"'{text}'"),
)
_VALUES = st.recursive(
    _SCALARS,
    lambda inner: st.lists(inner, max_size=3).map(lambda parts: "[\n" + ",\n".join(parts) + "\n]"),
    max_leaves=4,
)


def _quoted(key: str) -> str:
    return '"' + key.replace('"', '\\"') + '"'


@given(st.lists(st.tuples(_KEYS, st.dictionaries(_KEYS, _VALUES, max_size=3)), max_size=4))
def test_every_key_the_parser_sees_is_found_on_the_line_where_it_was_written(tables: list[tuple[str, dict[str, str]]]) -> None:
    text = ""
    written: dict[tuple[str, int, str], int] = {}
    for number, (name, pairs) in enumerate(tables):
        text += f"[[top.{_quoted(name)}]]\n"
        index = sum(other == name for other, _ in tables[:number])
        for key, value in pairs.items():
            written[name, index, key] = text.count("\n") + 1
            text += f"{_quoted(key)} = {value}\n"
    parsed: dict[str, Any] = tomllib.loads(text)
    lines = find_lines(text)
    for (name, index, key), line in written.items():
        assert key in parsed["top"][name][index]
        assert lines.of(("top", name, index, key)) == line


@given(st.text("ab[]{}=.\"'#\n\\, 1", max_size=40))
def test_no_text_at_all_makes_the_scanner_fail_or_hang(text: str) -> None:
    assert find_lines(text).of(("a",)) >= 1
