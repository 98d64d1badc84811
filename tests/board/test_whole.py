"""Pages of several gateways as one: nothing doubled, nothing left out, no sum where none is right."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from edgemon.board.view import whole
from edgemon.board.view.performance import lines
from edgemon.model.performance import Share
from edgemon.model.shift import BlockView, HandoverView
from edgemon.model.snapshot import JournalView, Outcome
from tests.board.test_performance import FIGURES

TIMES = st.lists(st.floats(0.0, 1e6, allow_nan=False), max_size=12)


def entries(times: list[float]) -> list[JournalView]:
    """A journal, newest first; its clock may have been set back."""
    return [JournalView(seq, t, "alarm-changed", f"entry {seq}") for seq, t in sorted(enumerate(times, 1), reverse=True)]


@given(st.lists(TIMES, min_size=1, max_size=4), st.integers(1, 7))
def test_paging_through_all_journals_gives_every_entry_once_and_each_journal_in_its_order(
    journals: list[list[float]], limit: int
) -> None:
    each, names = [entries(times) for times in journals], [f"gw-{place}" for place in range(len(journals))]
    read: list[JournalView] = []
    before: int | None = None
    while True:
        begun = whole.befores(before, len(each))
        asked = [
            [one for one in journal if start is None or one.seq < start][:limit]
            for journal, start in zip(each, begun, strict=True)
        ]
        page = whole.journal(names, asked, begun, limit)
        read += page
        if len(page) < limit:
            break
        before = page[-1].seq
    for name, journal in zip(names, each, strict=True):
        mine = [one for one in read if one.text.startswith(f"{name}: ")]
        assert [(one.t, one.text) for one in mine] == [(one.t, f"{name}: {one.text}") for one in journal]
    assert len(read) == sum(map(len, journals))
    if all(times == sorted(times) for times in journals):
        assert [one.t for one in read] == sorted((one.t for one in read), reverse=True)


def test_a_journal_that_is_missing_is_said_once_and_not_begun_in_the_middle() -> None:
    page = whole.journal(["a", "b"], [entries([1.0, 2.0, 3.0]), ()], (None, None), 2)
    told = whole.with_gaps(page, ["a", "b"], [(), "no daemon answers"], 2, 9.0)
    assert [one.text for one in told] == ["b: ITS JOURNAL IS MISSING HERE: no daemon answers", "a: entry 3"]
    assert whole.befores(told[-1].seq, 2) == (3, 0)


def page(digest: str, taken_by: str, *standing: str) -> HandoverView:
    return HandoverView(10.0, 20.0, taken_by, (BlockView("Standing alarms", standing or ("none",)),), digest)


def test_the_handover_page_names_each_gateway_and_holds_the_digest_of_each() -> None:
    merged = whole.handover(["a", "b", "c"], [page("aa", "kim", "pump 1"), "gone", page("cc", "", "pump 3")])
    assert [block.title for block in merged.blocks] == ["Gateways", "Standing alarms"]
    assert merged.blocks[1].lines == ("a: pump 1", "c: pump 3")
    assert merged.blocks[0].lines[1] == "b: ITS PAGE IS MISSING, and it is not taken over from here: gone"
    assert merged.taken_by == "kim at a, nobody at c"
    assert whole.digests(merged.digest) == ("aa", "", "cc")
    assert whole.handover(["a", "b"], [page("aa", "kim"), page("bb", "kim")]).blocks[1].lines == ("none",)


def test_figures_are_each_gateways_own_and_only_counts_add_up() -> None:
    one = replace(FIGURES, annunciations=10, contributors=(Share("x/y/z", 6, 0.6),), severities=(Share("alarm", 10, 1.0),))
    other = replace(FIGURES, annunciations=30, contributors=(Share("x/y/z", 9, 0.3),), severities=(Share("alarm", 3, 0.1),))
    merged = whole.performance({"a": one, "b": other}, {"c": "gone"})
    assert merged.annunciations == 40
    assert merged.severities == (Share("alarm", 13, 13 / 40),)
    assert merged.contributors == (Share("b: x/y/z", 9, 9 / 40), Share("a: x/y/z", 6, 6 / 40))
    assert [fig.value for fig in merged.figures] == [fig.value for fig in (*one.figures, *other.figures)]
    assert all(fig.title.startswith(("a: ", "b: ")) for fig in merged.figures)
    rows = lines(merged, sources=False)
    head = next(at for at, row in enumerate(rows) if row.startswith("figure "))
    named = zip(rows[head + 1 :], merged.figures, strict=False)
    starts = {row.index(fig.target, len(fig.title)) for row, fig in named if fig.target}
    assert starts == {rows[head].index("asked for")}
    assert merged.remarks[:2] == ("c is missing: gone", whole.OWN_FIGURES)


def test_what_came_of_an_order_to_all_names_who_did_not_do_it() -> None:
    assert whole.outcome(["a", "b"], [Outcome(True), Outcome(True)]) == Outcome(True)
    assert whole.outcome(["a", "b"], [Outcome(True), Outcome(False, "viewer")]) == whole.Partly(
        True, "done at a, NOT at b: viewer"
    )
    assert whole.outcome(["a", "b"], [Outcome(False, "x"), Outcome(False, "y")]) == Outcome(False, "NOT at a: x; NOT at b: y")
