"""The journal on disk: what it promises, what it refuses, and what a second program sees."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import datetime
from pathlib import Path

import pytest

from borelog.logbook import chain, schema
from borelog.logbook.connection import FILE
from borelog.logbook.entries import Correct, Note, Opened, Undo, decode
from borelog.logbook.errors import LogbookError, NotUnderstood
from borelog.logbook.journal import Journal
from borelog.logbook.summaries import Said


def test_what_was_appended_is_there_for_the_next_program(folder: Path) -> None:
    with Journal.open(folder) as journal:
        id_ = journal.create("Grey estate", who="ab", demo=True, at="2026-03-01T10:00:00+01:00")
        stored = journal.append(
            id_, Note("a", 2), who="ab", how="seen clearly", at=datetime(2026, 3, 1).astimezone()
        )
        assert decode(stored.raw) == stored
        writer = journal.writer
    with Journal.open(folder) as journal:
        inspection = journal.inspection(id_)
        assert (inspection.name, inspection.demo, inspection.entries) == ("Grey estate", True, 2)
        assert [r.body for r in inspection.of(Note)] == [Note("a", 2)]
        assert journal.entries(id_)[-1].entry.how == "seen clearly"
        assert journal.writer == writer
        assert chain.faults(journal.entries(id_)) == []


def test_the_settings_are_those_of_the_protocol(journal: Journal) -> None:
    got = {
        name: journal._db.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("journal_mode", "synchronous", "foreign_keys", "recursive_triggers", "trusted_schema")
    }
    assert got == {
        "journal_mode": "delete",
        "synchronous": 3,
        "foreign_keys": 1,
        "recursive_triggers": 1,
        "trusted_schema": 0,
    }
    assert journal._db.execute("PRAGMA application_id").fetchone()[0] == schema.APPLICATION_ID
    tables = journal._db.execute("PRAGMA table_list").fetchall()
    assert all(
        strict for _, name, kind, _, _, strict in tables if kind == "table" and not name.startswith("sqlite")
    )


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE entry SET clock=9",
        "DELETE FROM entry",
        "UPDATE inspection SET id='x'",
        "DELETE FROM inspection",
        "REPLACE INTO entry SELECT * FROM entry",
        "INSERT INTO entry (inspection, writer, number, clock, id, digest, raw) SELECT inspection, writer, number, "
        "clock, 'other', digest, raw FROM entry",
        "INSERT INTO entry (inspection, writer, number, clock, id, digest, raw) VALUES (1, 'w', 0, 1, 'x', '', '')",
        "INSERT INTO entry (inspection, writer, number, clock, id, digest, raw) VALUES (99, 'w', 1, 1, 'x', "
        "printf('%064d', 1), x'00')",
    ],
)
def test_the_database_itself_refuses_to_change_or_forge_entries(journal: Journal, sql: str) -> None:
    journal.create("One", who="ab")
    with pytest.raises(sqlite3.IntegrityError):
        journal._db.execute(sql)


def test_several_in_one_transaction_are_all_there_or_none(journal: Journal) -> None:
    id_ = journal.create("One", who="ab")
    stored = journal.append_many(id_, [(Note("a"), "x"), (Note("b"), "y")], who="ab")
    assert [s.entry.number for s in stored] == [2, 3]
    assert journal.append_many(id_, [], who="ab") == ()
    journal._db.execute(
        "CREATE TEMP TRIGGER stop BEFORE INSERT ON entry WHEN new.number=5 BEGIN SELECT RAISE(ABORT, 'x'); END"
    )
    with pytest.raises(LogbookError):
        journal.append_many(id_, [(Note("c"), ""), (Note("d"), "")], who="ab")
    assert [body for _, body, _, _ in journal.unsaved] == [Note("c"), Note("d")]
    assert journal.inspection(id_).entries == 3
    journal._db.execute("DROP TRIGGER temp.stop")
    journal.append(id_, Note("c"), who="ab")
    assert chain.faults(journal.entries(id_)) == []


def test_an_unknown_inspection_is_named_and_nothing_is_kept(journal: Journal) -> None:
    with pytest.raises(LogbookError, match="no inspection nowhere"):
        journal.append("nowhere", Note("a"), who="ab")
    assert journal.ids() == []


def test_finding_by_number_name_part_and_last(journal: Journal) -> None:
    with pytest.raises(LogbookError, match="empty"):
        journal.find("last")
    grey = journal.create("Grey estate", who="ab")
    blue = journal.create("Blue Estate 2", who="ab")
    assert [journal.find(t) for t in ("1", "grey", "last", "2", "ESTATE 2", blue)] == [
        grey,
        grey,
        blue,
        blue,
        blue,
        blue,
    ]
    journal.append(grey, Note("later"), who="ab")
    assert journal.find("last") == grey
    with pytest.raises(LogbookError, match=r"several.*1 Grey estate"):
        journal.find("estate")
    with pytest.raises(LogbookError, match="no inspection 'red'"):
        journal.find("red")
    with pytest.raises(LogbookError):
        journal.find("")


def test_the_list_follows_names_and_keeps_what_was_said_only_for_its_state_and_tables(
    journal: Journal,
) -> None:
    one = journal.create("One", who="ab")
    journal.create("Two", who="ab")
    journal.say(one, Said("in-line 4", "scuff", "rebuild", 3), head=journal.head(one), tables="t1")
    by_id = {s.id: s for s in journal.summaries("t1")}
    assert by_id[one].said == Said("in-line 4", "scuff", "rebuild", 3)
    assert {s.id: s for s in journal.summaries("t2")}[one].said is None
    rename = journal.append(one, Opened("Uno"), who="ab")
    (first, second) = journal.summaries()
    assert (first.name, first.said, first.entries, first.number) == ("Uno", None, 2, 1)
    assert first.head == journal.head(one)
    assert second.name == "Two"
    journal.append(one, Undo(rename.entry.id), who="ab")
    assert journal.summaries()[0].name == "One"
    journal.append(one, Correct(journal.entries(one)[0].entry.id, Opened("Eins")), who="ab")
    assert journal.summaries()[0].name == journal.inspection(one).name == "Eins"


def test_another_screen_follows(folder: Path, journal: Journal) -> None:
    id_ = journal.create("One", who="ab")
    with Journal.open(folder) as screen:
        before = screen.version()
        assert screen.version() == before
        assert screen.inspection(id_).entries == 1
        journal.append(id_, Note("a"), who="ab")
        assert screen.version() != before
        assert screen.inspection(id_).entries == 2
        own = screen.version()
        screen.append(id_, Note("b"), who="cd")
        assert screen.version() != own
        assert screen.writer == journal.writer
        assert [s.entry.number for s in journal.entries(id_)] == [1, 2, 3]


def test_an_inspection_is_folded_again_only_after_something_came_in(journal: Journal) -> None:
    id_ = journal.create("One", who="ab")
    first = journal.inspection(id_)
    assert journal.inspection(id_) is first
    for n in range(30):
        journal.create(str(n), who="ab")
        journal.inspection(journal.find("last"))
    assert journal.inspection(id_) == first
    assert len(journal._held) <= 12


def test_whereabouts_are_a_scratch_note_without_a_trace_in_the_journal(journal: Journal) -> None:
    assert journal.whereabouts() == {}
    version = journal.version()
    journal.set_whereabouts({"inspection": "x", "cylinder": 3, "place": None})
    assert journal.whereabouts() == {"inspection": "x", "cylinder": 3, "place": None}
    assert journal.version() == version
    (journal.folder / "whereabouts.json").write_text("[broken")
    assert journal.whereabouts() == {}


def test_reading_only_leaves_no_trace_and_refuses_to_write(folder: Path) -> None:
    with Journal.open(folder) as journal:
        id_ = journal.create("One", who="ab")
    before = (folder / FILE).read_bytes()
    with Journal.open(folder, read_only=True) as journal:
        assert journal.inspection(id_).name == "One"
        assert journal.writer == ""
        journal.say(id_, Said("x"), head="", tables="")
        journal.set_whereabouts({"a": 1})
        with pytest.raises(LogbookError, match="reading only"):
            journal.append(id_, Note("a"), who="ab")
    assert (folder / FILE).read_bytes() == before


def test_a_missing_logbook_is_not_made_by_looking(folder: Path) -> None:
    for kind in ({"read_only": True}, {"create": False}):
        with pytest.raises(LogbookError, match="there is no logbook"):
            Journal.open(folder, **kind)
    assert not folder.exists()


def test_a_newer_logbook_and_another_programs_database_are_refused_untouched(folder: Path) -> None:
    Journal.open(folder).close()
    with closing(sqlite3.connect(folder / FILE)) as db, db:
        db.execute(f"PRAGMA user_version={schema.VERSION + 1}")
    before = (folder / FILE).read_bytes()
    with pytest.raises(NotUnderstood, match="newer borelog"):
        Journal.open(folder)
    assert (folder / FILE).read_bytes() == before
    (folder / FILE).unlink()
    with closing(sqlite3.connect(folder / FILE)) as db, db:
        db.execute("CREATE TABLE songs (title TEXT)")
    with pytest.raises(NotUnderstood, match="another program"):
        Journal.open(folder)
    (folder / FILE).write_bytes(b"just some text, long enough to be looked at " * 40)
    with pytest.raises(NotUnderstood, match="no database"):
        Journal.open(folder)


def test_an_empty_file_left_by_a_pulled_plug_is_begun_again(folder: Path) -> None:
    folder.mkdir()
    (folder / FILE).touch()
    with Journal.open(folder) as journal:
        assert journal.summaries() == []
        journal.create("One", who="ab")


def test_a_folder_that_cannot_be_is_one_plain_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(LogbookError) as caught:
        Journal.open(tmp_path / "file" / "logbook")
    assert "\n" not in str(caught.value)


SCRIPT = """
import sys
from pathlib import Path
from borelog.logbook.journal import Journal
from borelog.logbook.entries import Note
with Journal.open(Path(sys.argv[1])) as journal:
    for n in range(int(sys.argv[3])):
        journal.append(sys.argv[2], Note(f"{sys.argv[4]} {n}"), who=sys.argv[4])
"""


def test_several_programs_append_at_once_and_nothing_is_lost(folder: Path, journal: Journal) -> None:
    id_ = journal.create("One", who="ab")
    running = [
        subprocess.Popen([sys.executable, "-c", SCRIPT, str(folder), id_, "25", name], env=dict(os.environ))
        for name in ("watch", "add", "record")
    ]
    for n in range(25):
        journal.append(id_, Note(f"screen {n}"), who="screen")
    assert [p.wait(60) for p in running] == [0, 0, 0]
    texts = [r.body.text for r in journal.inspection(id_).of(Note)]
    assert len(texts) == 100
    for name in ("watch", "add", "record", "screen"):
        assert [t for t in texts if t.startswith(name)] == [f"{name} {n}" for n in range(25)]
    assert chain.faults(journal.entries(id_)) == []
    assert len({s.entry.writer for s in journal.entries(id_)}) == 1


def test_threads_may_share_one_journal(journal: Journal) -> None:
    from concurrent.futures import ThreadPoolExecutor

    id_ = journal.create("One", who="ab")
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(lambda n: journal.append(id_, Note(str(n)), who="ab"), range(40)))
    assert journal.inspection(id_).entries == 41
    assert chain.faults(journal.entries(id_)) == []
