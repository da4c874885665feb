"""The one table of what a key can do. Footer, help page, palette, key file and docs are all made from it.

Default keys come only from those that reach a program inside tmux, over ssh and on a phone's keyboard: letters, digits,
punctuation, F-keys but F10 and F11 (terminals keep those), arrows with ctrl or shift, ctrl with a letter that is not
Tab, Enter or Backspace in disguise. ctrl+j is what a keypad's Enter sends in tmux.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

EVERYWHERE = "everywhere"


@dataclass(frozen=True, slots=True)
class Action:
    """One row: ``where`` is EVERYWHERE or a screen, ``rank`` its place in the footer (0: not in the footer)."""

    id: str
    keys: tuple[str, ...]
    label: str
    sentence: str
    where: str
    rank: int = 0


def _row(where: str, id_: str, keys: str, label: str, sentence: str, rank: int = 0) -> Action:
    return Action(id_, tuple(keys.split()), label, sentence, where, rank)


def _rows(where: str, *rows: tuple[str, str, str, str] | tuple[str, str, str, str, int]) -> Iterator[Action]:
    for row in rows:
        yield _row(where, *row)


ACTIONS: tuple[Action, ...] = (
    *_rows(
        EVERYWHERE,
        ("help", "f1 question_mark", "Help", "Show every key that works here, and what the step asks of you.", 90),
        ("logbook", "f2", "Logbook", "Go to the list of inspections."),
        ("plan", "f3", "Cylinders", "Go to the cylinder plan: the whole engine at a glance."),
        ("readings", "f4", "Readings", "Go to the readings, in test order."),
        ("stills", "f5", "Stills", "Go to the pictures, their places and their marks."),
        ("verdict", "f6", "Verdict", "Go to the causes, the next test and the money."),
        ("pack", "f7", "Pack", "Go to the findings pack: for whom, what is left out, where it went."),
        ("large", "f8", "Large", "Switch large digits on or off, to be read from a metre."),
        ("light", "f9", "Light/dark", "Switch between the dark and the light colours."),
        ("doctor", "f12", "Doctor", "Show what this terminal can do and what was found missing."),
        ("person", "ctrl+e", "Who", "Say who is at the bench: entries from then on carry that name."),
        ("find", "ctrl+p ctrl+f", "Find", "Find an action, an inspection, a cylinder or a finding by its words.", 80),
        ("undo", "ctrl+z", "Undo", "Take back your own last entry; it is said in words what was taken back.", 70),
        ("redo", "ctrl+y", "Redo", "Bring back what was last undone."),
        ("back", "escape ctrl+o", "Back", "Go one step back; nothing typed is thrown away.", 60),
        ("quit", "ctrl+q", "Quit", "Leave. Everything is already on disk.", 95),
    ),
    *_rows(
        "logbook",
        ("open", "enter ctrl+j", "Open", "Open the inspection in hand.", 1),
        ("new", "n", "New", "Begin an inspection: a name is enough.", 2),
        ("search", "s slash", "Search", "Search everything recorded: names, facts, notes, findings, codes.", 3),
        ("demo", "d", "Demo", "Look at the invented demo engine, in a logbook of its own.", 4),
        ("take_in", "t", "Take in", "Take in a findings pack from somebody else.", 5),
        ("copy_setup", "c", "Same again", "Begin an inspection with the engine facts of the one in hand.", 6),
        ("score", "p", "Past calls", "Show how the calls of this logbook held: hit rate, Brier score, how sure against how often right.", 8),
        ("sort", "o", "Order", "Order by last change, by name or by worst finding.", 7),
    ),
    *_rows(
        "plan",
        ("cylinder_left", "left", "", "Go to the cylinder on the left in the drawing."),
        ("cylinder_right", "right", "", "Go to the cylinder on the right in the drawing."),
        ("cylinder_up", "up", "", "Go to the cylinder above in the drawing."),
        ("cylinder_down", "down", "", "Go to the cylinder below in the drawing."),
        ("next_cylinder", "right_square_bracket ctrl+right", "Next cyl", "Go to the next cylinder by number."),
        ("previous_cylinder", "left_square_bracket ctrl+left", "Prev cyl", "Go to the cylinder before by number."),
        ("measure_here", "enter ctrl+j r", "Measure", "Open the readings at this cylinder.", 1),
        ("looked_nothing", "l", "Looked, nothing", "Note for every place of this cylinder not noted yet: looked, nothing found.", 2),
        ("finding", "f", "Finding", "Note a finding at this cylinder, without a picture.", 3),
        ("note", "w", "Words", "Write words of your own, the seller's claim, codes, or consent to open.", 4),
        ("facts", "e", "Engine", "Enter or mend the facts about engine and car.", 5),
        ("see_stills", "p", "Pictures", "Open the stills of this cylinder.", 6),
        ("why", "v", "Why", "Show why the verdict says what it says of this cylinder.", 7),
        ("seized", "z", "Seized", "Note that this cylinder cannot be tested: a seized engine differs from not done.", 8),
        ("sheet", "tab s", "Sheet", "Show the sheet of the cylinder alone, or the plan again."),
        ("scroll_sheet_down", "pagedown", "", "Scroll the sheet of the cylinder down."),
        ("scroll_sheet_up", "pageup", "", "Scroll the sheet of the cylinder up."),
    ),
    *_rows(
        "readings",
        ("accept", "enter ctrl+j", "Accept", "Accept what is typed and go on; on a cell, open it.", 1),
        ("retest", "asterisk", "Re-test", "Enter a second session beside the first; the first stays.", 4),
        ("ditto", "quotation_mark", "Ditto", "Enter the same as in the cell before.", 3),
        ("rest_same", "equals_sign", "Rest same", "Enter this cell's answer in the rest of its row, where nothing is noted.", 2),
        ("mend_last", "backspace", "Mend last", "Go back to what was entered last, to mend it.", 5),
        ("next_blank", "plus", "Next blank", "Jump to the next cell in which nothing is noted.", 6),
        ("not_done", "minus", "Not done", "Note that this was not done.", 7),
        ("not_possible", "slash", "Not possible", "Note that this cannot be done, for example on a seized engine."),
        ("nothing_here", "exclamation_mark", "Looked, nothing", "Note: looked, nothing found, at every place of this cylinder not noted yet."),
        ("take_back", "delete", "Withdraw", "Withdraw the entry in this cell; it stays in the journal with its reason."),
        ("turning", "ctrl+t", "Turning", "Show where to turn the crank for the leak-down of each cylinder."),
        ("says", "ctrl+s", "Says", "Show what the readings say together: rules, pattern, trend, gain with oil, testers, plugs.", 8),
        ("trace", "ctrl+g", "Trace", "Take in a starter-current trace (CSV): it is drawn, and entered once you say so."),
        ("how", "ctrl+r", "How taken", "Say how the next entries are taken: measured, seen in part, told by somebody ..."),
        ("unit", "ctrl+n", "Unit", "Change the unit that a bare number means in this row."),
        ("row_up", "up", "", "Go to the row above."),
        ("row_down", "down", "", "Go to the row below."),
        ("cell_left", "left", "", "Go one cell to the left."),
        ("cell_right", "right", "", "Go one cell to the right."),
        ("group_down", "ctrl+down pagedown", "", "Go to the next test."),
        ("group_up", "ctrl+up pageup", "", "Go to the test before."),
        ("row_first", "home", "", "Go to the first cell of the row."),
        ("row_last", "end", "", "Go to the last cell of the row."),
    ),
    *_rows(
        "facts",
        ("accept", "enter ctrl+j", "Accept", "Accept what is typed and go on; on a fact, open it or list its answers.", 1),
        ("next_blank", "plus", "Next blank", "Jump to the next fact that is not noted.", 2),
        ("mend_last", "backspace", "Mend last", "Go back to what was entered last, to mend it.", 3),
        ("take_back", "delete", "Drop draft", "Drop what was typed here and not entered.", 4),
        ("row_up", "up", "", "Go to the fact above."),
        ("row_down", "down", "", "Go to the fact below."),
        ("group_down", "ctrl+down pagedown", "", "Go to the next group of facts."),
        ("group_up", "ctrl+up pageup", "", "Go to the group of facts before."),
    ),
    *_rows(
        "stills",
        ("next_still", "full_stop pagedown", "Next", "Show the next still.", 1),
        ("previous_still", "comma pageup", "Prev", "Show the still before.", 2),
        ("next_cylinder", "right_square_bracket ctrl+right", "Next cyl", "Show the stills of the next cylinder, then those not filed."),
        ("previous_cylinder", "left_square_bracket ctrl+left", "Prev cyl", "Show the stills of the cylinder before."),
        ("file_still", "f", "File", "Say which cylinder and place this still shows.", 3),
        ("take_stills", "t", "Take in", "Take in pictures from a card or folder.", 4),
        ("aside", "x", "Aside", "Set this still aside, or bring it back: a double, black, out of focus."),
        ("shift_run", "s", "Shift run", "Move this still and those after it in its run by one cylinder."),
        ("zoom_in", "plus equals_sign", "Nearer", "Look nearer, about the cross hair.", 5),
        ("zoom_out", "minus", "Farther", "Look from farther away.", 6),
        ("zoom_fit", "0", "Fit", "Show the whole picture."),
        ("zoom_pixels", "1", "Pixels", "Show the picture's own pixels, one to a dot."),
        ("magnifier", "g", "Magnifier", "Open or close the magnifier at the cross hair."),
        ("rotate", "r", "Turn", "Turn the view a quarter to the right; the record is not touched."),
        ("rotate_fine", "R", "Turn a little", "Turn the view by five degrees."),
        ("mirror", "m", "Mirror", "Mirror the view, for a side-view probe."),
        ("enhance", "e", "Enhance", "Go through the ways of showing it clearer: none, even light, more contrast, sharper."),
        ("original", "o", "Original", "Show the picture as it came, without marks and without enhancing, until pressed again."),
        ("cross_left", "left", "", "Move the cross hair left; at the edge the view moves along."),
        ("cross_right", "right", "", "Move the cross hair right."),
        ("cross_up", "up", "", "Move the cross hair up."),
        ("cross_down", "down", "", "Move the cross hair down."),
        ("fine_left", "shift+left", "", "Move the cross hair one picture pixel left."),
        ("fine_right", "shift+right", "", "Move the cross hair one picture pixel right."),
        ("fine_up", "shift+up", "", "Move the cross hair one picture pixel up."),
        ("fine_down", "shift+down", "", "Move the cross hair one picture pixel down."),
        ("pan_up", "ctrl+up", "", "Move the view up."),
        ("pan_down", "ctrl+down", "", "Move the view down."),
        ("draw", "d", "Draw", "Choose what to draw: box, ellipse, line, arrow, spot, outline, freehand, traced along edges, picked by a tap, words.", 7),
        ("point_back", "backspace", "Point back", "Take the last point of what is being drawn back."),
        ("set_point", "enter ctrl+j space", "Set", "Set a point of the shape being drawn; with none, take the mark under the cross hair in hand."),
        ("close_shape", "c", "Close", "Finish the outline being drawn."),
        ("next_mark", "n", "Next mark", "Take the next mark in hand; while something is suggested, the next suggestion."),
        ("edit_mark", "w", "Words", "Say what the mark in hand shows: a finding, or words."),
        ("move_mark", "v", "Move", "Move the mark in hand with the arrows; Enter sets it down."),
        ("measure", "k", "Measure", "Measure the mark in hand (length, area, angle, share), or set the scale by it: a known length, circle or thread."),
        ("write_copy", "2", "Copy", "Write a copy of this still with its marks on it, for a chat or a mail; masked areas are filled."),
        ("take_mark", "delete", "Remove", "Withdraw the mark in hand; it stays in the journal."),
        ("suggest", "b", "Suggest", "Let the program propose regions to look at."),
        ("propose", "j", "Places", "Have places proposed for stills that have none, from those you filed; y files, q does not."),
        ("accept_region", "y", "Yes", "Accept the suggestion in hand: a region as a finding, a place as where the still is filed."),
        ("drop_region", "q", "No", "Throw the suggestion in hand away."),
        ("pair", "l", "Compare", "Set this still beside another, linked in place."),
        ("pair_way", "i", "Way", "Go through the ways of comparing: side by side, wipe, blink, change map."),
        ("threshold_up", "greater_than_sign", "Less", "Move the threshold of the change map up: fewer places are told as different."),
        ("threshold_down", "less_than_sign", "More", "Move the threshold of the change map down: more places are told as different."),
        ("pair_points", "4", "Four pairs", "Lay this still and another on each other by four pairs of points that you set."),
        ("strip", "z", "Dates", "Show this place over its dates, side by side, earlier looks at the engine too."),
        ("tie_reading", "3", "Reading", "Say which reading this still is the picture of: the gauge, the tester."),
        ("nothing_here", "exclamation_mark", "Looked, nothing", "Note: looked, nothing found, at every place of this cylinder not noted yet."),
        ("coverage", "a", "Coverage", "Show which places of this cylinder were looked at.", 8),
        ("next_place", "h", "Next place", "Say which place the next pictures show; a watched folder files them there."),
        ("probe", "p", "Probe", "Say which probe the pictures come from, note its mirror and roll, calibrate its lens."),
        ("watch", "u", "Watch", "Watch the folder the camera saves into, or stop watching."),
    ),
    *_rows(
        "verdict",
        ("line_down", "down", "", "Go to the next sentence."),
        ("line_up", "up", "", "Go to the sentence before."),
        ("follow", "enter ctrl+j", "Show source", "Go to the reading or still on which this sentence rests.", 1),
        ("next_cylinder", "right_square_bracket ctrl+right", "Next cyl", "Show the next cylinder's causes.", 3),
        ("previous_cylinder", "left_square_bracket ctrl+left", "Prev cyl", "Show the causes of the cylinder before."),
        ("next_part", "tab", "Next part", "Go to the next part of the page: causes, contradictions, next tests, money, truth.", 2),
        ("previous_part", "shift+tab", "", "Go to the part of the page before."),
        ("what_if", "w", "What if", "Try another price and see what it would change, without noting it.", 4),
        ("prices", "p", "Prices", "Enter prices of your own in place of the shipped placeholders."),
        ("decide", "d", "Decide", "Take the call: the verdict is frozen as it stands, with date and tables.", 5),
        ("truth", "t", "Truth", "Write what it really was, once opened.", 6),
        ("score", "s", "Past calls", "Show how the calls of this logbook held, once their truth is written.", 7),
        ("page_down", "pagedown", "", "Scroll a page down."),
        ("page_up", "pageup", "", "Scroll a page up."),
    ),
    *_rows(
        "pack",
        ("line_down", "down", "", "Go to the next choice."),
        ("line_up", "up", "", "Go to the choice before."),
        ("toggle", "enter ctrl+j space", "Change", "Change the choice in hand.", 1),
        ("build", "b", "Build", "Make the pack and say where it went.", 2),
        ("check", "c", "Check", "Check the pack last made, as a reader would.", 3),
        ("cancel", "x", "Stop", "Stop the making of the pack; nothing half made stays.", 4),
    ),
)  # fmt: skip

Keys = Mapping[tuple[str, str], tuple[str, ...]]
SHIPPED: Keys = {(a.where, a.id): a.keys for a in ACTIONS}
"""Keys by (where, action id) as the table has them; `keymap.keys_in_force` lays the person's own over them."""

SCREENS = ("logbook", "plan", "facts", "readings", "stills", "verdict", "pack")
"""The screens that carry actions of their own, in the order of a job."""


def actions_for(screen: str) -> tuple[Action, ...]:
    """What works on a screen: its own actions, then those that work everywhere."""
    own = tuple(a for a in ACTIONS if a.where == screen)
    return own + tuple(a for a in ACTIONS if a.where == EVERYWHERE)


def clashes(keys: Keys) -> list[tuple[str, str, str, str]]:
    """(screen, key, action, action) for every key that two actions of one screen would share.

    ``keys`` maps (where, action id) to keys, as `keymap.keys_in_force` gives them.
    """
    found: list[tuple[str, str, str, str]] = []
    for screen in SCREENS:
        taken: dict[str, str] = {}
        for action in actions_for(screen):
            for key in keys[(action.where, action.id)]:
                if key in taken:
                    found.append((screen, key, taken[key], action.id))
                taken.setdefault(key, action.id)
    return found


_NAMES = {
    "question_mark": "?", "less_than_sign": "<", "greater_than_sign": ">", "slash": "/", "full_stop": ".", "comma": ",", "plus": "+", "minus": "-", "asterisk": "*",
    "equals_sign": "=", "quotation_mark": '"', "exclamation_mark": "!", "left_square_bracket": "[",
    "right_square_bracket": "]", "enter": "Enter", "escape": "Esc", "space": "Space", "backspace": "Backspace",
    "delete": "Del", "tab": "Tab", "shift+tab": "shift+Tab", "pagedown": "PgDn", "pageup": "PgUp", "home": "Home",
    "end": "End", "left": "Left", "right": "Right", "up": "Up", "down": "Down",
}  # fmt: skip


def key_name(key: str) -> str:
    """A key as a person knows it: 'question_mark' is '?', 'f1' is 'F1', 'ctrl+z' is '^Z'."""
    if key in _NAMES:
        return _NAMES[key]
    if key.startswith("ctrl+") and len(key) == 6:
        return f"^{key[-1].upper()}"
    head, plus, tail = key.rpartition("+")
    if plus:
        return f"{head}+{_NAMES.get(tail, tail)}"
    return key.upper() if key.startswith("f") and key[1:].isdigit() else key


def key_of(keys: Keys, where: str, action: str) -> str:
    """The name of the first key of a screen's action, or of one that works everywhere: what a sentence calls it by."""
    force = keys[(where, action)] if (where, action) in keys else keys[(EVERYWHERE, action)]
    return key_name(force[0]) if force else "(no key)"


def way_to_engine(keys: Keys) -> str:
    """How to come to the facts about the engine from any screen: 'F3, then e'."""
    return f"{key_of(keys, EVERYWHERE, 'plan')}, then {key_of(keys, 'plan', 'facts')}"
