"""The command that puts something on record without questions."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated, Any

import typer

from diagnose.cli.bench import ByOption, FileArgument, KeepLocation, WhyOption, knowledge_of, recorder_of
from diagnose.cli.common import JsonOption, KnowledgeOption, print_json, refuse

if TYPE_CHECKING:
    from diagnose.casefile.journal import Line
    from diagnose.casefile.recorder import Recorder
    from diagnose.knowledge.model import Knowledge, Vocabulary

PATIENCE = 5.0
"""Seconds that a note waits for another one to be done; scripts make several at once."""
What = dict[str, Any]
Words = dict[str, Any]
PhrasesOption = Annotated[
    list[str] | None, typer.Option("--said", help="A whole phrase in your own words; shown as it is read.")
]
PhotosOption = Annotated[
    list[str] | None,
    typer.Option("--photo", help="Photo file; copied in beside the case, its digest is kept. Several may be given."),
]
SettingsOption = Annotated[
    list[str] | None,
    typer.Option("--set", help='A figure, setting or text: "soft face=carbon", "temperature=96 °C".'),
]
SureOption = Annotated[
    bool,
    typer.Option("--sure", help="A reading far off its nominal or its set is so; a phrase is meant as first read."),
]


def note(
    file: FileArgument,
    saw: Annotated[list[str] | None, typer.Option("--saw", help="A feature that is there.")] = None,
    absent: Annotated[list[str] | None, typer.Option("--absent", help="Looked for and not there.")] = None,
    not_looked_at: Annotated[list[str] | None, typer.Option("--not-looked-at", help="Nobody looked.")] = None,
    lost: Annotated[list[str] | None, typer.Option("--lost", help="Can no longer be seen.")] = None,
    phrases: PhrasesOption = None,
    part: Annotated[str, typer.Option("--part", help="Item number of the part it is on.")] = "",
    on: Annotated[str, typer.Option("--on", help="Kind of part, where no numbered part is meant.")] = "",
    position: Annotated[str, typer.Option("--position", help="inboard or outboard, in a pair.")] = "",
    extent: Annotated[str, typer.Option("--extent", help="all round, one sector, patches.")] = "",
    from_: Annotated[str, typer.Option("--from", help="Clock position where it begins.")] = "",
    to: Annotated[str, typer.Option("--to", help="Clock position where it ends, clockwise from there.")] = "",
    at: Annotated[str, typer.Option("--at", help="Clock position; with readings one for each: 12, 3, 6, 9.")] = "",
    degree: Annotated[str, typer.Option("--degree", help="light, moderate or severe.")] = "",
    side: Annotated[str, typer.Option("--side", help="Side or edge it is on.")] = "",
    face: Annotated[str, typer.Option("--face", help="nose or wide, where no part says so.")] = "",
    photos: PhotosOption = None,
    keep_location: KeepLocation = False,
    text: Annotated[str, typer.Option("--note", help="Anything else, in your own words.")] = "",
    measured: Annotated[str, typer.Option("--measured", help="What was measured.")] = "",
    readings: Annotated[str, typer.Option("--readings", help='The readings: "25.4 mm; 25.3 mm".')] = "",
    instrument: Annotated[str, typer.Option("--instrument", help="With what it was measured.")] = "",
    resolution: Annotated[str, typer.Option("--resolution", help="Smallest step of the instrument.")] = "",
    temperature: Annotated[str, typer.Option("--temperature", help="Temperature at which it was measured.")] = "",
    settings: SettingsOption = None,
    event: Annotated[str, typer.Option("--event", help="Something in its history.")] = "",
    date: Annotated[str, typer.Option("--date", help="When the event was.")] = "",
    item: Annotated[str, typer.Option("--add-part", help="Item number of a part to put on the list.")] = "",
    kind: Annotated[str, typer.Option("--kind", help="Kind of that part.")] = "",
    name: Annotated[str, typer.Option("--name", help="Name of that part.")] = "",
    group: Annotated[str, typer.Option("--group", help="rotating or stationary.")] = "",
    carries: Annotated[str, typer.Option("--carries", help="nose or wide: which face of the pair that part is.")] = "",
    index: Annotated[str, typer.Option("--index", help="Mark that part's clock is counted from.")] = "",
    index_at: Annotated[str, typer.Option("--index-at", help="Where that mark stands on its group's clock.")] = "",
    seen_from: Annotated[str, typer.Option("--seen-from", help="driver end or impeller end.")] = "",
    tag: Annotated[str, typer.Option("--tag", help="Tag tied to that part.")] = "",
    touches: Annotated[str, typer.Option("--touches", help="Item numbers of the parts it touches: 2, 3.")] = "",
    towards: Annotated[str, typer.Option("--towards", help="driver end or impeller end: where its face points.")] = "",
    sat_in: Annotated[str, typer.Option("--sat-in", help="What sat where: 1 in pocket 3, 2 in pocket 4.")] = "",
    lost_part: Annotated[str, typer.Option("--lost-part", help="How that part was lost: nobody can look at it.")] = "",
    stage: Annotated[str, typer.Option("--stage", help="How far the teardown has come.")] = "",
    instead_of: Annotated[str, typer.Option("--instead-of", help="Number of the record this corrects.")] = "",
    withdraw: Annotated[str, typer.Option("--withdraw", help="Number of a record that no longer holds.")] = "",
    sure: SureOption = False,
    by: ByOption = "",
    why: WhyOption = "",
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Put something on record without questions: for scripts, voice front ends and quick hands."""
    _record(locals())


def _record(said: Words) -> None:
    """Everything that was said goes on record, and is told. Raises BadInput."""
    from diagnose.views.at_odds import ToldOdds
    from diagnose.views.journal import clean

    base, why = knowledge_of(said["knowledge"]), said["why"]
    _refuse_halves(said)
    with recorder_of(said["file"], base, said["by"], must_exist=True, patience=PATIENCE) as recorder:
        whats = _whats(said, recorder)
        odds = ToldOdds(recorder)
        lines = recorder.accept(*({**w, "why": why} if why else w for w in whats), sure=said["sure"])
        _tell(lines, recorder, said["as_json"])
        for text in odds.since():
            typer.echo(clean(text), err=True)


def _whats(said: Words, recorder: Recorder) -> list[What]:
    """Everything that was said, as records and changes. Raises BadInput for nothing."""
    whats = [*_spoken(said, recorder), *_records(said), *_parts_and_settings(said, recorder)]
    if said["stage"]:
        whats.append({"set": ["stage"], "to": said["stage"]})
    if said["withdraw"]:
        whats.append({"withdraw": said["withdraw"].removeprefix("r")})
    if not whats:
        raise refuse("nothing was said", "--saw, --absent, --measured, --set …: see diagnose note --help")
    if said["instead_of"]:
        if len(whats) != 1 or "add" not in whats[0]:
            raise refuse("--instead-of goes with one record", "say what takes its place, one at a time")
        whats[0]["instead of"] = said["instead_of"].removeprefix("r")
    return whats


def _refuse_halves(said: Words) -> None:
    """Raises BadInput where an option stands without the one it belongs to."""
    if bool(said["from_"]) != bool(said["to"]):
        raise refuse("--from and --to go together", "--at for a single clock position")
    for given, option, partner in (("date", "--date", "event"), ("readings", "--readings", "measured")):
        if said[given] and not said[partner]:
            raise refuse(f"{option} goes with --{partner}", f"--{partner} says what it is of")
    on_a_part = any(said[key] for key in ("index", "index_at", "seen_from"))
    if on_a_part and not said["part"] and not said["item"]:
        way_out = '--part ITEM; the mark of a whole group is set with --set "index.rotating=keyway"'
        raise refuse("--index, --index-at and --seen-from are told of a part", way_out)


def _spoken(said: Words, recorder: Recorder) -> list[What]:
    """What whole phrases say. Raises BadInput where one is not surely read and nobody says that it is; what is not understood
    is kept as said. A word under --saw and the like that is no term is read as a phrase too."""
    from diagnose.casefile.named import at_part, parts_named, positions_named
    from diagnose.casefile.spoken import not_understood, records_of, removal_said
    from diagnose.phrases.read import read
    from diagnose.views.phrases import not_sure

    vocabulary = recorder.knowledge.vocabulary
    about = _given(said, "part", "on", "position")
    item = recorder.state.part_record(said["part"])
    kind = str(item.entry.get("kind", "")) if item else vocabulary.find("kind", said["on"]) or ""
    whats: list[What] = []
    for phrase in [*(said["phrases"] or []), *_strange(said, vocabulary)]:
        if removal := removal_said(phrase, about):
            recorder.told.append(f"read as: how the seal came out: {removal[0]['to']}")
            whats += removal
            continue
        readings = read(phrase, vocabulary, kind)
        if not readings:
            recorder.told.append(f"not understood, kept as said: {phrase}")
            whats.append(not_understood(phrase, recorder.state))
            continue
        if readings[0].sureness != "sure" and not said["sure"]:
            raise not_sure(phrase, readings)
        recorder.told.append(f"read as: {readings[0].text}")
        case = recorder.case_now()
        seals = [] if about else positions_named(phrase, case)
        of_one = {"position": seals[0]} if len(seals) == 1 else {}
        found = records_of(readings[0], phrase, recorder.state, vocabulary, about or of_one)
        parts = [] if about else parts_named(phrase, case, vocabulary)
        whats += [at_part(w, parts[0], vocabulary) for w in found] if len(parts) == 1 else found
    return whats


def _strange(said: Words, vocabulary: Vocabulary) -> list[str]:
    """Words for features that are no terms, as phrases; they are taken out of what was said."""
    found = []
    for option, state in (("saw", ""), ("absent", "no "), ("not_looked_at", "not looked at: ")):
        words = said[option] or []
        strange = [word for word in words if vocabulary.find("feature", word) is None]
        said[option] = [word for word in words if word not in strange]
        found += [state + word for word in strange]
    return found


def _records(said: Words) -> list[What]:
    """Marks, a reading and an event; photos beyond the first, and remarks and photos without a mark, are records of their
    own."""
    from diagnose.casefile.answers import split_readings
    from diagnose.casefile.photos import photo_entry

    shared = _given(said, "part", "on", "position")
    pictures = [photo_entry(said["file"], photo, said["keep_location"]) for photo in said["photos"] or []]
    note = {"note": said["text"]} if said["text"] else {}
    with_mark = {**shared, **note, **(pictures[0] if pictures else {})}
    arc = (
        f"{said['from_']} to {said['to']}"
        if said["from_"]
        else f"at {said['at']}"
        if said["at"] and not said["measured"]
        else ""
    )
    mark = _given({**said, "extent": said["extent"] or arc}, "extent", "degree", "side", "face")
    marks: list[What] = [
        {"add": "observations", "entry": {**with_mark, state: feature, **mark}}
        for state in ("saw", "absent", "not looked at", "lost")
        for feature in said[state.replace(" ", "_")] or []
    ]
    if said["measured"]:
        at = {"at": _listed(said["at"])} if said["at"] else {}
        entry = {**with_mark, "measured": said["measured"], "readings": split_readings(said["readings"]), **at}
        marks.append({"add": "measurements", "entry": entry | _given(said, "instrument", "resolution", "temperature")})
    part = _given(said, "part")
    of = {"of": said["saw"][0]} if len(said["saw"] or []) == 1 else {}
    remarks = [{**part, **(of if marks else {}), **picture} for picture in pictures[1 if marks else 0 :]]
    if note and not marks:
        remarks[:1] = [{**part, **note, **(remarks[0] if remarks else {})}]
    events: list[What] = (
        [{"add": "events", "entry": _given({**said, "what": said["event"]}, "date", "what")}] if said["event"] else []
    )
    return [*marks, *({"add": "remarks", "entry": entry} for entry in remarks), *events]


def _parts_and_settings(said: Words, recorder: Recorder) -> list[What]:
    """A part put on the list or told more of, and figures, settings and texts."""
    whats: list[What] = []
    named = {"index at": "index_at", "seen from": "seen_from", "lost": "lost_part"}
    keys = ("kind", "name", "group", "carries", "index", "index at", "seen from", "tag", "towards")
    details = _given({k: said[named.get(k, k)] for k in (*keys, "lost")}, *keys, "lost")
    details |= {
        key: _listed(said[option]) for key, option in (("touches", "touches"), ("sat in", "sat_in")) if said[option]
    }
    if said["item"]:
        whats.append({"add": "parts", "entry": _given(said, "item", "position") | details})
    elif details:
        whats.append(_amended(recorder, said["part"], details))
    for text in said["settings"] or []:
        whats.append(_setting(recorder, whats, text, said["position"]))
    return whats


def _tell(lines: tuple[Line, ...], recorder: Recorder, as_json: bool) -> None:
    from diagnose.views.journal import clean, sentence

    if as_json:
        print_json([{"number": x.number, "time": x.time, "who": x.who, "what": x.what} for x in lines])
    else:
        told = [*recorder.told, *(f"{x.number}  {sentence(x.what)}" for x in lines)]
        for text in told if lines else [*told, "already on record"]:
            typer.echo(clean(text))
    for text in _pressures_without_datum(lines, recorder.knowledge):
        typer.echo(clean(text), err=True)


def _pressures_without_datum(lines: tuple[Line, ...], base: Knowledge) -> list[str]:
    from diagnose.casefile.answers import says_no_datum

    told = []
    for line in lines:
        entry = line.what.get("entry", {})
        name = line.what["set"][-1] if "set" in line.what else entry.get("measured", "")
        values = line.what["to"] if "set" in line.what else entry.get("readings", [])
        reading = base.vocabulary.readings.get(name)
        for value in values if isinstance(values, list) else [values]:
            if reading and isinstance(value, str) and says_no_datum(value, reading):
                told.append(f"{line.number}: {name} {value} says neither g (gauge) nor a (absolute), so what turns on it stays "
                            f'open; write "{value} g" or "{value} a", with --why TEXT')  # fmt: skip
    return told


def _given(said: Words, *keys: str) -> dict[str, Any]:
    return {key: said[key] for key in keys if said[key]}


def _listed(text: str) -> list[str]:
    return [x.strip() for x in text.split(",") if x.strip()]


def _amended(recorder: Recorder, part: str, details: dict[str, Any]) -> What:
    """More about a part that is on the list already."""
    old = recorder.state.part_record(part)
    if old is None:
        raise refuse(f"no part has the item number {part!r}", "--part ITEM names the part, --add-part ITEM a new one")
    return {"add": "parts", "entry": {**old.entry, **details}, "instead of": old.id}


def _setting(recorder: Recorder, whats: list[What], said: str, position: str) -> What:
    """A figure, setting or text from KEY=VALUE; several terms of one setting add up."""
    from diagnose.casefile.answers import path_of

    vocabulary = recorder.knowledge.vocabulary
    key, sign, value = (x.strip() for x in said.partition("="))
    if not sign or not key:
        raise refuse(f"{said!r} is no KEY=VALUE", 'for example --set "temperature=96 °C"')
    try:
        path = path_of(key, position, vocabulary)
    except ValueError as error:
        raise refuse(str(error), "see: diagnose terms") from error
    if not value:
        return {"set": path, "to": None}
    bare = re.sub(r"^(is )?not ", "", path[-1])
    setting = vocabulary.settings.get(bare)
    several = path[-1] in ("is", "is not") or (setting is not None and not setting.single)
    if not several:
        return {"set": path, "to": value}
    old = next((w["to"] for w in reversed(whats) if w.get("set") == path), recorder.state.value(path))
    before = old if isinstance(old, list) else [old] if old else []
    return {"set": path, "to": [*before, *(x for x in _listed(value) if x not in before)]}
