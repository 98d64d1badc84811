"""What no broker delivers again is kept within bounds, and what does not fit is counted."""

from edgemon.daemon.unrepeated import EPOCH, Unrepeated
from edgemon.daemon.watching import EPOCH as WATCHED
from edgemon.model.message import Message
from edgemon.mqtt.port import Delivery


def delivery(number: int, qos: int = 0, epoch: int = 1, size: int = 10) -> Delivery:
    return Delivery(Message(f"edgemon/v1/sensor/s-{number:04d}/reading", b"x" * size, 100.0 + number), epoch, number, qos)


def test_only_what_nobody_delivers_again_is_kept_and_only_once() -> None:
    kept = Unrepeated()
    kept.keep([delivery(1), delivery(2, qos=1), delivery(3, epoch=WATCHED), delivery(4)])
    assert [message.topic[-12:-8] for message in kept.messages] == ["0001", "0004"]


def test_it_is_given_back_as_a_repeat_and_kept_again_where_that_fails() -> None:
    kept = Unrepeated()
    kept.keep([delivery(number) for number in range(1, 4)])
    some = kept.take(2)
    assert [(one.message.dup, one.epoch, one.message.received_at) for one in some] == [
        (True, EPOCH, 101.0),
        (True, EPOCH, 102.0),
    ]
    assert len(kept) == 1
    kept.keep(some)
    assert len(kept) == 3
    assert len(kept.take(10)) == 3
    assert kept.take(10) == []
    assert kept.told() == ""


def test_what_does_not_fit_is_counted_and_told_once() -> None:
    kept = Unrepeated(most_bytes=100, most=5)
    kept.keep([delivery(1, size=60), delivery(2, size=60), delivery(3, size=40)])
    assert (len(kept), kept.told()) == (
        2,
        "2 messages with QoS 0, which no broker repeats, were kept and are stored now; "
        "1 more did not fit into memory and are not stored",
    )
    assert "did not fit" not in kept.told()
    kept.take(2)
    kept.keep([delivery(number, size=1) for number in range(9)])
    assert len(kept) == 5
    assert kept.told().endswith("4 more did not fit into memory and are not stored")


def test_what_another_run_lost_is_told_with_what_does_not_fit_now() -> None:
    kept = Unrepeated(most=2)
    kept.restore([delivery(number).message for number in range(3)], lost=4)
    assert (len(kept), kept.lost) == (2, 5)
    assert kept.told().endswith("5 more did not fit into memory and are not stored")
    assert kept.lost == 0
