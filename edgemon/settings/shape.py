"""A parsed file against its schema: every wrong key and value is reported and left out, so that the rest can be checked too."""

import copy
import typing
from collections.abc import Collection, Iterator, Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report, nearest, shown, step, suggest

T = TypeVar("T", bound=BaseModel)

_WANTED = {
    "float_type": "a number",
    "finite_number": "a finite number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "list_type": "a list",
    "model_type": "a table",
}
_TABLE_ARRAYS = frozenset({"machine", "point", "limit", "level", "mask", "derived", "sensor", "area", "annunciator"})
_DELAYS = frozenset({"on_delay", "on_delay_s", "max_shelve_s"})


def fit(model: type[T], raw: Mapping[str, Any], report: Report, other: str = "", elsewhere: Collection[str] = ()) -> T:
    """Read parsed TOML into a schema model; what does not fit is reported, left out and takes its default.

    Parameters
    ----------
    model : type
        A model of `schema.py`, all of whose fields have defaults.
    raw : Mapping
        What the TOML parser gave; not changed.
    report : Report
        Takes one problem for each key or value that does not fit.
    other : str
        The file beside it.
    elsewhere : collection of str
        Keys that stand at the top of that one.
    """
    rest = copy.deepcopy(dict(raw))
    for path in list(_too_large(rest, ())):
        report.error(path, "is larger than any whole number of TOML", "64 bits, that is up to about 9.2e18")
        report.blame(path)
        _leave_out(rest, path)
    try:
        return model.model_validate(rest)
    except ValidationError as error:
        details = error.errors(include_url=False)
    for detail in details:
        path = tuple(detail["loc"])
        if detail["type"] == "extra_forbidden" and len(path) == 1 and path[0] in elsewhere:
            report.error(path, "does not stand in this file", f"move it to {other}")
            continue
        _tell(model, detail, rest, report)
    for path in sorted((tuple(detail["loc"]) for detail in details), key=len, reverse=True):
        _leave_out(rest, path)
    return model.model_validate(rest)


def _too_large(value: Any, path: KeyPath) -> Iterator[KeyPath]:
    """Find whole numbers beyond 64 bits, which the parser lets pass. Source: TOML v1.0.0, Integer."""
    if isinstance(value, dict):
        for key, part in value.items():
            yield from _too_large(part, (*path, key))
    elif isinstance(value, list):
        for number, part in enumerate(value):
            yield from _too_large(part, (*path, number))
    elif isinstance(value, int) and not -(2**63) <= value < 2**63:
        yield path


def _tell(model: type[BaseModel], detail: ErrorDetails, raw: dict[str, Any], report: Report) -> None:
    path: KeyPath = detail["loc"]
    if detail["type"] == "extra_forbidden":
        _tell_unknown(model, path, raw, report)
        return
    report.blame(path)
    name = str(path[-1])
    if detail["type"] == "literal_error":
        allowed = [value for value in _texts_in(detail.get("ctx", {}).get("expected", "")) if value]
        got = detail["input"]
        hint = suggest(got, allowed, "one of") if isinstance(got, str) else f"one of: {', '.join(allowed)}"
        report.error(path, f"must not be {_described(got)}", hint)
        return
    wanted = _WANTED.get(detail["type"])
    if wanted is None:
        report.error(path, detail["msg"], "")
        return
    if name in _DELAYS and wanted == "a table":
        wanted = "a number, or a table { alert = ..., alarm = ... }"
    hint = f"write [[{_dotted(path)}]] in double brackets" if wanted == "a list" and name in _TABLE_ARRAYS else ""
    report.error(path, f"must be {wanted}, not {_described(detail['input'])}", hint or _example(name, wanted, detail["input"]))


def _tell_unknown(model: type[BaseModel], path: KeyPath, raw: dict[str, Any], report: Report) -> None:
    """Report a key that the schema does not have, and which one was probably meant."""
    *around, key = path
    known = _keys_at(model, tuple(around))
    siblings = _at(raw, tuple(around))
    free = [name for name in known if name not in siblings]
    meant = nearest(str(key), free)
    if meant is not None:
        report.blame((*around, meant))  # otherwise it would be called missing on top
    report.error(path, f'unknown key "{shown(str(key))}"', suggest(str(key), known, "keys here"))


def _keys_at(model: type[BaseModel], path: KeyPath) -> list[str]:
    """List the keys that the schema has at a path."""
    for part in path:
        if isinstance(part, str) and part in model.model_fields:
            model = _model_in(model.model_fields[part].annotation) or model
    return list(model.model_fields)


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """Find the model in `list[Model]`, `Model | None` and the like."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in typing.get_args(annotation) if (found := _model_in(part)) is not None), None)


def _at(raw: Any, path: KeyPath) -> dict[str, Any]:
    """Give the table at a path; an empty one where there is none."""
    for part in path:
        raw = step(raw, part)
    return raw if isinstance(raw, dict) else {}


def _leave_out(raw: Any, path: KeyPath) -> None:
    """Take a value away: a key from its table; an element of tables becomes empty; any other element takes its list along."""
    *around, last = path
    holder = raw
    for part in around:
        try:
            holder = holder[part]
        except (KeyError, IndexError, TypeError):
            return  # gone with another one
    if isinstance(last, str) and isinstance(holder, dict):
        holder.pop(last, None)
    elif isinstance(last, int) and isinstance(holder, list) and around and around[-1] in _TABLE_ARRAYS:
        holder[last] = {}
    else:
        _leave_out(raw, tuple(around))


def _texts_in(expected: str) -> list[str]:
    """Take the allowed values from a message like `'alert' or 'alarm'`."""
    return expected.split("'")[1::2]


def _described(value: Any) -> str:
    """Say what was found instead."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'the text "{shown(value)}"'
    if isinstance(value, int | float):
        return f"{value:g}" if isinstance(value, float) else shown(str(value))
    if isinstance(value, dict):
        return "a table"
    return "a list" if isinstance(value, list) else "a date or time"


def _example(name: str, wanted: str, got: Any) -> str:
    """Show how the line would be right, where that is plain."""
    if isinstance(got, str) and wanted in {"a number", "a whole number"}:
        return f"write it without quotes: {name} = 1" if not got.strip("0123456789.+-") and got else f"{name} = 1"
    if wanted == "text in quotes":
        return 'a list of texts: ["...", "..."]' if name.isdigit() else f'{name} = "..."'
    return ""


def _dotted(path: KeyPath) -> str:
    return ".".join(part for part in path if isinstance(part, str))
