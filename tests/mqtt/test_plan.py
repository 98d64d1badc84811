import string

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from edgemon.errors import ParameterError
from edgemon.model.gateway import Broker, Protocol
from edgemon.mqtt import plan


def test_the_waits_double_from_one_second_to_a_minute() -> None:
    assert [plan.reconnect_delay(failures, 1.0) for failures in range(1, 9)] == [1, 2, 4, 8, 16, 32, 60, 60]
    assert plan.reconnect_delay(10_000, 1.0) == 60.0


@given(st.integers(1, 10_000), st.floats(0.0, 1.0))
def test_chance_spreads_a_wait_over_all_of_it(failures: int, chance: float) -> None:
    assert plan.reconnect_delay(failures, chance) == pytest.approx(chance * plan.reconnect_delay(failures, 1.0))


def test_without_a_failure_there_is_no_wait_to_ask_for() -> None:
    with pytest.raises(ParameterError):
        plan.reconnect_delay(0, 0.5)


def test_a_stable_minute_starts_the_waits_anew() -> None:
    assert plan.failures_after(7, 59.9) == 8
    assert plan.failures_after(7, 60.0) == 1
    assert plan.failures_after(0, 0.0) == 1


def test_three_short_connections_in_a_row_are_a_fight() -> None:
    assert not plan.is_fight([])
    assert not plan.is_fight([1.0, 1.0])
    assert plan.is_fight([1.0, 1.0, 1.0])
    assert plan.is_fight([3600.0, 1.0, 1.0, 1.0])
    assert not plan.is_fight([1.0, 1.0, 1.0, 10.0])


@given(st.integers(1, 1_000_000))
def test_marks_and_receive_maximum_fit_the_queue(queue: int) -> None:
    marks = plan.water_marks(queue)
    assert 0 <= marks.low < marks.high <= queue
    assert 1 <= plan.receive_maximum(queue) <= min(65_535, queue)


def test_a_queue_of_nothing_is_a_mistake() -> None:
    with pytest.raises(ParameterError):
        plan.water_marks(0)


def test_every_failure_the_standard_knows_has_words() -> None:
    """Second list: the reason codes of CONNACK, SUBACK, PUBACK and DISCONNECT in Paho, itself from MQTT 5.0 section 2.4."""
    checked = 0
    for packet in (PacketTypes.CONNACK, PacketTypes.SUBACK, PacketTypes.PUBACK, PacketTypes.DISCONNECT):
        for code in range(plan.SUCCESS_BELOW, 256):
            try:
                name = ReasonCode(packet, identifier=code).getName()
            except (KeyError, ValueError):
                continue
            if code not in (0x91, 0x92):  # about packet ids: no answer to anything this link sends
                assert code in plan.REASONS, f"{code} {name}"
                checked += 1
    assert checked > 40


def test_a_code_nobody_knows_is_told_as_it_is() -> None:
    assert plan.reason_words(255) == "reason code 255"


def test_codes_mean_what_the_standard_says() -> None:
    """MQTT 5.0 section 2.4: names of the codes that this package acts on."""
    names = {
        plan.PROTOCOL_ERROR: "Protocol error",
        plan.UNSUPPORTED_PROTOCOL: "Unsupported protocol version",
    }
    for code, name in names.items():
        assert ReasonCode(PacketTypes.CONNACK, name).value == code
    assert ReasonCode(PacketTypes.DISCONNECT, "Keep alive timeout").value == plan.KEEP_ALIVE_TIMEOUT
    assert "client id" in plan.reason_words(ReasonCode(PacketTypes.DISCONNECT, "Session taken over").value)


def test_a_client_id_is_one_that_every_broker_must_accept() -> None:
    """MQTT 5.0 section 3.1.3.1: 1 to 23 of these characters."""
    name = plan.client_id("saltmarsh", "0123456789abcdef0123456789abcdef\n")
    assert 1 <= len(name) <= 23
    assert set(name) <= set(string.ascii_letters + string.digits)


def test_a_client_id_is_the_same_at_every_start_and_nobody_elses() -> None:
    name = plan.client_id("saltmarsh", "machine")
    assert name == plan.client_id("saltmarsh", "machine\n")
    assert name != plan.client_id("saltmarsh", "machine2")
    assert name != plan.client_id("saltmarsh2", "machine")
    assert "machine" not in name


def test_without_a_machine_id_the_hint_says_what_to_do() -> None:
    with pytest.raises(ParameterError, match="client_id"):
        plan.client_id("saltmarsh", " ")


@pytest.mark.parametrize(
    ("topic_filter", "topic", "taken"),
    [
        ("sport/tennis/player1/#", "sport/tennis/player1", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/ranking", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", True),
        ("sport/#", "sport", True),
        ("#", "anything/at/all", True),
        ("sport/tennis/+", "sport/tennis/player1", True),
        ("sport/tennis/+", "sport/tennis/player1/ranking", False),
        ("sport/+", "sport", False),
        ("sport/+", "sport/", True),
        ("+/+", "/finance", True),
        ("/+", "/finance", True),
        ("+", "/finance", False),
        ("#", "$SYS/broker", False),
        ("+/monitor/Clients", "$SYS/monitor/Clients", False),
        ("$SYS/#", "$SYS/broker", True),
        ("$SYS/monitor/+", "$SYS/monitor/Clients", True),
    ],
)
def test_filters_take_what_the_standard_says(topic_filter: str, topic: str, taken: bool) -> None:
    """The examples of MQTT 5.0 sections 4.7.1.2, 4.7.1.3 and 4.7.2."""
    assert plan.matches(topic_filter, topic) is taken


LEVELS = st.lists(st.sampled_from(["a", "b", "", "$x"]), min_size=1, max_size=4)


@given(LEVELS, st.lists(st.sampled_from(["a", "b", "", "$x", "+"]), min_size=1, max_size=4), st.booleans())
def test_filters_take_what_paho_says(topic: list[str], topic_filter: list[str], rest: bool) -> None:
    """Second method: the matcher of an independent library."""
    wanted = "/".join([*topic_filter, "#"] if rest else topic_filter)
    given_topic = "/".join(topic)
    if given_topic:
        assert plan.matches(wanted, given_topic) is topic_matches_sub(wanted, given_topic)


def test_topics_to_publish_on() -> None:
    assert plan.check_topic("a/ü") == 4
    for topic in ("", "a/+", "#", "a\0b", "x" * 65_536):
        with pytest.raises(ParameterError):
            plan.check_topic(topic)


@pytest.mark.parametrize(("tls", "protocol"), [(tls, protocol) for tls in (False, True) for protocol in Protocol])
def test_a_guess_names_the_version_only_where_there_is_an_older_one(tls: bool, protocol: Protocol) -> None:
    words = plan.unanswered_words(Broker("broker", 1, tls=tls), protocol, "closed")
    assert ("3.1.1" in words) is (protocol is Protocol.V5)
    assert ("client certificate" in words) is tls
    assert ("TLS port" in words) is not tls
