"""How a Paho client is set up for one connection: version, session, will, limits."""

from dataclasses import dataclass
from typing import Any

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from edgemon.model.gateway import Broker, Protocol
from edgemon.model.outgoing import Outgoing
from edgemon.mqtt import plan

PACKET_BYTES = 8 * 1024 * 1024
"""Largest packet asked for (MQTT 5): above what a sensor may send, or too large a message would vanish at the broker unseen."""


@dataclass(frozen=True, slots=True)
class Terms:
    """What every connection of a link is made with; `protocol` is the one to speak, whatever the broker's says."""

    broker: Broker
    protocol: Protocol
    subscriptions: tuple[str, ...]
    will: Outgoing | None
    will_delay_s: int


def address(broker: Broker) -> str:
    """Say where the broker is, without secrets."""
    return f"{broker.host}:{broker.port}"


def make_client(terms: Terms) -> Client:
    """Make a Paho client that does nothing by itself: no acknowledging, no reconnecting."""
    broker = terms.broker
    if terms.protocol is Protocol.V5:
        client = Client(
            CallbackAPIVersion.VERSION2,
            broker.client_id,
            protocol=MQTTProtocolVersion.MQTTv5,
            reconnect_on_failure=False,
            manual_ack=True,
        )
    else:
        client = Client(
            CallbackAPIVersion.VERSION2,
            broker.client_id,
            clean_session=broker.session_expiry_s == 0,  # before MQTT 5 a session ends with its connection, or never
            protocol=MQTTProtocolVersion.MQTTv311,
            reconnect_on_failure=False,
            manual_ack=True,
        )
    client.max_inflight_messages = 0  # bounded by ours; Paho's own way looks through all that wait at each PUBACK
    if broker.username is not None:
        client.username_pw_set(broker.username, broker.password)
    if terms.will is not None:
        properties = None
        if terms.protocol is Protocol.V5:
            properties = Properties(PacketTypes.WILLMESSAGE)  # type: ignore[no-untyped-call]
            properties.WillDelayInterval = terms.will_delay_s
        client.will_set(terms.will.topic, terms.will.payload, 1, terms.will.retain, properties)
    return client


def connect_options(terms: Terms) -> dict[str, Any]:
    """Give the arguments of `Client.connect` that MQTT 5 adds."""
    # Without both, clean start and expiry, the broker's queue would be lost at each start of ours.
    if terms.protocol is not Protocol.V5:
        return {}
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = terms.broker.session_expiry_s
    properties.ReceiveMaximum = plan.receive_maximum(terms.broker.queue)
    properties.MaximumPacketSize = PACKET_BYTES
    return {"clean_start": False, "properties": properties}
