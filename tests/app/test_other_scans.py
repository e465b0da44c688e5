"""A line only ever shows its own scan, whatever is removed, added, undone or opened meanwhile."""


def test_undo_after_remove_and_add_brings_the_right_scan_back(hand, demo):
    document = hand.document
    document.show_line("line-2")
    second = document.job.line("line-2").scan.sha256
    hand.trigger("remove-line")
    hand.window.keeper.add_scan(demo.parent / "deck-L1.sgy")
    hand.settle()
    assert document.job.line("line-2").scan.sha256 != second
    hand.trigger("undo")
    hand.trigger("undo")
    hand.settle()
    assert document.job.line("line-2").scan.sha256 == second
    assert document.stages["line-2"].scan.sha256 == second


def test_a_scan_that_arrives_late_does_not_enter_another_job(hand, demo):
    hand.window.keeper.open_job(demo)
    hand.window.keeper.new_job()
    hand.settle()
    assert not hand.document.stages
    hand.window.keeper.add_scan(demo.parent / "deck-L1.sgy")
    hand.window.keeper.new_job()
    hand.settle()
    assert not hand.document.job.lines
