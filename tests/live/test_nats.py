"""Items into a real stream: counted by key at the far end, whatever happens to the server or the cable."""

import asyncio
import dataclasses
import random
from pathlib import Path

import pytest
from nats.js.api import DiscardPolicy, StreamConfig

from edgemon.errors import LinkDown, LinkError
from edgemon.model.upstream import Item
from tests.support.broker import Cable
from tests.support.certificates import make_ca, make_client, make_server
from tests.support.nats_server import NatsServer
from tests.support.streams import (
    ANSWER_S,
    PATIENT_S,
    STREAM,
    a_cable,
    a_server,
    assert_once_and_in_order,
    deliver,
    forget_ids,
    item,
    items,
    kept,
    library,
    transport,
    unheard,
)

pytestmark = pytest.mark.live
SUBJECTS = [f"{STREAM}.>"]
server, cable = pytest.fixture(a_server), pytest.fixture(a_cable)


def through(cable: Cable) -> str:
    return f"nats://127.0.0.1:{cable.port}"


async def make_stream(server: NatsServer, atomic: bool = True, **more: object) -> None:
    async with library(server.url) as js:
        await js.add_stream(StreamConfig(STREAM, subjects=SUBJECTS, allow_atomic=atomic), **more)


async def test_a_stream_is_made_where_there_is_none(server: NatsServer) -> None:
    async with transport(server.url) as one:
        await one.connect()
    async with library(server.url) as js:
        config = (await js.stream_info(STREAM)).config
    assert (config.subjects, config.storage, config.num_replicas) == (SUBJECTS, "file", 1)
    assert (config.duplicate_window, config.allow_atomic) == (600.0, True)


@pytest.mark.parametrize("atomic", [True, False])
async def test_a_repeat_is_kept_once_even_when_the_stream_forgot_its_id(server: NatsServer, atomic: bool) -> None:
    await make_stream(server, atomic)
    sent = items(0, 300)
    async with transport(server.url) as one:
        await deliver(one, sent[:200])
    await forget_ids(server)
    async with library(server.url) as js:  # ids alone would keep it twice
        subject = f"{STREAM}.saltmarsh.gw-1.readings.pump.p4"
        again = await js.publish(subject, b"", headers={"Nats-Msg-Id": sent[199].key})
        assert again.duplicate is None
        await js.delete_msg(STREAM, again.seq)
    async with transport(server.url) as one:
        await deliver(one, sent[:250])
        await deliver(one, sent[250:])
    assert_once_and_in_order(await kept(server.url), sent)


@pytest.mark.parametrize("atomic", [True, False])
@pytest.mark.parametrize("trouble", ["kill", "cut"])
async def test_nothing_is_lost_or_doubled_or_out_of_order(server: NatsServer, cable: Cable, atomic: bool, trouble: str) -> None:
    await make_stream(server, atomic)
    sent, chance = items(0, 2400), random.Random(7)
    failures = 0

    async def disturb() -> None:
        for _ in range(6):
            await asyncio.sleep(chance.uniform(0.02, 0.2))
            if trouble == "kill":
                await asyncio.to_thread(server.kill)
                await asyncio.to_thread(server.start)
            else:
                await cable.pull()
                await cable.plug()

    async with transport(through(cable)) as one:
        disturbing = asyncio.create_task(disturb())
        for at in range(0, len(sent), 60):
            failures += await deliver(one, sent[at : at + 60])
        await disturbing
    assert failures > 0
    assert_once_and_in_order(await kept(server.url), sent)


@pytest.mark.parametrize("atomic", [True, False])
async def test_a_lost_confirmation_doubles_nothing_even_after_the_window(
    server: NatsServer, cable: Cable, atomic: bool
) -> None:
    await make_stream(server, atomic)
    sent = items(0, 40, points=20)
    async with transport(through(cable)) as one:
        await deliver(one, sent[:20])
        await unheard(server, cable, one.send(sent[20:]), len(sent))
        await one.close()
        assert len(await kept(server.url)) == 40  # it is there, and nobody was told
        await forget_ids(server)
        assert await deliver(one, sent[20:]) == 0
    assert_once_and_in_order(await kept(server.url), sent)


async def test_what_a_gateway_sent_before_its_disk_was_lost_hides_nothing_of_the_fresh_one(server: NatsServer) -> None:
    sent = items(0, 6, points=1)
    async with transport(server.url) as old:
        await deliver(old, [sent[0], sent[3]])
    async with transport(server.url) as fresh:
        await deliver(fresh, sent)
    found = [one.id for one in await kept(server.url)]
    assert len(found) == 6
    assert set(found) == {one.key for one in sent}


async def test_a_server_that_stands_still_is_noticed_and_what_it_had_heard_is_kept_once(server: NatsServer) -> None:
    sent = items(0, 200)
    async with transport(server.url, answer_s=ANSWER_S) as one:
        await deliver(one, sent[:100])
        server.freeze()
        for words in ("does not answer", "no answer in time"):  # a connection that is there, and one that cannot be made
            async with asyncio.timeout(PATIENT_S):  # instead of never
                with pytest.raises(LinkDown, match=words):
                    await one.send(sent[100:])
                await one.close()
        server.thaw()
        await deliver(one, sent[100:])
    assert_once_and_in_order(await kept(server.url), sent)


async def test_a_full_stream_is_waited_for(server: NatsServer) -> None:
    await make_stream(server, max_bytes=20_000, discard=DiscardPolicy.NEW)
    sent = [item(number, body=bytes(1000)) for number in range(40)]
    async with transport(server.url) as one:
        with pytest.raises(LinkDown, match="maximum bytes exceeded"):
            await one.send(sent)
        async with library(server.url) as js:
            await js.update_stream((await js.stream_info(STREAM)).config, max_bytes=1_000_000)
        await deliver(one, sent)
    assert_once_and_in_order(await kept(server.url), sent)


async def test_what_is_too_large_is_kept_in_pieces(server: NatsServer) -> None:
    body = random.Random(1).randbytes(2_500_000)
    sent: list[Item] = [item(0), item(1, body=body), item(2)]
    async with transport(server.url) as one:
        for _ in range(2):
            await deliver(one, sent)
    found = await kept(server.url)
    assert [one.part for one in found] == ["", "1/3", "2/3", "3/3", ""]
    assert [one.id for one in found[1:4]] == [f"{sent[1].key}/{n}of3" for n in (1, 2, 3)]
    assert b"".join(one.body for one in found[1:4]) == body
    with_limit = {"max_msg_size": 4_096}
    async with library(server.url) as js:
        await js.update_stream((await js.stream_info(STREAM)).config, **with_limit)
    async with transport(server.url) as one:
        await deliver(one, [item(3, body=body[:10_000])])
    assert b"".join(one.body for one in await kept(server.url) if "/velocity/3/" in one.id) == body[:10_000]


async def test_limits_that_shrink_under_a_connection_are_read_anew(server: NatsServer) -> None:
    async with transport(server.url) as one:
        await deliver(one, [item(0)])
        async with library(server.url) as js:
            await js.update_stream((await js.stream_info(STREAM)).config, max_msg_size=4_096)
        assert await deliver(one, [item(1, body=bytes(9_000))]) == 1
    assert [one.part for one in await kept(server.url)] == ["", "1/3", "2/3", "3/3"]


async def test_a_name_no_subject_can_hold_is_refused_and_the_rest_taken(server: NatsServer) -> None:
    bad = dataclasses.replace(item(1), subject="x" * 3000)
    async with transport(server.url) as one:
        (refused,) = await one.send([item(0), bad, item(2)])
    assert refused.item is bad
    assert "2048" in refused.why
    assert_once_and_in_order(await kept(server.url), [item(0), item(2)])


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"subjects": ["elsewhere.>"]}, "it must take EDGEMON.>"),
        ({"subjects": ["EDGEMON.plant-2.>"]}, "no stream takes EDGEMON.saltmarsh"),
        ({"sealed": True}, "sealed"),
    ],
)
async def test_a_stream_that_does_not_fit_is_named(server: NatsServer, change: dict[str, object], word: str) -> None:
    await make_stream(server)
    async with library(server.url) as js:
        await js.update_stream((await js.stream_info(STREAM)).config, **change)
    async with transport(server.url) as one:
        with pytest.raises(LinkDown, match=word):
            await one.send([item(0)])


async def test_without_a_jetstream_it_says_so(tmp_path: Path) -> None:
    with NatsServer(tmp_path, streams=False) as server:
        async with transport(server.url) as one:
            with pytest.raises(LinkDown, match="no JetStream"):
                await one.connect()


async def test_a_right_that_lacks_is_told_in_the_servers_words(tmp_path: Path) -> None:
    rights = 'authorization { users: [{ user: "u", password: "p", permissions: { publish: { deny: ["EDGEMON.>"] } } }] }'
    with NatsServer(tmp_path, more=rights) as server:
        async with transport(server.url, login=("u", "p"), answer_s=5.0) as one:  # waits it out
            with pytest.raises(LinkDown, match="permissions violation for publish"):
                await one.send([item(0)])


async def test_the_rights_that_are_told_are_enough(tmp_path: Path) -> None:
    api = ", ".join(f'"$JS.API.STREAM.{verb}.{STREAM}"' for verb in ("INFO", "CREATE", "MSG.GET"))
    rights = f'publish: ["{STREAM}.>", {api}], subscribe: ["_INBOX.>"]'
    users = f'{{ user: "u", password: "p", permissions: {{ {rights} }} }}, {{ user: "all", password: "p" }}'
    with NatsServer(tmp_path, more=f"authorization {{ users: [{users}] }}") as server:
        async with transport(server.url, login=("u", "p")) as one:
            assert await deliver(one, items(0, 100)) == 0
            assert await deliver(one, items(0, 150)) == 0
        assert_once_and_in_order(await kept(server.url.replace("//", "//all:p@")), items(0, 150))


async def test_the_next_address_is_tried_where_one_is_dead(server: NatsServer) -> None:
    async with transport("nats://127.0.0.1:1", server.url) as one:
        assert await deliver(one, [item(0)]) == 0
    async with transport("nats://127.0.0.1:1") as one:
        with pytest.raises(LinkDown, match="nothing listens there"):
            await one.connect()


PASSWORD = "heron-on-the-marsh"


async def test_a_login_is_needed_and_its_password_told_to_nobody(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    with NatsServer(tmp_path, users={"edgemon": PASSWORD}) as server:
        async with transport(server.url, login=("edgemon", PASSWORD)) as one:
            assert await deliver(one, [item(0)]) == 0
        for login in (None, ("edgemon", PASSWORD[1:])):
            async with transport(server.url, login=login) as one:
                with pytest.raises(LinkDown, match="Authorization Violation") as caught:
                    await one.connect()
                assert PASSWORD[1:] not in repr(caught.value)
    assert PASSWORD[1:] not in caplog.text


async def test_tls_with_a_client_certificate(tmp_path: Path) -> None:
    ca, other = make_ca(tmp_path), make_ca(tmp_path, "other")
    own = make_client(tmp_path, ca)
    with NatsServer(tmp_path / "server", server=make_server(tmp_path, ca), client_ca=ca) as server:
        async with transport(server.url, ca=ca, own=own) as one:
            assert await deliver(one, [item(0)]) == 0
        async with transport(server.url, ca=ca) as one:
            with pytest.raises(LinkError, match=r"wants? a client certificate"):
                await one.connect()
        async with transport(server.url, ca=other, own=own) as one:
            with pytest.raises(LinkError, match="not signed by the CA given"):
                await one.connect()


async def test_where_tls_is_wanted_and_not_spoken_no_password_is_sent(tmp_path: Path) -> None:
    heard: list[bytes] = []

    async def listen(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b'INFO {"server_id":"x","version":"2.15.1","headers":true,"max_payload":1048576,"auth_required":true}\r\n')
        while data := await reader.read(1000):
            heard.append(data)
        writer.close()

    listener = await asyncio.start_server(listen, "127.0.0.1", 0)
    async with listener:
        url = f"tls://127.0.0.1:{listener.sockets[0].getsockname()[1]}"
        async with transport(url, login=("edgemon", PASSWORD), ca=make_ca(tmp_path)) as one:
            with pytest.raises(LinkDown, match="does not speak TLS"):
                await one.connect()
    assert PASSWORD.encode() not in b"".join(heard)


@pytest.mark.parametrize("before", [0, 1], ids=["connecting", "sending"])
async def test_a_transport_lets_go_whatever_it_is_doing(before: int, server: NatsServer) -> None:
    async with transport(server.url) as one:
        await one.close()
        if before:
            await deliver(one, items(0, before))
        sending = asyncio.create_task(one.send(items(0, 500)))
        for _ in range(3):  # under way, and nothing can be answered yet
            await asyncio.sleep(0)
        sending.cancel()
        with pytest.raises(asyncio.CancelledError):
            await sending
        await one.close()
        await deliver(one, items(0, 500))
    assert_once_and_in_order(await kept(server.url), items(0, 500))
