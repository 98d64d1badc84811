"""One connection to one NATS server. The library is kept from doing anything by itself: no reconnecting, no endless waits.

Answers are sorted by a number in the inbox of each question, because the library's own asynchronous publishing loses
answers that are errors (nats-py 2.16: `APIError.from_error` raises where its caller expects a value).
"""

import asyncio
import json
import ssl
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import nats.errors
from nats.aio.client import Client
from nats.aio.msg import Msg

from edgemon.errors import LinkDown
from edgemon.model.instant import Duration
from edgemon.model.text import clean
from edgemon.model.upstream import Server
from edgemon.tls import make_context, trouble_words

CLOSE_S: Duration = 1.0
PING_S = 20
"""House choices; short against the wait before the next try."""
ANSWERS = 20_000
"""Answers that may lie unread: twice what can be under way. House choice."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back to a question."""

    number: int
    """Of the question."""
    nobody: bool
    """Nobody listens to that subject."""
    document: Mapping[str, Any]


class Line:
    """A connection that is up, or was. Made by `open`; raises `LinkDown` for whatever goes wrong."""

    def __init__(self, client: Client, url: str, answer_s: Duration) -> None:
        self._client = client
        self._url = url
        self._answer_s = answer_s
        self._inbox = client.new_inbox()
        self._asked = 0
        self._answers: asyncio.Queue[Msg | None] = asyncio.Queue()
        self._said = ""

    @classmethod
    async def open(cls, url: str, server: Server, name: str, answer_s: Duration) -> "Line":
        """Connect and log in; `name` is what the server's people see, `answer_s` the longest wait for an answer."""
        client = Client()
        line = cls(client, url, answer_s)
        context, is_secret = None, _always
        if server.tls:
            context = await asyncio.to_thread(make_context, server)
            is_secret = _witness(context)
        try:
            async with asyncio.timeout(answer_s):
                await client.connect(url, tls=context, **line._terms(server, name, is_secret))
                if not is_secret():
                    raise LinkDown("the server does not speak TLS", url, "nothing was sent; is this the right port?")
                await client.subscribe(f"{line._inbox}.*", cb=line._hear)
        except BaseException as error:
            await line.close()
            if isinstance(error, LinkDown) or not isinstance(error, Exception):
                raise
            is_unnamed = server.tls and server.certificate_file is None and isinstance(error, ConnectionError)
            raise line._down(error, "does it want a client certificate?" if is_unnamed else "") from error
        # Whatever ends the reading ends the line, whether or not the library tells (it does not where its closing fails).
        _tasks(client)[0].add_done_callback(lambda _: line._answers.put_nowait(None))
        return line

    @property
    def is_up(self) -> bool:
        """Say whether it was not lost yet."""
        return self._client.is_connected

    @property
    def max_payload(self) -> int:
        """Bytes of headers and payload together that the server takes."""
        return self._client.max_payload

    @property
    def servers(self) -> int:
        """How many servers of its cluster this one knows, itself included."""
        return len({one.netloc for one in self._client.servers})

    @property
    def version(self) -> tuple[int, int]:
        """Version of the server."""
        version = self._client.connected_server_version
        return version.major, version.minor

    async def tell(self, subject: str, payload: bytes, headers: dict[str, str] | None = None) -> None:
        """Send without wanting an answer; never waits for the network."""
        await self._publish(subject, payload, "", headers)

    async def ask(self, subject: str, payload: bytes, headers: dict[str, str] | None = None) -> int:
        """Send and give the number that its answer will have; never waits for the network."""
        self._asked += 1
        await self._publish(subject, payload, f"{self._inbox}.{self._asked}", headers)
        return self._asked

    async def answer(self) -> Answer:
        """Wait for whichever answer is next."""
        try:
            async with asyncio.timeout(self._answer_s):
                message = await self._answers.get()
        except TimeoutError:
            raise LinkDown(self._said or "the server does not answer", self._url) from None
        if message is None:
            self._answers.put_nowait(None)  # for whoever asks next
            raise LinkDown(self._said or "the server closed the connection", self._url)
        nobody = (message.headers or {}).get("Status") == "503"
        try:
            document = json.loads(message.data) if message.data else {}
            return Answer(int(message.subject.rpartition(".")[2]), nobody, document if isinstance(document, dict) else {})
        except (ValueError, RecursionError) as error:
            raise LinkDown("the server's answer cannot be read", self._url) from error

    async def answer_to(self, subject: str, payload: bytes) -> Answer:
        """Ask, and wait for that answer alone; earlier questions are given up."""
        number = await self.ask(subject, payload)
        while (answer := await self.answer()).number != number:
            pass
        return answer

    async def close(self) -> None:
        """Close, whatever state it is in; a peer that does not read is cut off."""
        with suppress(Exception):  # the library raises what the socket raised
            async with asyncio.timeout(CLOSE_S):
                await self._client.close()
        tasks = _tasks(self._client)
        for task in tasks:
            task.cancel()
        if tasks:
            await asyncio.wait(tasks, timeout=CLOSE_S)
        for task in tasks:
            if task.done() and not task.cancelled():
                task.exception()  # has been told by the lost connection
        _cut(self._client)

    def _terms(self, server: Server, name: str, is_secret: Callable[[], bool]) -> dict[str, Any]:
        def guarded(text: str) -> Callable[[], str]:
            def tell() -> str:
                if not is_secret():
                    raise LinkDown("the server does not speak TLS", self._url, "the password was not sent")
                return text

            return tell

        login: dict[str, Any] = {}
        if server.username is not None and server.password is not None:
            login = {"user": guarded(server.username), "password": guarded(str(server.password))}
        return {
            "name": name,
            "allow_reconnect": False,
            "max_reconnect_attempts": 1,
            "reconnect_time_wait": 0,
            "connect_timeout": self._answer_s,
            "ping_interval": PING_S,
            "pending_size": 0,  # no limit: else publishing would wait, without end, for a server that does not read
            "error_cb": self._note,
            **login,
        }

    async def _publish(self, subject: str, payload: bytes, reply: str, headers: dict[str, str] | None) -> None:
        try:
            await self._client.publish(subject, payload, reply, headers)
        except Exception as error:
            raise self._down(error) from error

    async def _hear(self, message: Msg) -> None:
        if self._answers.qsize() < ANSWERS:  # a server that says more than it was asked does not fill the memory
            self._answers.put_nowait(message)

    async def _note(self, error: Exception) -> None:
        self._said = self._words(error)

    def _down(self, error: Exception, hint: str = "") -> LinkDown:
        is_vague = isinstance(error, nats.errors.NoServersError | nats.errors.ConnectionClosedError)
        return LinkDown(self._said if is_vague and self._said else self._words(error), self._url, hint)

    @staticmethod
    def _words(error: Exception) -> str:
        if isinstance(error, OSError | ssl.SSLError | UnicodeError | TimeoutError):
            return trouble_words(error, peer="server")
        said = clean(str(error).removeprefix("nats: ").strip("'\""), 200)
        return f"the server says: {said}" if said else type(error).__name__


def _always() -> bool:
    return True


def _witness(context: ssl.SSLContext) -> Callable[[], bool]:
    """Watch whether a handshake succeeds: where a server does not ask for TLS, the library goes on without it."""
    seen = []

    class Witness(ssl.SSLObject):
        def do_handshake(self) -> None:
            super().do_handshake()
            seen.append(True)

    context.sslobject_class = Witness
    return lambda: bool(seen)


def _tasks(client: Client) -> list["asyncio.Task[None]"]:
    """Give the library's tasks, the reading one first; it leaves them running where its own closing fails."""
    found = [getattr(client, name, None) for name in ("_reading_task", "_ping_interval_task", "_flusher_task")]
    found += [getattr(one, "_wait_for_msgs_task", None) for one in list(getattr(client, "_subs", {}).values())]
    return [task for task in found if task is not None]


def _cut(client: Client) -> None:
    """Close the socket at once; the library waits for a peer that may not be there."""
    writer = getattr(getattr(client, "_transport", None), "_io_writer", None)
    if writer is not None:
        writer.transport.abort()
