"""The tree of lines and marks: what differs is written, and it reads as if it had been made anew."""

import pytest

from depthwright import edits
from depthwright.job import Tie
from depthwright.results.evaluate import evaluate
from depthwright.simulate.drawn import Evidence, draw_line
from depthwright_app.job_state import Selection
from depthwright_app.panels.marks_tree import MarksTree

TIE = Tie(depth_mm=50.0, plus_minus_mm=1.0)
SECOND = Selection("line-1", "bar-2")


@pytest.fixture(scope="module")
def job():
    return draw_line(3, Evidence(ties=0, curvature=False), bars=5).job


@pytest.fixture
def make_tree(qtbot):
    def make():
        tree = MarksTree()
        qtbot.addWidget(tree)
        return tree

    return make


def show(tree, job, selection=None, missing=()):
    tree.show_job(job, evaluate(job), "line-1", selection, set(missing))


def items(tree):
    tops = [tree.topLevelItem(index) for index in range(tree.topLevelItemCount())]
    return [i for top in tops for i in (top, *(top.child(n) for n in range(top.childCount())))]


def read(tree):
    """All that can be seen of each item."""
    return [
        (
            item.text(0),
            item.text(1),
            item.font(0).weight(),
            item.font(1).italic(),
            item.textAlignment(1),
            item is tree.currentItem(),
            item.isSelected(),
        )
        for item in items(tree)
    ]


def changes(job):
    tied = edits.tie_mark(job, "line-1", "bar-2", TIE)
    return {
        "a tie": (tied, SECOND, ()),
        "a tie set aside": (
            edits.tie_mark(job, "line-1", "bar-2", TIE.model_copy(update={"set_aside": "x"})),
            SECOND,
            (),
        ),
        "another unit": (edits.change_job(tied, unit="in"), SECOND, ()),
        "another selection": (job, Selection("line-1", "bar-4"), ()),
        "no selection": (job, None, ()),
        "a mark less": (edits.delete_mark(job, "line-1", "bar-3"), SECOND, ()),
        "a mark more": (edits.add_note(job, "line-1", 100.0, 3.0, "joint")[0], SECOND, ()),
        "a scan missing": (job, SECOND, ("line-1",)),
    }


@pytest.mark.parametrize("change", changes(draw_line(3, Evidence(), bars=5).job))
def test_after_any_change_it_reads_as_a_new_one(job, make_tree, change):
    changed, selection, missing = changes(job)[change]
    tree, fresh = make_tree(), make_tree()
    show(tree, job, SECOND)
    before = read(tree)
    show(tree, changed, selection, missing)
    show(fresh, changed, selection, missing)
    assert read(tree) == read(fresh) != before
    assert tree.columnWidth(1) == fresh.columnWidth(1)


def test_a_tie_keeps_the_items_and_what_is_folded(job, make_tree):
    tree = make_tree()
    show(tree, job)
    before = items(tree)
    before[0].setExpanded(False)
    show(tree, edits.tie_mark(job, "line-1", "bar-2", TIE))
    assert all(item is was for item, was in zip(items(tree), before, strict=True))
    assert not before[0].isExpanded()


def test_the_depths_have_room(job, make_tree):
    tree = make_tree()
    for unit in ("mm", "in"):
        show(tree, edits.change_job(job, unit=unit))
        width = max(tree.fontMetrics().horizontalAdvance(row[1]) for row in read(tree))
        assert tree.columnWidth(1) > width


def test_writing_chooses_nothing(job, make_tree):
    tree, heard = make_tree(), []
    tree.chosen.connect(heard.append)
    tree.line_chosen.connect(heard.append)
    for changed, selection, _ in changes(job).values():
        show(tree, changed, selection)
    assert heard == []
