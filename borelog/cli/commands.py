"""The one table of commands: name, sentence, arguments, and where the few lines that do it live.

Handlers are named, not imported, and rows are named tuples (data classes would bring half a dozen modules), so that
``borelog --help`` stays quick.
"""

from __future__ import annotations

from typing import Any, NamedTuple


class Arg(NamedTuple):
    """One argument of ``argparse.add_argument``: its names and its options."""

    names: tuple[str, ...]
    options: dict[str, Any]


class Command(NamedTuple):
    """One command. ``handler`` is 'module:function' under ``borelog.cli``; the function takes the parsed arguments and
    returns an exit code."""

    name: str
    sentence: str
    handler: str
    args: tuple[Arg, ...] = ()
    group: str = "record"


def _arg(*names: str, **options: Any) -> Arg:
    return Arg(names, options)


INSPECTION = _arg(
    "inspection", metavar="INSPECTION", help="short number, a unique part of the name, or 'last'"
)
JSON = _arg("--json", action="store_true", help="print one JSON document and nothing else")
OUT = _arg("-o", "--out", metavar="DIR", default=".", help="folder to write into (default: here)")
OUT_FILE = _arg(
    "-o", "--out", metavar="FILE", default=".", help="file to write, or a folder for it (default: here)"
)
PROBE = _arg(
    "--probe", default="", metavar="NAME", help="the probe they come from: its mirror and roll are noted once"
)
PAIRS = _arg("values", nargs="*", metavar="NAME=VALUE", help="as many as you like")

COMMANDS: tuple[Command, ...] = (
    Command("demo", "build the demo logbook, show its first engine and open the screens", "demo:demo", (
        _arg("--no-screen", action="store_true", help="print only, do not open the screens"),
        _arg("--engine", metavar="NAME", default="", help="tour another demo engine"),
        OUT), "start"),
    Command("new", "open an inspection; all but the name may be left for later", "entry:new", (
        _arg("name", metavar="NAME"), PAIRS,
        _arg("--earlier", default="", metavar="INSPECTION", help="an earlier look at the same engine"), JSON), "start"),
    Command("list", "list the inspections of the logbook", "listing:list_", (JSON,), "start"),
    Command("screens", "open the screens (the same as borelog alone)", "start:screens", (), "start"),
    Command("serve", "show the screens in a browser on this machine (needs the extra 'browser')", "start:serve", (
        _arg("--host", default="127.0.0.1", help="address to listen on (default: this machine alone)"),
        _arg("--port", type=int, default=8000, help="port (default: 8000)"),
        _arg("--exposed", action="store_true", help="allow an address that others can reach; there is no log-in")), "start"),
    Command("set", "set facts about the engine, for example: set last layout='inline 4' bore=81", "entry:set_", (
        INSPECTION, PAIRS)),
    Command("facts", "list the facts that can be set", "entry:facts_", (JSON,)),
    Command("terms", "list the finding terms (or, with --faults, the faults that 'truth' takes) that hold these words",
            "entry:terms_", (_arg("words", nargs="*", metavar="WORD"),
                             _arg("--faults", action="store_true", help="the faults of the tables"), JSON)),
    Command("sheet", "print a sheet in test order: blank for paper, or filled with what is recorded", "entry:sheet", (
        INSPECTION, _arg("sections", nargs="*", metavar="SECTION", help="only these, for example 'compression' (default: all)"),
        _arg("--blank", action="store_true", help="without what is recorded already"))),
    Command("record", "enter a whole plain-text sheet; a corrected sheet adds only the differences", "entry:record", (
        INSPECTION, _arg("sheet", metavar="SHEET", help="a file, or - for standard input"),
        _arg("-n", "--dry-run", action="store_true", help="say what would change, change nothing"), JSON)),
    Command("note", "one line as on the sheet, for example: note last 'compression dry' 3=68", "entry:note", (
        INSPECTION, _arg("section", metavar="SECTION"), PAIRS)),
    Command("add", "file pictures to a cylinder and a place", "pictures:add", (
        INSPECTION, _arg("pictures", nargs="+", metavar="PICTURE", help="files, folders or patterns"),
        _arg("-c", "--cylinder", type=int, help="cylinder number"),
        _arg("-p", "--place", default="", help="for example 'bore exhaust top', 'exhaust valve', 'plug tray'"),
        PROBE,
        _arg("--mirror", action="store_true", help="taken with a mirror attachment"),
        _arg("--card", action="store_true", help="propose cylinders for a whole card by time gaps and slates"),
        _arg("--pulled", default="", metavar="ORDER", help="with --card: plugs pulled in this order, e.g. 1-3-5-2-4-6"),
        _arg("--accept", action="store_true", help="with --card: file as proposed"),
        _arg("--views", action="store_true", help="with --card --accept: file the proposed views as well"),
        _arg("--shift", type=int, default=0, help="with --card: shift the run by so many cylinders"),
        JSON), "pictures"),
    Command("place", "file stills elsewhere, set them aside, shift a run; 'A..B' is the run from A to B", "marking:place", (
        INSPECTION, _arg("stills", nargs="+", metavar="STILL", help="names or digests, or their beginnings"),
        _arg("-c", "--cylinder", type=int, help="cylinder number"),
        _arg("--engine", action="store_true", help="the engine as a whole"),
        _arg("-p", "--place", default=None, help="'' takes the place away"),
        _arg("--reading", default=None, metavar="ENTRY", help="the reading this is the picture of"),
        _arg("--caption", default=None, help="words under the picture"),
        _arg("--aside", default=None, metavar="WHY", help="set aside; nothing is deleted"),
        _arg("--back", action="store_true", help="bring back what was set aside"),
        _arg("--shift", type=int, default=0, help="by so many cylinders in the engine's order")), "pictures"),
    Command("film", "pick the sharp, different frames of a film and file them", "pictures:film", (
        INSPECTION, _arg("film", metavar="FILM"), _arg("-c", "--cylinder", type=int),
        _arg("-p", "--place", default=""), PROBE, _arg("--most", type=int, default=24, help="frames to keep at most"), JSON),
        "pictures"),
    Command("watch", "file each new picture of a folder to where the person is at", "pictures:watch", (
        INSPECTION, _arg("folder", metavar="DIR"), _arg("-c", "--cylinder", type=int), _arg("-p", "--place", default=""), PROBE,
        _arg("--seconds", type=float, default=0.0, help="stop after so long (default: until Ctrl+C)")), "pictures"),
    Command("at", "say where you are: cylinder and place for the next pictures", "pictures:at", (
        INSPECTION, _arg("-c", "--cylinder", type=int), _arg("-p", "--place", default="")), "pictures"),
    Command("probe", "note a probe once: mirror attachment and roll; alone lists those noted", "marking:probe", (
        INSPECTION, _arg("name", metavar="NAME", nargs="?", default=""),
        _arg("--mirror", choices=("yes", "no"), default="", help="whether it looks through a mirror attachment"),
        _arg("--roll", default="", metavar="DEGREES", help="how far its pictures are turned clockwise"), JSON), "pictures"),
    Command("lens", "calibrate a probe's lens from pictures of a chessboard", "pictures:lens", (
        _arg("pictures", nargs="+", metavar="PICTURE"), _arg("--inner", default="9x6", help="inner corners, e.g. 9x6"),
        _arg("--square", default="", help="side of a square, e.g. 10 mm"),
        _arg("--into", default="", metavar="INSPECTION", help="keep it there"),
        _arg("--probe", default="", metavar="NAME", help="with this probe"), JSON), "pictures"),
    Command("scale", "set a still's scale by a known length, a known circle or a thread", "marking:scale", (
        INSPECTION, _arg("still", metavar="STILL"), PAIRS, JSON), "pictures"),
    Command("mark", "mark a still: box=x,y x,y, trace=..., alone or as a finding", "marking:mark", (
        INSPECTION, _arg("still", metavar="STILL"), PAIRS,
        _arg("--finding", default="", metavar="TERM", help="id or name from the list of findings"),
        _arg("--own", default="", metavar="WORDS", help="a finding in your own words"),
        _arg("-c", "--cylinder", type=int), _arg("-p", "--place", default=""),
        _arg("--severity", type=int, choices=range(5), default=None, help="0 to 4 (default: the usual one)"),
        _arg("--certainty", choices=("seen clearly", "seen in part", "inferred"), default=""),
        _arg("--age", choices=("not said", "old", "fresh"), default=""),
        _arg("--checked", default="", metavar="WORDS", help="what was done about what can fake it"),
        _arg("--label", default="", metavar="WORDS", help="words beside the mark"),
        _arg("--measure", action="store_true", help="measure it by the still's scale"),
        _arg("--mask", default=None, metavar="WHAT", help="fill it in every copy that leaves the house"),
        _arg("--to", default="", metavar="ENTRY", help="one more mark of this finding"), JSON), "pictures"),
    Command("copy", "write a copy of a still with its marks on it: .png, .jpg or .svg", "marking:copy", (
        INSPECTION, _arg("still", metavar="STILL"), OUT_FILE,
        _arg("--numbers", action="store_true", help="numbers without words"),
        _arg("--unmasked", action="store_true", help="do not fill the masked areas: for your own eyes"), JSON), "pictures"),
    Command("look", "write a copy of a picture shown clearer; the picture itself is not touched", "pictures:look", (
        _arg("picture", metavar="PICTURE"),
        _arg("values", nargs="*", metavar="NAME=VALUE", help="contrast, gamma, denoise, sharpen, rotate, mirror, fill_glare"),
        OUT_FILE, JSON), "pictures"),
    Command("compare", "align two pictures of one place and show what is different", "pictures:compare", (
        _arg("first", metavar="A"), _arg("second", metavar="B"), OUT,
        _arg("--thorough", action="store_true", help="the surer alignment at once, not only where the fast one fails"),
        _arg("--pairs", default="", help="four pairs of points 'x,y>x,y ...' where alignment by itself is refused"),
        _arg("--threshold", type=float, default=0.0, help="2 to 6: higher finds less (default 3)"),
        _arg("--gif", action="store_true", help="also a blinking GIF"), JSON), "pictures"),
    Command("strip", "one place over its dates, side by side; earlier looks at the engine too", "pictures:strip", (
        INSPECTION, _arg("place", metavar="PLACE", help="for example 'exhaust valve'"), _arg("-c", "--cylinder", type=int),
        OUT_FILE, _arg("--plain", action="store_true", help="as they came, not laid on the latest"), JSON), "pictures"),
    Command("measure", "measure in a picture; 'measure list' names the measures", "pictures:measure", (
        _arg("measure", metavar="MEASURE"), _arg("picture", metavar="PICTURE", nargs="?", default=""), PAIRS, JSON),
        "pictures"),
    Command("forget", "remove a still's bytes for good; its digest, who and why remain", "pictures:forget", (
        INSPECTION, _arg("still", metavar="STILL", help="digest or its beginning"),
        _arg("--why", required=True), _arg("--yes", action="store_true", help="do not ask")), "pictures"),
    Command("show", "show everything recorded about an engine", "reports:show", (INSPECTION, JSON), "judge"),
    Command("verdict", "causes with for and against, contradictions, next tests, courses in money", "reports:verdict", (
        INSPECTION, _arg("-c", "--cylinder", type=int, help="the reasons of one cylinder only"),
        _arg("--if", dest="what_if", action="append", default=[], metavar="PRICE=VALUE",
             help="the money with another price, without entering it"), JSON), "judge"),
    Command("price", "set prices and cost lines, for the inspection or, with 'shop', for the logbook", "reports:price", (
        _arg("inspection", metavar="INSPECTION|shop"), PAIRS,
        _arg("--lines", action="store_true", help="list the cost lines that may be overridden"), JSON), "judge"),
    Command("call", "take the call: freezes the verdict with its tables", "reports:call", (
        INSPECTION, _arg("course", metavar="COURSE"), _arg("--words", default="", help="in your own words")), "judge"),
    Command("truth", "record what it really was, after teardown or after the repair", "reports:truth", (
        INSPECTION, _arg("faults", nargs="*", metavar="[CYL=]FAULT", help="3=exh_valve_leak, 2=sound, engine=overheated"),
        _arg("--known", choices=("opened", "ran", "told"), default="opened", help="how it is known"),
        _arg("--words", default=""), JSON), "judge"),
    Command("score", "how often the calls of this logbook were right: hit rate, Brier score, reliability", "reports:score",
            (JSON,), "judge"),
    Command("learn", "update the tables from opened cylinders, or go back to the shipped ones", "reports:learn", (
        _arg("--shipped", action="store_true", help="back to the shipped tables"),
        _arg("-n", "--dry-run", action="store_true"), JSON), "judge"),
    Command("calc", "one calculation; 'calc list' names them", "reports:calc", (
        _arg("calculation", metavar="CALCULATION"), PAIRS, JSON), "judge"),
    Command("trace", "relative compression from a starter-current trace (CSV)", "reports:trace", (
        INSPECTION, _arg("csv", metavar="CSV"), PAIRS,
        _arg("--svg", metavar="FILE", default="", help="write the drawing"),
        _arg("-n", "--dry-run", action="store_true", help="show, do not enter"), JSON), "judge"),
    Command("pack", "make the findings pack", "packs:pack", (
        INSPECTION, OUT, _arg("--zip", action="store_true", help="also as one zip file"),
        _arg("--for", dest="reader", default="customer",
             choices=("archive", "customer", "buyer", "machinist", "insurer"), help="who reads it (default: customer)"),
        _arg("--also", action="append", default=[], metavar="ITEM", choices=("plate", "chassis_full"),
             help="also show: plate, chassis_full (the whole chassis number); once for each"),
        _arg("--cards", action="store_true", help="also a few pictures for a chat"),
        _arg("--coco", action="store_true", help="also the marks as COCO JSON for picture tools"),
        _arg("--letter", action="store_true", help="Letter paper instead of A4"),
        _arg("--sign", metavar="KEY", default="", help="sign with this ssh key"), JSON), "hand over"),
    Command("check", "verify a pack, folder or zip", "packs:check", (
        _arg("pack", metavar="PACK"),
        _arg("--views", action="store_true", help="also make tables, annotations and page anew and compare them"),
        _arg("--signers", metavar="FILE", default="", help="allowed signers: who must have signed it, with their ssh keys"),
        _arg("--by", metavar="WHO", default="", help="with --signers: whose signature it must bear"), JSON), "hand over"),
    Command("take", "take in a pack, or another logbook", "packs:take", (_arg("pack", metavar="PACK"), JSON), "hand over"),
    Command("undo", "take back your own last entry", "entry:undo_", (INSPECTION,), "keep"),
    Command("redo", "bring back what was undone last", "entry:redo_", (INSPECTION,), "keep"),
    Command("withdraw", "withdraw an entry by its id; it stays in the journal", "entry:withdraw_", (
        INSPECTION, _arg("entry", metavar="ENTRY"), _arg("--why", default="")), "keep"),
    Command("journal", "list the entries in order, with who and when", "listing:journal_", (INSPECTION, JSON), "keep"),
    Command("search", "search everything recorded in the logbook", "listing:search_", (
        _arg("words", nargs="+", metavar="WORD"), JSON), "keep"),
    Command("doctor", "look the logbook over, and what this terminal can do", "keep:doctor", (
        _arg("--rebuild", action="store_true", help="make again what is derived: the list's lines, thumbnails"), JSON), "keep"),
    Command("backup", "copy the logbook to a folder while it is open", "keep:backup", (_arg("folder", metavar="DIR"),),
            "keep"),
    Command("restore", "put a backup in the place of a damaged logbook, which is set aside", "keep:restore", (
        _arg("folder", metavar="BACKUP"),
        _arg("--yes", action="store_true", help="even where the logbook holds entries that the backup does not")), "keep"),
    Command("completion", "print the completion file for a shell; its first line says where it goes",
            "completing:completion", (_arg("shell", choices=("bash", "zsh", "fish"), metavar="SHELL", help="bash, zsh or fish"),),
            "keep"),
)  # fmt: skip
