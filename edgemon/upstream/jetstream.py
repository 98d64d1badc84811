"""Items into a stream of NATS JetStream, each once and in order per subject, whatever happens on the way.

Ids alone do not do it: a stream forgets them after its duplicate window, and an outage may be longer. So three things hold:

- No message of a subject is sent before its neighbour was confirmed, unless all of a batch are kept or none is (atomic
  batches). The stream never has a later one of our messages without the earlier ones.
- Hence, wherever it is not known what the stream has (a new connection, a failure), the last message of a subject tells
  what of the waiting ones is there; a checksum in it says whether the same ones were sent before it.
- Each message says which sequence must be the last of its subject; one that was under way for long, or a second gateway
  of the same identity, cannot slip in between.

What newer ones overtook goes to subjects of its own, in which the same holds.

Ids alone protect, as long as the duplicate window, and the key in each message for ever: where a stream gives messages away
(work queues), where a gateway whose disk was lost hears old things once more, and where the store has meanwhile dropped the
beginning of a batch.

A body larger than the stream takes goes in pieces, `<key>/1of3` and so on, with a header `Edgemon-Part: 1/3`; they follow
each other. The account needs the rights to publish to `<stream>.>` and to `$JS.API.STREAM.INFO`, `.MSG.GET` and, if the stream
is to be made, `.CREATE`, each with `.<stream>`, and to subscribe to `_INBOX.>`.
"""

import uuid
from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from edgemon.errors import LinkDown, SettingsError
from edgemon.model.instant import Duration
from edgemon.model.upstream import Item, Upstream
from edgemon.upstream import jetstream_wire as wire
from edgemon.upstream.jetstream_setup import Stream, ready
from edgemon.upstream.jetstream_wire import Fate, Message
from edgemon.upstream.port import Refused

if TYPE_CHECKING:
    from edgemon.upstream.nats_client import Line

BATCH_MESSAGES = 1000
"""Source: nats-server's own limit of one atomic batch."""
BATCH_BYTES = 4 * 1024 * 1024
"""Bytes sent at once; a server holds a batch until it is complete. House choice."""
ANSWER_S: Duration = 5.0
"""House choice."""
TRIES = 5
"""How often a message may find another than expected before it."""


class NatsTransport:
    """Fulfils `port.Transport` for one upstream of kind NATS.

    Parameters
    ----------
    upstream : Upstream
        Its servers, and its stream.
    answer_s : float
        Longest wait for a connection, and for the next answer while any is due; an election of a new leader may take
        longer, then all is sent again.

    Raises
    ------
    SettingsError
        The library is not installed.
    """

    def __init__(self, upstream: Upstream, answer_s: Duration = ANSWER_S) -> None:
        if find_spec("nats") is None:
            where, hint = f"upstream[{upstream.name}].url", "pip install 'edgemon[nats]'"
            raise SettingsError("the library nats-py is not installed", where, hint)
        self._upstream = upstream
        self._answer_s = answer_s
        self._first = 0
        self._line: Line | None = None
        self._stream: Stream | None = None
        self._last: dict[str, int] = {}

    @property
    def server(self) -> str:
        """The stream: it confirms what a majority of its servers has, so that each may take another's place."""
        return self._upstream.into

    async def connect(self) -> None:
        """Connect to any of the servers; see that the stream is there."""
        if self._line is not None and self._line.is_up:
            return
        await self.close()
        server = self._upstream.server
        from edgemon.upstream.nats_client import Line  # its library comes with an extra

        trouble: LinkDown | None = None
        for _ in server.urls:
            try:
                self._line = await Line.open(server.urls[self._first], server, f"edgemon {self._upstream.name}", self._answer_s)
                self._stream = await ready(self._line, self._upstream.into, server.urls)
                return
            except LinkDown as error:
                trouble, self._first = error, (self._first + 1) % len(server.urls)
                await self.close()
        raise trouble or LinkDown("has no address", f"upstream {self._upstream.name}")

    async def send(self, items: Sequence[Item]) -> tuple[Refused, ...]:
        """Send; when it returns, the stream has all that is not named as refused."""
        await self.connect()
        assert self._line is not None
        assert self._stream is not None
        try:
            return await _Sending(self._line, self._stream, self._last).send(items)
        except BaseException:
            self._last.clear()  # what became of those under way is not known
            raise

    async def close(self) -> None:
        """Let go."""
        line, self._line, self._stream = self._line, None, None
        self._last.clear()
        if line is not None:
            await line.close()


class _Sending:
    """One batch on its way.

    Parameters
    ----------
    last : dict
        Subject -> sequence of its last message in the stream, where that is known.
    """

    def __init__(self, line: "Line", stream: Stream, last: dict[str, int]) -> None:
        self._line = line
        self._stream = stream
        self._last = last
        self._waiting: dict[str, deque[Message]] = {}
        """What is not confirmed, by subject; those without anything are not in it."""
        self._under_way: dict[int, str] = {}
        """Number of a question -> its subject."""
        self._tries: dict[str, int] = {}
        self._refused: list[Refused] = []

    async def send(self, items: Iterable[Item]) -> tuple[Refused, ...]:
        """Send, each message once whatever the stream has of them already."""
        order = self._queue(items)
        for subject in [one for one in self._waiting if one not in self._last]:
            await self._ask_last(subject)
        while self._under_way:
            subject, document = await self._answer()
            self._learn(subject, document)
        if self._stream.atomic and len(order) > 1:
            await self._in_batches(order)
        await self._one_by_one()
        return tuple(self._refused)

    def _queue(self, items: Iterable[Item]) -> list[Message]:
        found: dict[str, Message] = {}
        for item in items:
            messages = wire.messages_of(self._stream.name, item, self._stream.largest)
            if not messages:
                self._refused.append(Refused(item, f"its subject would be longer than {wire.LONGEST_SUBJECT} bytes"))
            for message in messages:
                found.setdefault(message.id, message)
        by_subject: dict[str, list[Message]] = {}
        for message in found.values():
            by_subject.setdefault(message.subject, []).append(message)
        self._waiting = {subject: deque(wire.in_runs(messages)) for subject, messages in by_subject.items()}
        marked = {message.id: message for messages in self._waiting.values() for message in messages}
        return [marked[name] for name in found]

    async def _in_batches(self, order: Iterable[Message]) -> None:
        """Send as much as is kept as a whole or not at all; what a batch fails for is found out one by one."""
        left = {message.id for waiting in self._waiting.values() for message in waiting}
        ahead = deque(message for message in order if message.id in left)
        while len(ahead) > 1:
            chunk = _chunk(ahead)
            number = await self._tell_batch(chunk)
            while (answer := await self._line.answer()).number != number:
                pass
            told = wire.verdict(answer.document)
            if answer.nobody or told.fate is not Fate.TAKEN or answer.document.get("count", 1) != len(chunk):
                for message in chunk:
                    self._last.pop(message.subject, None)
                return
            for at, message in enumerate(chunk, 1 - len(chunk)):
                self._taken(message.subject, told.sequence + at)

    async def _tell_batch(self, chunk: Sequence[Message]) -> int:
        name, told, number = uuid.uuid4().hex, set[str](), 0
        for at, message in enumerate(chunk, 1):
            after = None if message.subject in told else self._last.get(message.subject)
            told.add(message.subject)
            headers = message.headers(self._stream.name, after)
            if len(chunk) > 1:
                headers |= {wire.BATCH: name, wire.BATCH_NUMBER: str(at)}
            if at < len(chunk):
                await self._line.tell(message.subject, message.payload, headers)
                continue
            headers |= {wire.BATCH_END: "1"} if len(chunk) > 1 else {}
            number = await self._line.ask(message.subject, message.payload, headers)
        return number

    async def _one_by_one(self) -> None:
        """Send one of each subject at a time: the next when it is confirmed."""
        for subject in list(self._waiting):
            await self._next(subject)
        while self._under_way:
            subject, document = await self._answer()
            if subject not in self._last:
                self._learn(subject, document)
            else:
                self._judge(subject, document)
            await self._next(subject)

    async def _next(self, subject: str) -> None:
        if subject not in self._waiting:
            return
        if subject not in self._last:
            await self._ask_last(subject)
            return
        message = self._waiting[subject][0]
        headers = message.headers(self._stream.name, self._last[subject])
        self._under_way[await self._line.ask(subject, message.payload, headers)] = subject

    async def _ask_last(self, subject: str) -> None:
        question = wire.last_question(subject)
        self._under_way[await self._line.ask(f"$JS.API.STREAM.MSG.GET.{self._stream.name}", question)] = subject

    async def _answer(self) -> tuple[str, Mapping[str, Any]]:
        while True:
            answer = await self._line.answer()
            if subject := self._under_way.pop(answer.number, ""):
                if answer.nobody:
                    raise self._down(f"no stream takes {subject} now")
                return subject, answer.document

    def _learn(self, subject: str, document: Mapping[str, Any]) -> None:
        """Take in what the last message of a subject is."""
        found = wire.last_of(document)
        if isinstance(found, str):
            raise self._down(found)
        self._last[subject] = found.sequence
        self._left(subject, wire.unsent(self._waiting[subject], found))

    def _judge(self, subject: str, document: Mapping[str, Any]) -> None:
        told = wire.verdict(document)
        match told.fate:
            case Fate.TAKEN:
                self._taken(subject, told.sequence)
            case Fate.REPEATED:
                self._taken(subject, told.sequence)
                self._last.pop(subject)  # it may have been an earlier one
            case Fate.OVERTAKEN:
                self._last.pop(subject)
                self._tries[subject] = self._tries.get(subject, 0) + 1
                if self._tries[subject] > TRIES:
                    raise self._down(f"somebody else sends to {subject}; is there a second gateway of this name?")
            case Fate.UNKNOWN:
                raise self._down(told.why)

    def _taken(self, subject: str, sequence: int) -> None:
        self._last[subject] = sequence
        self._waiting[subject].popleft()
        if not self._waiting[subject]:
            del self._waiting[subject]

    def _left(self, subject: str, waiting: Iterable[Message]) -> None:
        self._waiting[subject] = deque(waiting)
        if not self._waiting[subject]:
            del self._waiting[subject]

    def _down(self, what: str) -> LinkDown:
        return LinkDown(what, f"stream {self._stream.name}")


def _chunk(ahead: deque[Message]) -> tuple[Message, ...]:
    """Take what goes in one batch off the beginning."""
    chunk = [ahead.popleft()]
    size = len(chunk[0].payload)
    while ahead and len(chunk) < BATCH_MESSAGES and size + len(ahead[0].payload) <= BATCH_BYTES:
        chunk.append(ahead.popleft())
        size += len(chunk[-1].payload)
    return tuple(chunk)
