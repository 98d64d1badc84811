import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.mqtt.readahead import READ_BYTES, ReadAhead


class FakeSocket:
    """Gives its chunks one by one, then says there is nothing; at the end, if closed, the end."""

    def __init__(self, chunks: list[bytes], closed: bool = False) -> None:
        self.chunks = list(chunks)
        self.closed = closed
        self.calls: list[int] = []

    def recv(self, size: int) -> bytes:
        self.calls.append(size)
        if not self.chunks:
            if self.closed:
                return b""
            raise BlockingIOError
        chunk = self.chunks.pop(0)
        if len(chunk) > size:
            self.chunks.insert(0, chunk[size:])
        return chunk[:size]


@given(st.lists(st.binary(min_size=1, max_size=50), max_size=20), st.lists(st.integers(1, 30), min_size=1, max_size=20))
def test_every_byte_comes_once_and_in_order(chunks: list[bytes], sizes: list[int]) -> None:
    ahead = ReadAhead(FakeSocket(chunks, closed=True).recv)
    got = b""
    turn = 0
    while piece := ahead.receive(sizes[turn % len(sizes)]):
        assert len(piece) <= sizes[turn % len(sizes)]
        got += piece
        turn += 1
    assert got == b"".join(chunks)


def test_small_reads_cost_one_call_to_the_socket() -> None:
    fake = FakeSocket([bytes(100)])
    ahead = ReadAhead(fake.recv)
    for _ in range(50):
        ahead.receive(2)
    assert fake.calls == [READ_BYTES]
    assert ahead.pending == 0
    with pytest.raises(BlockingIOError):
        ahead.receive(1)


def test_a_large_read_goes_past_the_buffer() -> None:
    fake = FakeSocket([bytes(3 * READ_BYTES)])
    ahead = ReadAhead(fake.recv)
    assert len(ahead.receive(2 * READ_BYTES)) == 2 * READ_BYTES
    assert ahead.pending == 0


def test_while_paused_there_seems_to_be_nothing() -> None:
    ahead = ReadAhead(FakeSocket([b"abcd"]).recv)
    assert ahead.receive(1) == b"a"
    ahead.paused = True
    with pytest.raises(BlockingIOError):
        ahead.receive(1)
    assert ahead.pending == 3
    ahead.paused = False
    assert ahead.receive(3) == b"bcd"


def test_what_ended_the_reading_is_remembered() -> None:
    def broken(size: int) -> bytes:
        raise ConnectionResetError("reset")

    ahead = ReadAhead(broken)
    with pytest.raises(ConnectionResetError):
        ahead.receive(1)
    assert isinstance(ahead.error, ConnectionResetError)


def test_nothing_to_read_is_not_an_error() -> None:
    ahead = ReadAhead(FakeSocket([]).recv)
    with pytest.raises(BlockingIOError):
        ahead.receive(1)
    assert ahead.error is None
