"""Questions that more than one screen asks: a finding, own words, everything looked at, how it is taken."""

from __future__ import annotations

from typing import Any

from borelog.acts import entering
from borelog.acts.bench import NOT_NAMED
from borelog.knowledge import tables
from borelog.logbook.coverage import unseen
from borelog.logbook.entries import Codes, Consent, Content, Finding, Looked, Mark, Note, StillFiled, Told
from borelog.marks.places import Looked as State
from borelog.marks.places import Place, grid_places, place_words
from borelog.marks.vocabulary import AGE, CERTAINTY, SEVERITY, Term, terms
from borelog.text import one_line
from borelog.tui.ask import Ask, Choose, Field
from borelog.tui.base import Room
from borelog.tui.desk import Outcome


def looked_nothing(room: Room) -> None:
    """Note 'looked, nothing' at every place of the cylinder in hand of which nothing is noted."""
    desk, cylinder = room.desk, room.desk.cylinder
    if not desk.inspection or cylinder is None:
        room.say("no cylinder is in hand", "watch")
        return
    places = unseen(desk.inspection, cylinder)
    if not places:
        room.say(f"cylinder {cylinder}: every place is noted already")
        return
    bodies: list[tuple[Content, str]] = [(Looked(State.NOTHING, cylinder, p), "seen clearly") for p in places]
    at = desk.at
    room.screens.do(
        lambda: entering.enter_all(at.bench, at.id, bodies),
        f"cylinder {cylinder}: looked at {len(places)} places, nothing found",
    )


def rests_on(room: Room, entries: tuple[str, ...]) -> None:
    """Go to the reading or still that something rests on; ask which where there are several."""
    if not entries:
        room.say("this rests on no single reading or still", "watch")
    elif len(entries) == 1:
        room.screens.show_entry(entries[0])
    else:
        room.app.push_screen(
            Choose("It rests on", [(e, entry_words(room, e), "") for e in entries], typing=True),
            lambda e: room.screens.show_entry(e) if e else None,
        )


def entry_words(room: Room, entry: str) -> str:
    """An entry in words."""
    from borelog.acts.words import body_words

    thing = room.desk.inspection.find(entry) if room.desk.inspection else None
    if thing is None:
        return entry[:8]
    return one_line(thing.body.name, 60) if isinstance(thing.body, StillFiled) else body_words(thing.body)


def past_calls(room: Room) -> None:
    """Show how the calls of the logbook held; worked out off the screens' thread."""
    from borelog.acts.learning import score

    bench = room.desk.bench

    def done(outcome: Outcome) -> None:
        if not outcome.failed:
            from borelog.tui.screens.reading_page import Page
            from borelog.tui.views.score import score_page

            room.app.push_screen(Page("Past calls", lambda wide: score_page(outcome.value, wide)))

    room.screens.do(lambda: score(bench), then=done)


def place_options(cylinder: bool) -> list[tuple[Place | None, str, str]]:
    """Every place as an answer, with none first."""
    scope = "cylinder" if cylinder else "engine"
    return [(None, "no place in particular", ""), *((p, place_words(p), "") for p in grid_places(scope))]


def finding(
    room: Room,
    cylinder: int | None,
    marks: tuple[Mark, ...] = (),
    place: Place | None = None,
    method: str = "",
    then: Any = None,
) -> None:
    """Ask for a finding: the term, the place, how bad and how sure; then enter it."""
    options: list[tuple[Any, str, str]] = [
        (t, f"{t.component}: {t.term}", f"{t.looks_like[:60]}") for t in terms().values()
    ]
    options.append(("own", "own words", "a finding the list does not have"))

    def named(term: Any) -> None:
        if term is None:
            return
        if term == "own":
            room.app.push_screen(
                Ask(
                    "A finding in own words",
                    [Field("own", "What is it?")],
                    check=lambda v: "" if v["own"].strip() else "a word or two, please",
                ),
                own,
            )
        elif place is not None:
            how_bad(term, "", place)
        else:
            where(term, "")

    def own(values: dict[str, str] | None) -> None:
        if values:
            where(None, values["own"].strip())

    def where(term: Term | None, words: str) -> None:
        room.app.push_screen(
            Choose(
                f"Where? {term.term if term else one_line(words, 40)}",
                place_options(cylinder is not None),
                typing=True,
                words="Type a few letters, for example 'bore ex top'.",
            ),
            lambda p: how_bad(term, words, p),
        )

    def how_bad(term: Term | None, words: str, p: Place | None) -> None:
        usual = term.severity if term else 1
        order = [usual, *(k for k in range(len(SEVERITY)) if k != usual)]
        more = (
            f"Could it be {term.faked_by}? Then choose a lower one, or look again."
            if term and term.faked_by not in ("", "-")
            else ""
        )
        room.app.push_screen(
            Choose(
                "How bad?",
                [(k, f"{SEVERITY[k]}{' (usual)' if k == usual else ''}", str(k)) for k in order],
                words=more,
            ),
            lambda severity: None if severity is None else how_sure(term, words, p, severity),
        )

    def how_sure(term: Term | None, words: str, p: Place | None, severity: int) -> None:
        options = [(c, c, str(k + 1)) for k, c in enumerate(CERTAINTY)]
        room.app.push_screen(
            Choose("How sure?", options),
            lambda certainty: None if certainty is None else how_old(term, words, p, severity, certainty),
        )

    def how_old(term: Term | None, words: str, p: Place | None, severity: int, certainty: str) -> None:
        def enter(age: str | None) -> None:
            if age is None:
                return
            body = Finding(
                term=term.id if term else "own", cylinder=cylinder, place=p, component=term.component if term else "", own=words,
                severity=severity, certainty=certainty, age=age, marks=marks, method=method,
            )  # fmt: skip
            at = room.desk.at
            said = f"found: {term.term if term else one_line(words, 40)}" + (
                f" on {cylinder}" if cylinder is not None else ""
            )
            if term and term.classic_fake and len(marks) < 2:
                said += f" - take a second still: could it be {term.faked_by}?"
            room.screens.do(lambda: entering.enter(at.bench, at.id, body, certainty), said, then=then)

        room.app.push_screen(Choose("Old or fresh?", [(a, a, str(k + 1)) for k, a in enumerate(AGE)]), enter)

    where_words = f"Cylinder {cylinder}" if cylinder is not None else "Engine"
    room.app.push_screen(
        Choose(
            f"{where_words}: what was found?",
            options,
            typing=True,
            words="Type a few letters of what it is called or looks like.",
        ),
        named,
    )


KINDS = (
    ("note", "a note of your own", "1"),
    ("told", "what somebody said, with the date", "2"),
    ("codes", "trouble codes, as read", "3"),
    ("consent", "consent to open, with the stop price", "4"),
)


def words(room: Room, cylinder: int | None) -> None:
    """Ask what kind of words, then for the words."""
    forms: dict[str, tuple[str, list[Field], str]] = {
        "note": (f"Note{f' on cylinder {cylinder}' if cylinder is not None else ''}", [Field("text", "Words", long=True)], ""),
        "told": ("What was said", [Field("by", "Who said it"), Field("on", "When (as told)"), Field("text", "Their words", long=True)], "Kept as told, with less weight than what you saw."),
        "codes": ("Trouble codes", [Field("text", "Codes", "P0303 P0300"), Field("frozen", "Freeze frame, in words"), Field("battery", "Battery disturbed before? yes, no or blank")], "Read them before the battery is disconnected or charged."),
        "consent": ("Consent to open", [Field("by", "Given by"), Field("put_back_price", "Price of putting it back together"), Field("stop_price", "Price at which to stop and ask"), Field("on", "When"), Field("text", "Their words")], "Local law may ask for it in writing, before anything is opened."),
    }  # fmt: skip

    def kind(name: str | None) -> None:
        if name is None:
            return
        title, fields, more = forms[name]
        room.app.push_screen(
            Ask(
                title,
                fields,
                words=more,
                check=lambda v: "" if any(x.strip() for x in v.values()) else "nothing is written yet",
            ),
            lambda values: enter(name, values),
        )

    def enter(name: str, v: dict[str, str] | None) -> None:
        if not v:
            return
        body: Content
        if name == "note":
            body = Note(v["text"].strip(), cylinder)
        elif name == "told":
            body = Told(v["by"].strip(), v["text"].strip(), v["on"].strip())
        elif name == "codes":
            battery = {"y": True, "n": False}.get(v["battery"].strip().lower()[:1])
            body = Codes(v["text"].strip(), battery, v["frozen"].strip())
        else:
            body = Consent(
                v["by"].strip(),
                v["put_back_price"].strip(),
                v["stop_price"].strip(),
                v["text"].strip(),
                v["on"].strip(),
            )
        at = room.desk.at
        room.screens.do(lambda: entering.enter(at.bench, at.id, body), f"noted: {title_of(name)}")

    def title_of(name: str) -> str:
        return next(text for id_, text, _ in KINDS if id_ == name)

    room.app.push_screen(Choose("What kind of words?", KINDS), kind)


def who_is_here(room: Room) -> None:
    """Ask who is at the bench; in force until the screens are left."""
    who = room.desk.bench.who

    def answered(values: dict[str, str] | None) -> None:
        if values:
            name = one_line(values["who"], 80)
            room.desk.take_over(name)
            room.say(f"from now on entered by {name}; what was entered before keeps the name it has")
            room.show()

    room.app.push_screen(
        Ask(
            "Who is at the bench?",
            [
                Field(
                    "who",
                    "Name or initials",
                    "as whoever reads the pack shall see it",
                    "" if who == NOT_NAMED else who,
                )
            ],
            words="It stands beside every entry from now on. BORELOG_WHO or --who names it before the start.",
            check=lambda v: "" if one_line(v["who"]) else "a name or initials, please",
        ),
        answered,
    )


def how_taken(room: Room) -> None:
    """Ask how the next entries are taken; stays in force until changed."""
    seen: dict[str, str] = {}
    for r in tables.rows("how.csv", "words", "how", "label", "why"):
        seen.setdefault(r["label"], r["why"])
    options = [("", "as usual: numbers measured, answers seen", "0")]
    options += [
        (label, f"{label}{f' - {why}' if why else ''}", str(k))
        for k, (label, why) in enumerate(seen.items(), 1)
    ]

    def answered(label: str | None) -> None:
        if label is None:
            return
        if label == "told":
            room.app.push_screen(
                Ask("Told by whom?", [Field("by", "Name or role", "the seller")]),
                lambda v: set_how(f"told by {v['by'].strip()}" if v and v["by"].strip() else "told"),
            )
        else:
            set_how(label)

    def set_how(label: str) -> None:
        room.desk.how = label
        room.say(f"from now on entered as: {label or 'as usual'}")
        room.show()

    room.app.push_screen(Choose("How are the next entries taken?", options), answered)
