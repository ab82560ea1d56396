"""One table of what keys do; bindings, the help screen, the command palette and the README come from it."""

from __future__ import annotations

from typing import NamedTuple

from textual.binding import Binding

from rounds.core.windows import USUAL, WINDOWS


class Action(NamedTuple):
    """Something a keeper can ask for on a screen."""

    name: str
    """The method ``action_<name>`` of the screen, with what it is called with where it is one of several."""
    keys: tuple[str, ...]
    """As Textual names them."""
    shown: str
    """The key as keepers read it."""
    label: str
    """One or two words for the foot of the screen."""
    help: str
    """A sentence."""
    group: str
    foot: int = 0
    """Place at the foot of the screen, 1 first; 0: only in help."""

    @property
    def method(self) -> str:
        """The name alone."""
        return self.name.partition("(")[0]


RECORD = "Record"
MOVE = "Move"
SHOW = "Show"
ROOM = "Room"
READING = "Readings over time"
LEVEL = "Levels"
DOSE = "Doses"
PROMPT = "Prompts"
PAST = "History"
FOUND = "A new room"
FOLLOW = "Follow to its end"
ABSENT = "Away"
LATE = "Overdue"
STANDS = "What stands here"
SET_UP = "Set-up"
FILL_IN = "Form"
HAND_OVER = "Handover"
ACCEPT = "Accepting a handover"
REVIEWED = "Review"
STOCK = "Stock"
STAGE = "Staged changes"

WALK: tuple[Action, ...] = (
    Action("do", ("enter",), "Enter", "do", "Record it as done; where values are taken, type them first.", RECORD, 1),
    Action("do_with_note", ("e",), "e", "done + note", "Record it as done with a note.", RECORD, 2),
    Action("not_needed", ("n",), "n", "not needed", "Close it without doing it, with a reason.", RECORD, 3),
    Action("could_not", ("c",), "c", "could not", "It could not be done: it stays open and shows why.", RECORD, 4),
    Action("postpone", ("p",), "p", "postpone", "Put it off until a time; it stays as late as it is.", RECORD, 5),
    Action("earlier", ("t",), "t", "other time", "Done at another time or by another keeper.", RECORD, 7),
    Action("note", ("o",), "o", "note", "Write an observation at this station.", RECORD, 6),
    Action("undo", ("u",), "u", "undo", "Strike the last record of this device in this round.", RECORD, 8),
    Action("cursor_down", ("down",), "↓", "next", "Next row, and on to the next station.", MOVE),
    Action("cursor_up", ("up",), "↑", "previous", "Previous row, and back to the station before.", MOVE),
    Action("next_station", ("right", "tab"), "→ Tab", "next station", "Next station of the route.", MOVE),
    Action("previous_station", ("left", "shift+tab"), "← Shift+Tab", "station before", "Station before.", MOVE),
    Action("next_to_do", ("space",), "Space", "next to do", "The next thing to do from here.", MOVE),
    Action("go_to", ("g",), "g", "go to", "Jump to a station by typing a part of its name.", MOVE, 9),
    Action("find", ("f", "slash"), "f /", "find", "Find a task by typing a part of its title.", MOVE),
    Action("only_left", ("a",), "a", "only left", "Show only what is left, or everything again.", SHOW),
    Action("only_shift", ("s",), "s", "only this shift", "Show only this shift's work, or everything again.", SHOW),
    Action("route", ("r",), "r", "route", "Show or fold away the route.", SHOW),
    Action("details", ("w",), "w", "why", "Show or fold away why, steps, look for and last values.", SHOW, 10),
    Action(
        "history", ("h",), "h", "history", "Who did this task, when and what; x strikes a record, a amends it.", SHOW
    ),
    Action("station_history", ("H",), "H", "station history", "What was recorded at this station.", SHOW),
    Action("readings", ("v",), "v", "readings", "Readings over time: what drifts or is out of its band first.", SHOW),
    Action("levels", ("l",), "l", "levels", "Levels: what runs out first, refills, doses, prompts.", SHOW),
    Action("concerns", ("x",), "x", "concerns", "Concerns, what is off normal, protocols under way.", SHOW),
    Action("overdue", ("d",), "d", "overdue", "What is late across systems; the load of 14 days.", SHOW),
    Action("handover", ("b",), "b", "handover", "Hand the shift over: the report, signed and accepted.", SHOW),
    Action("review", ("R",), "R", "review", "Review a day or a month, and sign it.", SHOW),
    Action("away", ("y",), "y", "away", "An absence: before, during and after; the sitter's sheet.", SHOW),
    Action("stock", ("T",), "T", "stock", "Stock: spares, salt, resin, reagents, feed; what to order.", SHOW),
    Action("staged", ("S",), "S", "staged changes", "What is changed in steps: what is next, when to hold it.", SHOW),
    Action("concern", ("C",), "C", "concern", "Open a concern at this station.", FOLLOW),
    Action("off_normal", ("O",), "O", "off normal", "Leave equipment off, running, open, shut or muted.", FOLLOW),
    Action("protocol", ("P",), "P", "protocol", "Call a protocol for this station or system.", FOLLOW),
    Action("batches", ("B",), "B", "stands here", "What stands here: how many of what, and its isolation.", SHOW),
    Action("set_up", ("z",), "z", "set-up", "Add, change, pause and order systems, stations, tasks, readings.", SHOW),
    Action("add_task", ("i",), "i", "add", "Add a task for once, for some days, or until a concern is closed.", ROOM),
    Action("seen", ("m",), "m", "missed seen", "The missed work at the top has been seen.", SHOW),
    Action("keeper", ("k",), "k", "keeper", "Another keeper takes the laptop.", ROOM),
    Action("cover", ("V",), "V", "cover", "A keeper is away: who does the work meanwhile, until when.", ROOM),
    Action("faults", ("f2",), "F2", "faults", "What is wrong with the room's files and sheets.", ROOM),
    Action("help", ("question_mark", "f1"), "? F1", "help", "This list.", ROOM, 11),
    Action("leave", ("q", "ctrl+q"), "q", "leave", "Leave Rounds; everything recorded is on disk.", ROOM),
)


def _window(place: int, name: str) -> Action:
    """The plot over one of the windows."""
    reach = WINDOWS[name]
    days = "all days since the first value" if reach is None else f"{reach.days} days"
    further = ", or as far back as a trend needs, as in the list" if name == USUAL else ""
    label = f"{name} days" if place == 1 else name
    return Action(
        f"window('{name}')", (str(place),), str(place), label, f"Plot of {days}{further}.", READING, 2 + place
    )


READINGS: tuple[Action, ...] = (
    Action("plot", ("enter",), "Enter", "plot", "The plot alone, or the list again.", READING, 1),
    Action("enter_value", ("e",), "e", "enter a value", "Record a value of this reading.", READING, 2),
    *(_window(place, name) for place, name in enumerate(WINDOWS, 1)),
    Action("shorter", ("left",), "←", "shorter", "The next shorter time.", READING),
    Action("longer", ("right",), "→", "longer", "The next longer time.", READING),
    Action("compare", ("c",), "c", "compare", "Lay a second reading over this one, or take it away.", READING, 7),
    Action("next_row", ("down",), "↓", "next", "Next reading; from plot to plot.", READING),
    Action("row_before", ("up",), "↑", "previous", "Reading before.", READING),
    Action("page_down", ("pagedown", "space"), "PgDn Space", "page on", "A page on; of a plot, in its text.", READING),
    Action("page_up", ("pageup",), "PgUp", "page up", "A page back.", READING),
    Action("first", ("home",), "Home", "first", "The reading that asks for a look first.", READING),
    Action("last", ("end",), "End", "last", "The last reading.", READING),
    Action("find", ("f", "slash"), "f /", "find", "Find a reading by typing a part of its name.", READING),
    Action("history", ("h",), "h", "history", "Who read it, when; x strikes a record, a amends it.", READING, 8),
    Action("help", ("question_mark", "f1"), "? F1", "help", "This list.", READING, 10),
    Action("back", ("escape", "q", "v"), "Esc v", "back", "Back to the list, and from there to the walk.", READING, 9),
)

LEVELS: tuple[Action, ...] = (
    Action("level", ("enter",), "Enter", "level", "What is in it now: litres, per cent or centimetres.", LEVEL, 1),
    Action("refill", ("r",), "r", "refill", "It was filled (waste: emptied); Enter alone: full.", LEVEL, 2),
    Action("doses", ("d",), "d", "doses", "Balance of the systems, and what dose would hold the target.", LEVEL, 3),
    Action("prompts", ("p",), "p", "prompts", "What stands together in the records; the light programmes.", LEVEL, 4),
    Action("valve", ("v",), "v", "valve", "A tank is valved off from its system, or opened to it.", LEVEL),
    Action("history", ("h",), "h", "history", "Its levels: who, when; x strikes a record, a amends it.", LEVEL, 5),
    Action("refill_history", ("H",), "H", "refill history", "Who refilled it, when.", LEVEL),
    Action("next_row", ("down",), "↓", "next", "Next reservoir.", LEVEL),
    Action("row_before", ("up",), "↑", "previous", "Reservoir before.", LEVEL),
    Action("first", ("home",), "Home", "first", "The reservoir that runs out first.", LEVEL),
    Action("last", ("end",), "End", "last", "The last one.", LEVEL),
    Action("page_down", ("pagedown", "space"), "PgDn Space", "read on", "A page on in what is said of it.", LEVEL, 6),
    Action("page_up", ("pageup",), "PgUp", "read back", "A page back.", LEVEL),
    Action("help", ("question_mark", "f1"), "? F1", "help", "This list.", LEVEL, 8),
    Action("back", ("escape", "q", "l"), "Esc l", "back", "Back to the walk.", LEVEL, 7),
)


def _scroll(group: str, back: str) -> tuple[Action, ...]:
    """What keys do on every page that is read."""
    return (
        Action("line_down", ("down",), "↓", "scroll", "A line on.", group),
        Action("line_up", ("up",), "↑", "back", "A line back.", group),
        Action("page_down", ("pagedown", "space"), "PgDn Space", "page on", "A page on.", group, 5),
        Action("page_up", ("pageup",), "PgUp", "page back", "A page back.", group),
        Action("help", ("question_mark", "f1"), "? F1", "help", "This list.", group, 7),
        Action("back", ("escape", "q"), "Esc q", "back", f"Back to {back}.", group, 6),
    )


OVERDUE: tuple[Action, ...] = (
    Action("jump", ("enter",), "Enter", "go there", "To this row in the walk.", LATE, 1),
    Action("tick", ("space",), "Space", "tick", "Tick it, to put several off together.", LATE, 2),
    Action("postpone", ("p",), "p", "put off", "Put off what is ticked, or this, with one cause.", LATE, 3),
    Action("load", ("tab", "t"), "Tab t", "load", "The load of the coming 14 days, or this row.", LATE, 4),
    Action("system", ("s",), "s", "system", "Only one system after the other, then all again.", LATE, 5),
    Action("of_keeper", ("k",), "k", "keeper", "Only what is one keeper's or everyone's.", LATE, 6),
    Action("importance", ("i",), "i", "importance", "Only one importance after the other.", LATE, 7),
    Action("next_row", ("down",), "↓", "next", "Next row.", LATE),
    Action("row_before", ("up",), "↑", "previous", "Row before.", LATE),
    Action("page_down", ("pagedown",), "PgDn", "read on", "A page on in what stands beside.", LATE),
    Action("page_up", ("pageup",), "PgUp", "read back", "A page back.", LATE),
    Action("help", ("question_mark", "f1"), "? F1", "help", "This list.", LATE, 9),
    Action("back", ("escape", "q", "d"), "Esc d", "back", "Back to the walk.", LATE, 8),
)

AWAY: tuple[Action, ...] = (
    Action("sheet", ("tab", "t"), "Tab t", "sitter's sheet", "The sitter's sheet, or the absence again.", ABSENT, 1),
    Action("ask", ("a",), "a", "other days", "From when to when, and who looks after the room.", ABSENT, 2),
    Action("save", ("s",), "s", "save", "Write what is shown to a file: HTML, Markdown or text.", ABSENT, 3),
    *_scroll(ABSENT, "the walk"),
)

HANDOVER: tuple[Action, ...] = (
    Action("sign", ("s",), "s", "sign", "Sign the report and hand over, with words for who comes.", HAND_OVER, 1),
    Action("accept", ("a",), "a", "accept", "Go through what was signed line by line, and accept it.", HAND_OVER, 2),
    Action("older", ("o",), "o", "older", "Read back an older handover.", HAND_OVER, 3),
    Action("write", ("w",), "w", "write", "Write it to a file: HTML, Markdown, text or JSON.", HAND_OVER, 4),
    Action("other_shift", ("tab", "t"), "Tab t", "other shift", "The report of another shift.", HAND_OVER),
    *_scroll(HAND_OVER, "the handover of now, and from there to the walk"),
)

ACCEPTING: tuple[Action, ...] = (
    Action("answer", ("enter",), "Enter", "confirm / ask", "Confirm the line, or ask what was typed.", ACCEPT, 1),
    Action("line_before", ("up",), "↑ ←", "line before", "Back to the line before.", ACCEPT, 2),
    Action("next_line", ("down",), "↓", "next line", "On, where the line is answered.", ACCEPT),
    Action("page_down", ("pagedown",), "PgDn", "read on", "A page on.", ACCEPT),
    Action("page_up", ("pageup",), "PgUp", "read back", "A page back.", ACCEPT),
    Action("help", ("f1",), "F1", "help", "This list.", ACCEPT, 4),
    Action("back", ("escape",), "Esc", "later", "Back to the handover; the answers are kept.", ACCEPT, 3),
)

REVIEW: tuple[Action, ...] = (
    Action("earlier", ("left",), "←", "earlier", "The day before, or the month.", REVIEWED, 1),
    Action("later", ("right",), "→", "later", "The day after, or the month.", REVIEWED, 2),
    Action("month", ("m",), "m", "month / day", "The whole month, or the day again.", REVIEWED, 3),
    Action("sign", ("s",), "s", "sign", "Sign that it was reviewed, with a note.", REVIEWED, 4),
    *_scroll(REVIEWED, "the walk"),
)

HISTORY: tuple[Action, ...] = (
    Action("strike", ("x",), "x", "strike", "Strike the record: it stays to be read, and no longer counts.", PAST, 1),
    Action("amend", ("a",), "a", "amend", "Strike it and write it anew, as it should read.", PAST, 2),
    Action("help", ("question_mark", "f1"), "? F1", "help", "This list.", PAST, 4),
    Action("back", ("escape", "q"), "Esc q", "back", "Back to where it was opened.", PAST, 3),
)

CONCERNS: tuple[Action, ...] = (
    Action("go_on", ("enter",), "Enter", "put back / seen", "Put it back; of a concern, say what is seen.", FOLLOW, 1),
    Action("extend", ("e",), "e", "longer", "Off normal for longer: until when, and why.", FOLLOW, 2),
    Action("close", ("c",), "c", "close", "Close the concern, with the reason.", FOLLOW, 3),
    Action("stop", ("s",), "s", "stop", "Stop the protocol, with the reason.", FOLLOW, 4),
    Action("concern", ("C",), "C", "concern", "Open a concern where the walk stands.", FOLLOW, 5),
    Action("off_normal", ("O",), "O", "off normal", "Leave something off normal.", FOLLOW, 6),
    Action("protocol", ("P",), "P", "protocol", "Call a protocol.", FOLLOW, 7),
    Action("bell", ("b",), "b", "bell", "Ring the terminal's bell when a time has passed, or no longer.", FOLLOW),
    Action("next_row", ("down",), "↓", "next", "Next row.", FOLLOW),
    Action("row_before", ("up",), "↑", "previous", "Row before.", FOLLOW),
    Action("page_down", ("pagedown", "space"), "PgDn Space", "read on", "A page on in what is said of it.", FOLLOW),
    Action("page_up", ("pageup",), "PgUp", "read back", "A page back.", FOLLOW),
    Action("help", ("question_mark", "f1"), "? F1", "help", "This list.", FOLLOW, 9),
    Action("back", ("escape", "q", "x"), "Esc x", "back", "Back to the walk.", FOLLOW, 8),
)

BATCHES: tuple[Action, ...] = (
    Action("add", ("a",), "a", "add", "Add a batch where the walk stands: how many of what, from where.", STANDS, 1),
    Action("count", ("enter", "n"), "Enter n", "count", "How many there are now, how large, or both.", STANDS, 2),
    Action("move", ("m",), "m", "move", "Move it, or so many of it, to another station.", STANDS, 3),
    Action("split", ("s",), "s", "split", "So many of it as a batch of its own.", STANDS, 4),
    Action("combine", ("c",), "c", "combine", "Join it to another batch.", STANDS, 5),
    Action("close", ("x",), "x", "gone", "Grown on, given away, died or missing: how many, and why.", STANDS, 6),
    Action("note", ("o",), "o", "note", "What is seen of it; crowded or stung offers a task.", STANDS, 7),
    Action("find", ("p",), "p", "pests", "Pests were found: the isolation of its water begins anew.", STANDS, 8),
    Action("everywhere", ("tab",), "Tab", "everywhere", "What stands in the whole room, or here again.", STANDS, 9),
    Action("history", ("h",), "h", "history", "What was recorded where it stands; x strikes a record.", STANDS),
    Action("next_row", ("down",), "↓", "next", "Next batch.", STANDS),
    Action("row_before", ("up",), "↑", "previous", "Batch before.", STANDS),
    Action("page_down", ("pagedown", "space"), "PgDn Space", "read on", "A page on in what is said of it.", STANDS),
    Action("page_up", ("pageup",), "PgUp", "read back", "A page back.", STANDS),
    Action("help", ("question_mark", "f1"), "? F1", "help", "This list.", STANDS, 11),
    Action("back", ("escape", "q", "B"), "Esc B", "back", "Back to the walk.", STANDS, 10),
)

SETUP: tuple[Action, ...] = (
    Action("change", ("enter",), "Enter", "change", "Open the form of the row.", SET_UP, 1),
    Action(
        "add", ("a",), "a", "add", "Add a system, a station, a task and so on, where the pointer stands.", SET_UP, 2
    ),
    Action("copy", ("c",), "c", "copy", "A new one like this one; of a system with all that stands in it.", SET_UP, 3),
    Action(
        "sooner",
        ("shift+up", "K"),
        "Shift+↑ K",
        "sooner",
        "One place sooner among its like, a system on the route.",
        SET_UP,
        4,
    ),
    Action("later", ("shift+down", "J"), "Shift+↓ J", "later", "One place later.", SET_UP, 5),
    Action("pause", ("p",), "p", "pause", "Pause it, or let it go on.", SET_UP, 6),
    Action(
        "retire",
        ("r",),
        "r",
        "retire",
        "A task ends today; a system is drained and off the route; else it is taken out.",
        SET_UP,
        7,
    ),
    Action("find", ("f", "slash"), "f /", "find", "Find a row by typing a part of its name.", SET_UP),
    Action("next_row", ("down",), "↓", "next", "Next row.", SET_UP),
    Action("row_before", ("up",), "↑", "previous", "Row before.", SET_UP),
    Action("next_system", ("right", "tab"), "→ Tab", "next system", "Next system.", SET_UP),
    Action("system_before", ("left", "shift+tab"), "← Shift+Tab", "system before", "System before.", SET_UP),
    Action("page_down", ("pagedown", "space"), "PgDn Space", "page on", "A page on.", SET_UP),
    Action("page_up", ("pageup",), "PgUp", "page back", "A page back.", SET_UP),
    Action("help", ("question_mark", "f1"), "? F1", "help", "This list.", SET_UP, 9),
    Action("back", ("escape", "q", "z"), "Esc z", "back", "Back to the walk.", SET_UP, 8),
)

FORM: tuple[Action, ...] = (
    Action("edit", ("enter",), "Enter", "change", "Say what the field is to hold.", FILL_IN, 1),
    Action("save", ("s",), "s", "save", "Show what it does to the coming two weeks, and save it.", FILL_IN, 2),
    Action("add", ("a",), "a", "add", "One more in a list: a step, a channel, what is drawn.", FILL_IN, 3),
    Action("empty", ("x", "delete"), "x", "empty", "Leave the field empty; take a row out of its list.", FILL_IN, 4),
    Action("sooner", ("shift+up", "K"), "Shift+↑ K", "sooner", "The row one place sooner in its list.", FILL_IN, 7),
    Action("later", ("shift+down", "J"), "Shift+↓ J", "later", "The row one place later.", FILL_IN, 8),
    Action("next_fault", ("n",), "n", "next fault", "The next field that has to be corrected.", FILL_IN, 5),
    Action("next_row", ("down",), "↓", "next", "Next field.", FILL_IN),
    Action("row_before", ("up",), "↑", "previous", "Field before.", FILL_IN),
    Action("first", ("home",), "Home", "first", "The first field.", FILL_IN),
    Action("last", ("end",), "End", "last", "The last field.", FILL_IN),
    Action("help", ("question_mark", "f1"), "? F1", "help", "This list.", FILL_IN, 9),
    Action("back", ("escape", "q"), "Esc", "back", "Back to the list; asks when something was changed.", FILL_IN, 6),
)

STOCKS: tuple[Action, ...] = (
    Action("count", ("enter", "c"), "Enter c", "count", "So much of it is there now.", STOCK, 1),
    Action("delivered", ("d",), "d", "delivered", "It came: how much, and its last good day.", STOCK, 2),
    Action("ordered", ("o",), "o", "ordered", "It is ordered: from where, and when it should come.", STOCK, 3),
    Action("history", ("h",), "h", "history", "Who counted it, when; x strikes a record.", STOCK, 4),
    Action("next_row", ("down",), "↓", "next", "Next row.", STOCK),
    Action("row_before", ("up",), "↑", "previous", "Row before.", STOCK),
    Action("page_down", ("pagedown", "space"), "PgDn Space", "read on", "A page on in what is said of it.", STOCK),
    Action("page_up", ("pageup",), "PgUp", "read back", "A page back.", STOCK),
    Action("help", ("question_mark", "f1"), "? F1", "help", "This list.", STOCK, 6),
    Action("back", ("escape", "q", "T"), "Esc T", "back", "Back to the walk.", STOCK, 5),
)

STAGED: tuple[Action, ...] = (
    Action(
        "next_step",
        ("enter", "a"),
        "Enter a",
        "next step",
        "Next step of the light; of a dose, its proposal.",
        STAGE,
        1,
    ),
    Action("hold", ("h",), "h", "hold", "Hold it as it is until a time, with a reason.", STAGE, 2),
    Action("take_back", ("b",), "b", "take back", "Take its last step back, with a reason.", STAGE, 3),
    Action("history", ("H",), "H", "history", "Its records: who, when; x strikes one.", STAGE, 4),
    Action("next_row", ("down",), "↓", "next", "Next row.", STAGE),
    Action("row_before", ("up",), "↑", "previous", "Row before.", STAGE),
    Action("page_down", ("pagedown", "space"), "PgDn Space", "read on", "A page on in what is said of it.", STAGE),
    Action("page_up", ("pageup",), "PgUp", "read back", "A page back.", STAGE),
    Action("help", ("question_mark", "f1"), "? F1", "help", "This list.", STAGE, 6),
    Action("back", ("escape", "q", "S"), "Esc S", "back", "Back to the walk.", STAGE, 5),
)

DOSES: tuple[Action, ...] = (
    Action("accept", ("a",), "a", "accept", "Record the proposed step; asks first, turns nothing itself.", DOSE, 1),
    Action("next_system", ("right", "tab"), "→ Tab", "next system", "Next system.", DOSE, 2),
    Action("system_before", ("left", "shift+tab"), "← Shift+Tab", "system before", "System before.", DOSE),
    Action("valve", ("v",), "v", "valve", "A tank is valved off from its system, or opened to it.", DOSE, 3),
    *_scroll(DOSE, "the levels"),
)

PROMPTS: tuple[Action, ...] = (
    Action("accept", ("a",), "a", "light step", "Record a step of the light; asks how far, turns nothing.", PROMPT, 1),
    Action("hold", ("h",), "h", "hold", "Hold the light as it is until a time, with a reason.", PROMPT, 2),
    Action("take_back", ("b",), "b", "take back", "Take the last step of the light back, with a reason.", PROMPT, 3),
    Action("next_lights", ("right", "tab"), "→ Tab", "next lights", "Next light programme.", PROMPT, 4),
    Action("lights_before", ("left", "shift+tab"), "← Shift+Tab", "lights before", "Light programme before.", PROMPT),
    *_scroll(PROMPT, "the levels"),
)

FOUNDING: tuple[Action, ...] = (
    Action(
        "change", ("enter",), "Enter", "answer", "Answer or change this row; where there is nothing, next.", FOUND, 1
    ),
    Action("tick", ("space",), "Space", "tick", "The room or system has this, or no longer.", FOUND, 2),
    Action("add", ("a",), "a", "add", "One more: keeper, shift, system, reservoir.", FOUND, 3),
    Action("remove", ("x",), "x", "remove", "Take this one away.", FOUND, 4),
    Action("next_step", ("right",), "→", "step", "The next step.", FOUND, 5),
    Action("step_before", ("left",), "←", "step before", "The step before.", FOUND),
    Action(
        "write", ("s",), "s", "write", "Write the room and open it; asks for a look at the preview first.", FOUND, 6
    ),
    Action("next_row", ("down",), "↓", "next", "Next row.", FOUND),
    Action("row_before", ("up",), "↑", "previous", "Row before.", FOUND),
    Action("next_heading", ("tab",), "Tab", "next system", "The rows of the next system.", FOUND),
    Action("heading_before", ("shift+tab",), "Shift+Tab", "system before", "The rows of the system before.", FOUND),
    Action("page_down", ("pagedown",), "PgDn", "page on", "A page on.", FOUND),
    Action("page_up", ("pageup",), "PgUp", "page back", "A page back.", FOUND),
    Action("help", ("question_mark", "f1"), "? F1", "help", "This list.", FOUND, 8),
    Action("leave", ("escape", "ctrl+q"), "Esc", "leave", "Leave; the answers are kept for the next time.", FOUND, 7),
)

TYPING: tuple[Action, ...] = (
    Action("submit", ("enter",), "Enter", "record", "Record what was typed.", "While typing"),
    Action("earlier_text", ("up",), "↑ ↓", "choices", "Reasons and times used lately.", "While typing"),
    Action(
        "cancel", ("escape",), "Esc", "back", "Close the line; what was typed is kept for this row.", "While typing"
    ),
)

EVERY: tuple[Action, ...] = (
    *WALK,
    *READINGS,
    *LEVELS,
    *CONCERNS,
    *STOCKS,
    *STAGED,
    *DOSES,
    *PROMPTS,
    *OVERDUE,
    *AWAY,
    *HISTORY,
    *FOUNDING,
    *BATCHES,
    *SETUP,
    *FORM,
    *HANDOVER,
    *ACCEPTING,
    *REVIEW,
    *TYPING,
)
"""What keys do anywhere."""


def bindings(actions: tuple[Action, ...]) -> list[Binding]:
    """The actions as Textual bindings."""
    return [Binding(",".join(a.keys), a.name, a.label, show=False) for a in actions]


def foot(actions: tuple[Action, ...], width: int) -> list[tuple[str, str]]:
    """(key, label) pairs for the foot of the screen, as many as fit into `width` columns."""
    found: list[tuple[str, str]] = []
    used = 0
    helper = next(a for a in actions if a.name == "help")
    first = helper.shown.split()[0]
    reserved = len(f"{first} {helper.label}")
    for action in sorted((a for a in actions if a.foot and a is not helper), key=lambda a: a.foot):
        needed = len(action.shown) + len(action.label) + 3
        if used + needed + reserved > width:
            break
        found.append((action.shown, action.label))
        used += needed
    return [*found, (first, helper.label)]
