import tomllib
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest

from simulators.errors import SimulatorError
from simulators.scene import SCENES, find_scene, load_scene, parse_scene

PLANT = Path(__file__).parents[2] / "config" / "saltmarsh" / "plant.toml"
SMALL: dict[str, Any] = {
    "scene": {"title": "one pump", "loop_s": 60},
    "machine": [
        {
            "id": "m1",
            "kind": "pump",
            "rpm": 1480,
            "velocity_mm_s": 2.0,
            "sensor": [{"id": "s1"}, {"id": "s2"}],
            "fault": [{"kind": "unbalance", "at": ["s1"], "initial": 0.5, "full_mm_s": 4.0}],
        }
    ],
    "chapter": [{"at_s": 0, "title": "t", "text": "a\n b", "machine": "m1"}],
}


def changed(path: tuple[str | int, ...], value: object) -> dict[str, Any]:
    copy = deepcopy(SMALL)
    place: Any = copy
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    return copy


def test_a_small_scene_is_read() -> None:
    scene = parse_scene(SMALL, "small.toml")
    (actor,) = scene.actors
    assert [post.id for post in actor.posts] == ["s1", "s2"]
    assert actor.faults[0].felt("s1") == 1.0
    assert actor.faults[0].felt("s2") == 0.3
    assert scene.chapters[0].text == "a b"
    assert scene.story(61.5) == 1.5


@pytest.mark.parametrize(
    ("path", "value", "says"),
    [
        (("machine", 0, "id"), "Pump 1", "small.toml: machine Pump 1: id: 'Pump 1' is not an identifier"),
        (("machine", 0, "kind"), "rocket", "machine m1: kind: must be one of"),
        (("machine", 0, "rpm"), 0, "machine m1: rpm: must be above 0"),
        (("machine", 0, "speed"), 0, "machine m1: speed: no such field here"),
        (("machine", 0, "sensor", 1, "id"), "s1", "small.toml: sensor s1 stands there twice"),
        (("machine", 0, "sensor", 0, "parts"), 5000, "sensor s1: parts: 4096 samples cannot be sent in 5000 parts"),
        (("machine", 0, "sensor", 0, "axes"), "xq", "sensor s1: axes: must be one of"),
        (("machine", 0, "fault", 0, "at"), ["s9"], "fault 1: at: the machine has no sensor 's9'"),
        (("machine", 0, "fault", 0, "law"), "linear", "fault 1: full_s: is missing"),
        (("machine", 0, "fault", 0, "initial"), 1.5, "fault 1: initial: must be at most 1"),
        (("machine", 0, "fault", 0, "kind"), "gremlins", "fault 1: kind: must be one of"),
        (("machine",), [], "a scene needs at least one [[machine]]"),
        (("scene", "loop_s"), 0, "small.toml: scene: loop_s: must be above 0"),
        (("chapter", 0, "machine"), "m9", "chapter 't': no machine 'm9'"),
        (("chapter", 0, "at_s"), 61, "chapter t: at_s: must be at most 60"),
    ],
)
def test_what_cannot_be_played_is_named(path: tuple[str | int, ...], value: object, says: str) -> None:
    with pytest.raises(SimulatorError) as caught:
        parse_scene(changed(path, value), "small.toml")
    assert says in str(caught.value)
    assert caught.value.exit_code == 2


def test_a_file_that_is_not_toml_is_told(tmp_path: Path) -> None:
    path = tmp_path / "bad.toml"
    path.write_text("[scene\n")
    with pytest.raises(SimulatorError, match=r"bad\.toml: not TOML"):
        load_scene(path)
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(SimulatorError, match=r"bad\.toml: cannot be read"):
        load_scene(path)


def test_a_scene_is_found_by_file_or_name(tmp_path: Path) -> None:
    assert find_scene("saltmarsh") == SCENES / "saltmarsh.toml"
    assert find_scene(str(SCENES / "saltmarsh.toml")) == SCENES / "saltmarsh.toml"
    with pytest.raises(SimulatorError, match="give a file, or one of: saltmarsh"):
        find_scene(str(tmp_path / "none.toml"))


def test_the_scene_and_the_plant_file_name_the_same_machines_sensors_and_axes() -> None:
    scene = load_scene(find_scene("saltmarsh"))
    plant = tomllib.loads(PLANT.read_text(encoding="utf-8"))
    listed = {
        machine["id"]: (machine["rpm"], {(point["sensor"], point["axis"]) for point in machine["point"]})
        for machine in plant["machine"]
    }
    assert {actor.id for actor in scene.actors} == set(listed)
    for actor in scene.actors:
        rpm, watched = listed[actor.id]
        assert actor.machine.rpm == rpm
        assert {sensor for sensor, _ in watched} == {post.id for post in actor.posts}
        sent = {(post.id, axis) for post in actor.posts for axis in post.axes}
        assert watched <= sent


def test_every_chapter_says_something_within_the_story() -> None:
    scene = load_scene(find_scene("saltmarsh"))
    assert sum(chapter.at_s <= 180 for chapter in scene.chapters) >= 8
    assert all(len(chapter.text) > 80 and len(chapter.title) <= 40 for chapter in scene.chapters)
