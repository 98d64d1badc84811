"""The analyst's text: plain text with `# headings`, `- ` items and paragraphs apart by empty lines; pure."""

from edgemon.errors import SettingsError
from edgemon.model.text import clean
from edgemon.report.port import Analyst

LARGEST = 200_000
"""Bytes; about sixty printed pages. Longer is not remarks but another file."""
LONGEST_LINE = 20_000


def parse(content: bytes, path: str) -> Analyst:
    """Read the analyst's text.

    Parameters
    ----------
    content : bytes
        UTF-8. `# Verdict`, `# Recommendation` and `# By when` come first in the report; `# Sign-off` comes last;
        every other heading keeps its place between them.
    path : str
        Where it came from, for messages and for the report.

    Raises
    ------
    SettingsError
        Too large, or not UTF-8; names the file and the line.
    """
    if len(content) > LARGEST:
        raise SettingsError(
            f"is {len(content)} bytes; at most {LARGEST} are taken in", path, "keep long texts beside the report"
        )
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        number = content[: error.start].count(b"\n") + 1
        raise SettingsError("is not UTF-8 text", f"{path}:{number}", "save it as UTF-8") from error
    parts: list[tuple[str, list[str]]] = [("", [])]
    joined = False
    for raw in text.replace("\r\n", "\n").split("\n"):
        line = clean(raw.replace("\t", " "), LONGEST_LINE).strip()
        if line.startswith("#"):
            parts.append((line.lstrip("#").strip(), []))
            joined = False
        elif not line:
            joined = False
        elif line.startswith(("- ", "* ")):
            parts[-1][1].append(f"- {line[2:].strip()}")
            joined = True
        elif joined:
            parts[-1][1][-1] += f" {line}"
        else:
            parts[-1][1].append(line)
            joined = True
    return Analyst(path, tuple((heading, tuple(texts)) for heading, texts in parts if heading or texts))
