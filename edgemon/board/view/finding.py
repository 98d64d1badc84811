"""What is looked for in the journal, as a line of text: `kind:`, `machine:`, `by:` and `last:` narrow it, all else is words."""

from dataclasses import dataclass

from edgemon.errors import ParameterError
from edgemon.model.event import EVENT_OF
from edgemon.model.instant import Instant
from edgemon.model.search import EVERYTHING, Search
from edgemon.model.snapshot import JournalView

UNITS_S = {"h": 3600.0, "d": 86_400.0, "w": 7 * 86_400.0}
FORMS = "words, kind:alarm, machine:ID, by:NAME, last:8h or 7d or 2w"
_LONGEST_S = 100 * 366 * 86_400.0


@dataclass(frozen=True, slots=True)
class Sought:
    """What the daemon is asked for, and the words that an entry's text must hold besides."""

    search: Search = EVERYTHING
    words: tuple[str, ...] = ()

    def is_met(self, entry: JournalView) -> bool:
        """Say whether all the words stand in an entry, large or small."""
        text = entry.text.casefold()
        return all(word in text for word in self.words)


def sought(text: str, now: Instant) -> Sought:
    """Read what is looked for. Raises `ParameterError` where a part of it means nothing."""
    words: list[str] = []
    kinds: list[str] = []
    machine = person = since = None
    for part in text.split():
        name, colon, value = part.partition(":")
        if not colon or name not in ("kind", "machine", "by", "last"):
            words.append(part.casefold())
        elif not value:
            raise ParameterError(f"{part} needs something after it", "search", FORMS)
        elif name == "kind":
            kinds += _kinds(value)
        elif name == "machine":
            machine = value
        elif name == "by":
            person = value
        else:
            since = now - _span(value)
    return Sought(Search(since=since, kinds=tuple(kinds), machine=machine, person=person), tuple(words))


def _kinds(value: str) -> list[str]:
    found = [kind for kind in EVENT_OF if value.casefold() in kind]
    if not found:
        raise ParameterError(f"no kind of entry holds {value!r}", "search", f"known are {', '.join(EVENT_OF)}")
    return found


def _span(value: str) -> float:
    count, unit = value[:-1], value[-1:]
    if not (count.isascii() and count.isdigit() and unit in UNITS_S and len(count) <= 5):
        raise ParameterError(f"last:{value} is no span", "search", "as last:8h, last:7d, last:2w")
    return min(int(count) * UNITS_S[unit], _LONGEST_S)
