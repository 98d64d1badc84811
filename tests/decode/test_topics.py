import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from edgemon.decode.topics import Kind, Topic, read_topic, subscriptions
from edgemon.errors import UnknownTopic
from edgemon.model.ids import IDENTIFIER, SensorId

SENSOR_IDS = st.from_regex(IDENTIFIER, fullmatch=True).map(SensorId)
KINDS = st.sampled_from([Kind.READING, Kind.CAPTURE, Kind.SPECTRUM])


def _written(topic: Topic, root: str) -> str:
    """Spell a topic as the message contract does."""
    return f"{root}/simulation" if topic.sensor is None else f"{root}/sensor/{topic.sensor}/{topic.kind.value}"


@given(
    st.just(Topic(Kind.SIMULATION)) | st.builds(Topic, KINDS, SENSOR_IDS), st.sampled_from(["edgemon/v1", "site-7", "a/b/c"])
)
def test_topics_are_read_and_subscribed_to_exactly_once(topic: Topic, root: str) -> None:
    text = _written(topic, root)
    assert read_topic(text, root) == topic
    # Paho's matcher follows MQTT 5.0 section 4.7.
    assert sum(topic_matches_sub(pattern, text) for pattern in subscriptions(root)) == 1


def test_the_contract_spells_them_so() -> None:
    for kind in ("reading", "capture", "spectrum"):
        assert read_topic(f"edgemon/v1/sensor/s-0001/{kind}", "edgemon/v1") == Topic(Kind(kind), SensorId("s-0001"))
    assert read_topic("edgemon/v1/simulation", "edgemon/v1") == Topic(Kind.SIMULATION)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "edgemon/v1",
        "edgemon/v1/",
        "edgemon/v2/sensor/s-0001/reading",
        "xedgemon/v1/sensor/s-0001/reading",
        "edgemon/v1/sensor/s-0001",
        "edgemon/v1/sensor/s-0001/schedule",
        "edgemon/v1/sensor/s-0001/simulation",
        "edgemon/v1/sensor/s-0001/reading/",
        "edgemon/v1/sensor//reading",
        "edgemon/v1/sensor/S-0001/reading",
        "edgemon/v1/sensor/+/reading",
        "edgemon/v1/sensor/../reading",
        "edgemon/v1/sensor/-a/reading",
        "edgemon/v1/sensor/s\n/reading",
        "edgemon/v1/sensor/ſ/reading",
        f"edgemon/v1/sensor/{'a' * 64}/reading",
        "edgemon/v1/simulation/x",
        "edgemon/v1/sensor/s-0001/reading\x1b[2J",
        "edgemon/v1/sensor/s-0001\x00/reading",
    ],
)
def test_everything_else_is_refused_without_repeating_what_could_steer_a_terminal(text: str) -> None:
    with pytest.raises(UnknownTopic) as caught:
        read_topic(text, "edgemon/v1")
    assert caught.value.where.isprintable()


@given(st.text(max_size=300))
def test_any_text_is_read_or_refused(text: str) -> None:
    for topic in (text, f"edgemon/v1/sensor/{text}/reading"):
        try:
            found = read_topic(topic, "edgemon/v1")
        except UnknownTopic:
            continue
        assert _written(found, "edgemon/v1") == topic
