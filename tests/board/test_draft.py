"""Orders while they are being written: what is offered ends at both ends, and a reason is asked for where one belongs."""

from dataclasses import replace

import pytest

from edgemon.board.view.collection import FastDraft
from edgemon.board.view.draft import Written, keys
from edgemon.board.view.orders import Draft, Order
from edgemon.board.view.proof import ProofDraft
from edgemon.model.collection import CollectionView
from edgemon.model.command import Person, Role
from edgemon.model.proof import Scope
from tests.support import sites

ENGINEER = Person("engineer on site", Role.ENGINEER, "control room")
FAST = FastDraft("High-pressure pump 1", "s-0001", CollectionView(600.0, 6400.0, 4096, ("x",), None), ENGINEER)
PROOF = ProofDraft((("the point", Scope()), ("the whole plant", Scope())), ENGINEER)


def shelf(order: Order = Order.SHELVE) -> Draft:
    machine, level = sites.machine(0), sites.level("velocity_rms", 5.0, 2.8, 4.5)
    return Draft(order, sites.alarm(machine, machine.points[0], level, max_shelve_s=3600.0), ENGINEER)


@pytest.mark.parametrize(
    ("draft", "choices", "first_s", "last_s"),
    [(FAST, 3, 900.0, 604_800.0), (PROOF, 2, 300.0, 28_800.0), (shelf(), 1, 900.0, 3600.0)],
)
def test_what_is_offered_ends_at_both_ends(draft: Written, choices: int, first_s: float, last_s: float) -> None:
    assert [draft.other(by).choice for by in (-9, 99)] == [0, choices - 1]
    assert [draft.longer(by).duration_s for by in (-9, 99)] == [first_s, last_s]
    assert draft.longer(1).duration_s > draft.duration_s
    assert draft.longer(99).longer(-1).duration_s < last_s


def test_a_fast_collection_is_never_shorter_than_one_of_its_intervals() -> None:
    slow = replace(FAST, shown=replace(FAST.shown, interval_s=86_400.0))
    assert slow.longer(-9).other(99).duration_s == 43_200.0


@pytest.mark.parametrize("draft", [FAST, PROOF, shelf()])
def test_a_reason_is_asked_for_before_the_yes(draft: Written) -> None:
    def text(one: Written) -> str:
        return "".join(span.text for span in keys(one, "begin", "no, begin nothing"))

    assert text(draft.because("  ")) == " write a reason first     esc no, begin nothing"
    assert text(draft.because("first proof")) == " enter begin     esc no, begin nothing"


def test_what_takes_no_reason_is_given_none() -> None:
    reset = shelf(Order.RESET)
    assert reset.lacks == ""
    assert reset.because("why") is reset
