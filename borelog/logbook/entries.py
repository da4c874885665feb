"""One line of the journal: what was entered, by whom, when, and how it was taken.

An entry is an envelope around a body. Bodies are a tagged union: a kind this version does not know is kept byte for
byte and shown as 'from a newer version'. Numbers keep the text as typed beside the parsed value. Nothing is ever
overwritten: a correction names the entry it corrects, a withdrawal likewise.
"""

from __future__ import annotations

import hashlib
from typing import Any, ClassVar, TypeAlias

import msgspec

from borelog.marks.places import Place
from borelog.marks.shapes import Shape
from borelog.text import BorelogError, one_line

Scalar: TypeAlias = str | int | float | bool | None


class Body(msgspec.Struct, frozen=True, tag_field="kind", omit_defaults=True, forbid_unknown_fields=True):
    """What an entry says. ``latest`` names the fields in which a later entry takes the place of an earlier one."""

    latest: ClassVar[tuple[str, ...] | None] = None


class Opened(Body, frozen=True, tag="opened"):
    """An inspection begins. All but the name may come later; ``earlier`` links a former look at the same engine."""

    name: str
    demo: bool = False
    earlier: str = ""
    latest: ClassVar[tuple[str, ...] | None] = ()


class Facts(Body, frozen=True, tag="facts"):
    """Facts about the engine and car, by id of the facts table, as typed. An empty value takes the fact back."""

    values: dict[str, str]


class Conditions(Body, frozen=True, tag="conditions"):
    """How a test was done, by id of the conditions table, as typed; cylinder None: for the whole test."""

    test: str
    values: dict[str, str]
    cylinder: int | None = None
    series: str = ""


class Reading(Body, frozen=True, tag="reading"):
    """A measured value with its repeats, in ``unit``.

    ``about`` is '' or '~' (about) or '<' (below). ``puffs`` is the needle after each pulse where it was called out.
    ``supply`` is the pressure fed in a leak-down, in ``unit`` (None: percent or not said). ``air`` lists where the air
    went (intake, exhaust, crankcase, coolant, neighbour, none). ``series`` tells one session of a test from another
    ('' the first). ``doubt`` is the question a likely slip raised.
    """

    test: str
    cylinder: int | None
    typed: str
    values: tuple[float, ...]
    unit: str
    about: str = ""
    puffs: tuple[float, ...] = ()
    supply: float | None = None
    air: tuple[str, ...] = ()
    part: str = ""
    series: str = ""
    doubt: str = ""
    note: str = ""


class Seen(Body, frozen=True, tag="seen"):
    """An answer to one question of the evidence table: item, cylinder (None: engine), state; ``note`` in own words.

    A later answer to the same question, taken the same way, stands in place of the earlier one; ``series`` lets a
    re-test stand beside it.
    """

    item: str
    cylinder: int | None
    state: str
    note: str = ""
    series: str = ""
    latest: ClassVar[tuple[str, ...] | None] = ("item", "cylinder", "series")


class Looked(Body, frozen=True, tag="looked"):
    """Coverage of a place or a test: a state of ``marks.places.Looked``, with why."""

    state: str
    cylinder: int | None = None
    place: Place | None = None
    test: str = ""
    why: str = ""
    latest: ClassVar[tuple[str, ...] | None] = ("cylinder", "place", "test")


class Codes(Body, frozen=True, tag="codes"):
    """Trouble codes as pasted, before the battery was disturbed or not, with freeze-frame words."""

    text: str
    battery_disturbed: bool | None = None
    frozen: str = ""


class Told(Body, frozen=True, tag="told"):
    """Somebody's words, with the date on which they were said (as typed)."""

    by: str
    text: str
    on: str = ""


class Consent(Body, frozen=True, tag="consent"):
    """Consent to open the engine, the price of putting it back together, and the price at which to stop."""

    by: str
    put_back_price: str = ""
    stop_price: str = ""
    text: str = ""
    on: str = ""


class Note(Body, frozen=True, tag="note"):
    """Own words, about a cylinder or the whole engine."""

    text: str
    cylinder: int | None = None


class StillFiled(Body, frozen=True, tag="still"):
    """A picture (or film, or trace file) taken into the store under the SHA-256 of its bytes."""

    sha256: str
    name: str
    size: int
    format: str
    width: int = 0
    height: int = 0
    orientation: int = 1
    taken: str = ""
    camera: str = ""
    view_copy: str = ""
    source: str = ""
    latest: ClassVar[tuple[str, ...] | None] = ("sha256",)


class StillPlaced(Body, frozen=True, tag="placed"):
    """Where a still belongs. ``aside`` is why it was set aside; ``reading`` ties it to an entry (photo of the gauge)."""

    still: str
    cylinder: int | None = None
    place: Place | None = None
    mirror: bool = False
    roll: float = 0.0
    probe: str = ""
    reading: str = ""
    aside: str = ""
    caption: str = ""
    latest: ClassVar[tuple[str, ...] | None] = ("still",)


class Mark(msgspec.Struct, frozen=True, omit_defaults=True, forbid_unknown_fields=True):
    """A shape on a still, with words, the display settings in use when it was drawn, and a measure if one was taken."""

    still: str
    shape: Shape
    label: str = ""
    look: dict[str, Scalar] = {}
    measure: str = ""
    measured: dict[str, Scalar] = {}


class Marked(Body, frozen=True, tag="marked"):
    """A mark that belongs to no finding (yet)."""

    mark: Mark


class Finding(Body, frozen=True, tag="finding"):
    """A term of the vocabulary (or own words in ``own``) at a place, with severity 0 to 4, certainty and age.

    ``fake_checked`` says what was done about what could fake it. ``method`` names the suggestion or comparison that a
    person accepted, with its version.
    """

    term: str
    cylinder: int | None = None
    place: Place | None = None
    component: str = ""
    own: str = ""
    severity: int = 1
    certainty: str = "seen clearly"
    age: str = "not said"
    marks: tuple[Mark, ...] = ()
    fake_checked: str = ""
    method: str = ""
    note: str = ""


class Scaled(Body, frozen=True, tag="scaled"):
    """The scale of one still: millimetres per pixel, its standard uncertainty, and what it rests on.

    ``matrix`` is the map from pixels to millimetres row by row (nine numbers) where the part is seen at a slant; then
    ``mm_per_px`` is that of its middle. ``plane`` says where it holds, ``lens`` which lens points go through first.
    """

    still: str
    mm_per_px: float
    u_mm_per_px: float
    rests_on: str
    matrix: tuple[float, ...] = ()
    plane: str = ""
    lens: dict[str, Scalar] = {}
    latest: ClassVar[tuple[str, ...] | None] = ("still",)


class Probe(Body, frozen=True, tag="probe"):
    """A probe's standing facts: mirror attachment, roll in degrees, lens calibration."""

    name: str
    mirror: bool = False
    roll: float = 0.0
    lens: dict[str, Scalar] = {}
    latest: ClassVar[tuple[str, ...] | None] = ("name",)


class MaskDrawn(Body, frozen=True, tag="mask"):
    """An area of a still (plate, number, face) to be filled solid in every copy that leaves the house."""

    still: str
    shapes: tuple[Shape, ...]
    what: str = ""
    latest: ClassVar[tuple[str, ...] | None] = ("still",)


class Prices(Body, frozen=True, tag="prices"):
    """Prices and overridden cost lines by id, as typed. An empty value takes one back."""

    values: dict[str, str]


FOR_A_PACK = "handed over"
"""Why a call was frozen that nobody took: a pack was made with it."""


class CallTaken(Body, frozen=True, tag="call"):
    """The verdict as a person took it, frozen: course, words, the summary shown and the digest of the tables used.

    ``why`` is what it was frozen for: a decision's reason in words, or ``FOR_A_PACK``.
    """

    course: str
    words: str
    verdict: dict[str, Any]
    tables: str
    why: str = "decided"


class Truth(Body, frozen=True, tag="truth"):
    """What it really was. ``known`` is opened, ran after the repair, or told; empty ``faults`` means sound."""

    cylinder: int | None
    faults: tuple[str, ...]
    known: str
    note: str = ""
    latest: ClassVar[tuple[str, ...] | None] = ("cylinder",)


class HandedOver(Body, frozen=True, tag="handed_over"):
    """A pack left the house: its number, for whom, the digest of its manifest and of the journal at that moment."""

    number: int
    reader: str
    digest: str
    head: str
    left_out: tuple[str, ...] = ()


class TakenIn(Body, frozen=True, tag="taken_in"):
    """This inspection came from a pack without a journal; it is read-only and counts as told by ``by``."""

    by: str
    digest: str
    document: dict[str, Any]


class Correct(Body, frozen=True, tag="correct"):
    """A new body for the version named by ``target`` (an entry, or the correction last seen of it)."""

    target: str
    body: Content


class Withdraw(Body, frozen=True, tag="withdraw"):
    """The entry named by ``target`` no longer stands; it stays in the journal with why."""

    target: str
    why: str = ""


class Undo(Body, frozen=True, tag="undo"):
    """Takes back the writer's own entry ``target``."""

    target: str


class Redo(Body, frozen=True, tag="redo"):
    """Brings back the writer's own undone entry ``target``."""

    target: str


class Forgotten(Body, frozen=True, tag="forgotten"):
    """The bytes of a still were removed for good; its digest, who and why remain."""

    still: str
    why: str


Content: TypeAlias = (
    Opened | Facts | Conditions | Reading | Seen | Looked | Codes | Told | Consent | Note | StillFiled | StillPlaced
    | Marked | Finding | Scaled | Probe | MaskDrawn | Prices | CallTaken | Truth | HandedOver | TakenIn
)  # fmt: skip
Known: TypeAlias = Content | Correct | Withdraw | Undo | Redo | Forgotten


class Unknown(msgspec.Struct, frozen=True):
    """A body of a kind, or with fields, that this version does not know; kept byte for byte."""

    kind: str
    raw: bytes


class EntryError(BorelogError):
    """An entry that cannot be read."""

    exit_code = 4


class Envelope(
    msgspec.Struct, frozen=True, gc=False, kw_only=True, omit_defaults=True, forbid_unknown_fields=False
):
    """Identity and circumstances of an entry.

    ``id`` is a UUID in hex; ``writer`` the UUID of the writing installation and ``number`` counts that writer's entries
    in this inspection from 1; ``prev`` is the SHA-256 of the writer's previous entry in this inspection ('' for the
    first); ``clock`` is the Lamport clock. ``at`` is local time with offset, by the machine's clock; ``who`` a person's
    name or initials; ``how`` the way it was taken (see the misread table: 'seen clearly', 'measured', 'told by' ...).
    ``seen`` says how many entries of each other writer had come in since the writer's previous entry; so the fold can
    tell a replacement from an answer given apart.
    """

    id: str
    inspection: str
    writer: str
    number: int
    prev: str
    clock: int
    at: str
    who: str
    how: str = ""
    seen: dict[str, int] = {}


class Entry(Envelope, frozen=True, gc=False, kw_only=True):
    """An envelope with a body this version understands."""

    body: Known


class _Raw(Envelope, frozen=True, kw_only=True):
    body: msgspec.Raw


class _Kind(msgspec.Struct, frozen=True):
    kind: str = "?"


class Stored(msgspec.Struct, frozen=True, gc=False):
    """An entry as the journal holds it: parsed, its exact bytes, and their SHA-256 in hex."""

    entry: Envelope
    body: Known | Unknown
    raw: bytes
    digest: str

    @property
    def order(self) -> tuple[int, str, int]:
        """Where the entry stands among all: Lamport clock, then writer, then number."""
        return (self.entry.clock, self.entry.writer, self.entry.number)


_encoder = msgspec.json.Encoder(order="sorted")
_decoder = msgspec.json.Decoder(Entry)
_raw_decoder = msgspec.json.Decoder(_Raw)
_UNREADABLE = (msgspec.MsgspecError, ValueError, RecursionError)
_kind_decoder = msgspec.json.Decoder(_Kind)


def encode(entry: Entry) -> bytes:
    """The canonical bytes of an entry: JSON, sorted keys, no blanks, UTF-8. These are what is hashed and kept."""
    return _encoder.encode(entry)


def digest_of(raw: bytes) -> str:
    """SHA-256 of an entry's bytes, hex."""
    return hashlib.sha256(raw).hexdigest()


def decode(raw: bytes, digest: str = "") -> Stored:
    """An entry from its bytes (and their digest where it is noted).

    An unknown kind, or a known one with fields from a newer version, becomes ``Unknown``.

    Raises
    ------
    EntryError
        If the bytes are no entry at all.
    """
    if not isinstance(raw, bytes):  # a damaged database gives anything
        raise EntryError("an entry of the journal is not made of bytes; run 'borelog doctor'")
    try:
        entry = _decoder.decode(raw)
        return Stored(entry, entry.body, raw, digest or digest_of(raw))
    except _UNREADABLE:
        pass
    try:
        loose = _raw_decoder.decode(raw)
        kind = _kind_decoder.decode(loose.body).kind
    except _UNREADABLE as error:
        raise EntryError(
            f"an entry of the journal cannot be read ({one_line(str(error), 120)}); run 'borelog doctor'"
        ) from error
    return Stored(loose, Unknown(kind, bytes(loose.body)), raw, digest or digest_of(raw))
