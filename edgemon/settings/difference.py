"""What differs between two readings of the settings, key by key, in the words and units of the files."""

from collections.abc import Iterator, Mapping
from typing import Any

from edgemon.settings.problem import name_of, shown

_NOTHING = object()


def differences(before: Mapping[str, Any], now: Mapping[str, Any]) -> tuple[str, ...]:
    """List the keys that differ.

    Parameters
    ----------
    before, now : mapping
        File name -> parsed TOML. No secret stands in a settings file: passwords are in files of their own.

    Returns
    -------
    tuple of str
        `plant.toml: machine[hp-pump-1].point[motor-de-h].limit[velocity_rms].alert: 2.8, before 2.5`; elements of arrays are
        told apart by their id, level or name, so that one more machine does not change the others.
    """
    old, new = dict(_leaves(before, "")), dict(_leaves(now, ""))
    pairs = ((key, old.get(key, _NOTHING), new.get(key, _NOTHING)) for key in sorted({*old, *new}))
    return tuple(_words(key, was, is_now) for key, was, is_now in pairs if was != is_now or type(was) is not type(is_now))


def _words(key: str, before: Any, now: Any) -> str:
    if now is _NOTHING:
        return f"{key}: taken out, before {shown(repr(before))}"
    was = "not set" if before is _NOTHING else shown(repr(before))
    return f"{key}: {shown(repr(now))}, before {was}"


def _leaves(here: Any, path: str) -> Iterator[tuple[str, Any]]:
    """Give every value that is no table, with its path."""
    if isinstance(here, Mapping):
        for key, value in here.items():
            yield from _leaves(value, _below(path, shown(key)))
    elif isinstance(here, list) and any(isinstance(one, Mapping) for one in here):
        seen: dict[str, int] = {}
        for number, one in enumerate(here, 1):
            name = name_of(one) or f"#{number}"
            seen[name] = seen.get(name, 0) + 1
            yield from _leaves(one, f"{path}[{name}]" if seen[name] == 1 else f"{path}[{name} #{seen[name]}]")
    else:
        yield path, here


def _below(path: str, key: str) -> str:
    """Write the path of a key: the file's name, a colon, then keys with points between them."""
    if not path:
        return f"{key}:"
    return f"{path} {key}" if path.endswith(":") else f"{path}.{key}"
