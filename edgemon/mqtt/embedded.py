"""The broker inside the gateway's own process: for the demo and for trying out, never for a plant.

It keeps nothing for a client that is away, so it cannot keep the promise that no reading is lost. It speaks MQTT 3.1.1, lets
anyone in, and therefore listens on loopback only.
"""

import asyncio
import logging
from contextlib import suppress

from amqtt.adapters import StreamReaderAdapter, StreamWriterAdapter
from amqtt.broker import Broker as AmqttBroker
from amqtt.contexts import BrokerConfig, ListenerConfig, ListenerType

from edgemon.errors import LinkRefused
from edgemon.model.gateway import Broker, Protocol

LOOPBACK = "127.0.0.1"

_LISTENER = "default"
_ANYONE = "amqtt.plugins.authentication.AnonymousAuthPlugin"


class _Writer(StreamWriterAdapter):  # type: ignore[misc]
    """A client that went away without a word is not an error worth a traceback."""

    async def close(self) -> None:
        """Close."""
        with suppress(OSError):
            await super().close()


class _Quiet(logging.Filter):
    """Drops what asyncio says of tasks that the broker left alone when a client went away in the middle of a message."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Keep a record unless its traceback ends in the broker's code."""
        trace = record.exc_info[2] if record.exc_info else None
        names = []
        while trace is not None:
            names.append(str(trace.tb_frame.f_globals.get("__name__")))
            trace = trace.tb_next
        return not any(name.split(".")[0] == "amqtt" for name in names)


async def stop_listening(server: asyncio.Server) -> None:
    """Accept no more, then close.

    A connection that asyncio accepted in the very turn in which its server is closed is dropped unclosed (CPython 3.11:
    `Server._attach` asserts that the server still has sockets); so first the accepting ends, then what was accepted settles.
    """
    loop = asyncio.get_running_loop()
    for listening in server.sockets:
        loop.remove_reader(listening.fileno())
    turn = loop.create_future()
    loop.call_soon(turn.set_result, None)
    await turn
    server.close()


class EmbeddedBroker:
    """A broker on a port of loopback.

    The listening socket is ours and the broker is handed the connections, so the port is known for certain.

    Parameters
    ----------
    port : int
        0 lets the system choose a free one.
    """

    def __init__(self, port: int = 0) -> None:
        self._wanted = port
        self._broker: AmqttBroker | None = None
        self._server: asyncio.Server | None = None
        self._clients: set[asyncio.Task[None]] = set()
        self._quiet = _Quiet()

    @property
    def port(self) -> int:
        """The port it listens on; 0 while stopped."""
        if self._server is None:
            return 0
        port: int = self._server.sockets[0].getsockname()[1]
        return port

    def address(self, like: Broker) -> Broker:
        """Give how to reach it: terms like those given, host, port and protocol its own."""
        return Broker(
            LOOPBACK,
            self.port,
            Protocol.V311,
            client_id=like.client_id,
            keepalive_s=like.keepalive_s,
            session_expiry_s=like.session_expiry_s,
            queue=like.queue,
        )

    async def start(self) -> None:
        """Listen.

        Raises
        ------
        LinkRefused
            The port is taken.
        """
        logging.getLogger("amqtt").setLevel(logging.CRITICAL)
        logging.getLogger("transitions").setLevel(logging.CRITICAL)
        listeners = {_LISTENER: ListenerConfig(type=ListenerType.EXTERNAL, bind=LOOPBACK)}
        broker = AmqttBroker(BrokerConfig(listeners=listeners, plugins={_ANYONE: {"allow_anonymous": True}}))
        await broker.start()
        try:
            self._server = await asyncio.start_server(self._serve, LOOPBACK, self._wanted)
        except OSError as error:
            await broker.shutdown()
            raise LinkRefused(
                f"the embedded broker cannot listen: {error.strerror}", f"{LOOPBACK}:{self._wanted}", "choose another port"
            ) from error
        self._broker = broker
        logging.getLogger("asyncio").addFilter(self._quiet)

    async def stop(self) -> None:
        """Close every connection and listen no more; what was retained is gone."""
        if self._broker is None or self._server is None:
            return
        await stop_listening(self._server)
        await self._server.wait_closed()
        await self._broker.shutdown()
        for client in self._clients:
            client.cancel()
        if self._clients:
            await asyncio.wait(list(self._clients))
        self._broker = self._server = None
        logging.getLogger("asyncio").removeFilter(self._quiet)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        if task is None or self._broker is None:
            writer.close()
            return
        self._clients.add(task)
        try:
            await self._broker.external_connected(StreamReaderAdapter(reader), _Writer(writer), _LISTENER)
        finally:
            self._clients.discard(task)
            writer.close()
