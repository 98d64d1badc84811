import pytest

from simulators.errors import SimulatorError
from simulators.table import Table


def table(**fields: object) -> Table:
    return Table(fields, "plant.toml: machine m1")


def test_values_are_taken_by_kind() -> None:
    fields = table(name="a", size=3, share=0.5, on=True, spans=[[1, float("inf")]], course=[[0, 1], [5, 0]], names=["a", "b"])
    assert fields.text("name") == "a"
    assert fields.whole("size", 1, at_least=1) == 3
    assert fields.number("share", above=0.0, at_most=1.0) == 0.5
    assert fields.flag("on", False) is True
    assert fields.spans("spans") == ((1.0, float("inf")),)
    assert fields.knots("course", ()) == ((0.0, 1.0), (5.0, 0.0))
    assert fields.texts("names") == ("a", "b")
    fields.finish()


def test_defaults_stand_in_for_what_is_missing() -> None:
    fields = table()
    assert fields.text("name", "b") == "b"
    assert fields.number("share", 0.25) == 0.25
    assert fields.spans("spans") == ()
    assert fields.choice("law", ("steady", "linear"), "steady") == "steady"


@pytest.mark.parametrize(
    ("take", "value", "says"),
    [
        (lambda fields: fields.text("f"), 3, "must be a text, not 3"),
        (lambda fields: fields.texts("f"), ["a", 1], "must be a list of texts"),
        (lambda fields: fields.choice("f", ("a", "b")), "c", "must be one of a, b, not 'c'"),
        (lambda fields: fields.flag("f", True), 1, "must be true or false, not 1"),
        (lambda fields: fields.number("f"), True, "must be a number, not True"),
        (lambda fields: fields.number("f"), float("nan"), "must be a number, not nan"),
        (lambda fields: fields.number("f", above=0.0), 0, "must be above 0, not 0"),
        (lambda fields: fields.number("f", at_least=1.0), 0.5, "must be at least 1, not 0.5"),
        (lambda fields: fields.number("f", at_most=1.0), 2, "must be at most 1, not 2"),
        (lambda fields: fields.whole("f", 1, at_least=1), 0, "must be a whole number of at least 1"),
        (lambda fields: fields.whole("f", 1, at_least=1), 2.5, "must be a whole number"),
        (lambda fields: fields.spans("f"), [[5, 5]], "each span must end after it starts"),
        (lambda fields: fields.spans("f"), [[5]], "must be a list of pairs of numbers"),
        (lambda fields: fields.spans("f"), 5, "must be a list of pairs of numbers"),
        (lambda fields: fields.knots("f", ()), [[5, 0], [5, 1]], "in order of time"),
        (lambda fields: fields.knots("f", ()), [], "in order of time"),
        (lambda fields: fields.table("f"), 1, "must be a table"),
        (lambda fields: fields.tables("f"), {}, "must be a list of tables"),
    ],
)
def test_what_cannot_be_used_is_named(take: object, value: object, says: str) -> None:
    with pytest.raises(SimulatorError) as caught:
        take(table(f=value))  # type: ignore[operator]
    assert str(caught.value).startswith("plant.toml: machine m1: f: ")
    assert says in str(caught.value)


def test_a_field_that_must_be_given_is_missed() -> None:
    with pytest.raises(SimulatorError, match=r"plant\.toml: machine m1: rpm: is missing"):
        table().number("rpm")


def test_a_slip_of_the_pen_is_told() -> None:
    fields = table(rpm=1, speeed=2)
    fields.number("rpm")
    with pytest.raises(SimulatorError, match="speeed: no such field here"):
        fields.finish()


def test_tables_are_named_by_their_id_or_place() -> None:
    inner = table(sensor=[{"id": "s-0001"}, {}]).tables("sensor")
    with pytest.raises(SimulatorError, match="sensor s-0001: gain"):
        inner[0].number("gain")
    with pytest.raises(SimulatorError, match="sensor 2: gain"):
        inner[1].number("gain")
