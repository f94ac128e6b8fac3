"""Undo and redo as a list and a cursor, without Qt."""

from palpate.app.history import History
from palpate.core.settings import Settings

FIRST = Settings()
CONE = FIRST.with_value("fit.law", "cone")
PUNCH = FIRST.with_value("fit.law", "punch")


def test_undo_and_redo_walk_the_acts_and_name_them():
    history = History(FIRST)
    assert not history.undo()
    assert history.push(CONE, "contact law")
    assert history.push(PUNCH, "punch")
    assert (history.undo_words, history.redo_words) == ("punch", "")
    assert history.undo()
    assert history.current is CONE
    assert (history.undo_words, history.redo_words) == ("contact law", "punch")
    assert history.redo()
    assert history.current is PUNCH
    assert not history.redo()


def test_a_new_act_forgets_what_had_been_undone():
    history = History(FIRST)
    history.push(CONE, "contact law")
    history.undo()
    history.push(PUNCH, "punch")
    assert history.redo_words == ""
    assert len(history) == 2


def test_equal_settings_are_no_act():
    history = History(FIRST)
    assert not history.push(Settings(), "nothing")
    assert len(history) == 1


def test_acts_with_one_merge_word_become_one_entry_until_another_act_comes_between():
    history = History(FIRST)
    for extent in (51.0, 52.0, 53.0):
        history.push(FIRST.with_value("baseline.extent", extent), "extent", merge="a")
    assert len(history) == 2
    history.push(FIRST.with_value("baseline.extent", 60.0), "extent", merge="b")
    assert len(history) == 3
    history.undo()
    assert history.current.baseline.extent == 53.0


def test_a_drag_is_shown_but_is_no_act_until_it_is_pushed():
    history = History(FIRST)
    assert not history.drag()
    assert history.drag(CONE)
    assert not history.drag(CONE)
    assert (history.shown, history.current) == (CONE, FIRST)
    assert history.drop() is CONE
    assert history.shown is FIRST
    assert history.drop() is None


def test_undo_in_the_middle_of_a_drag_lets_go_first():
    history = History(FIRST)
    history.push(CONE, "contact law")
    history.drag(PUNCH)
    history.undo()
    assert not history.dragging
    assert history.shown is FIRST
