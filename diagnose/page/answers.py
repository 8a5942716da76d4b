"""What a tablet sends: answers with an id of the tablet's own, so that each is recorded once however often it is sent."""

from __future__ import annotations

from collections.abc import Iterable, Set
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import msgspec

from diagnose.casefile.journal import Line
from diagnose.casefile.photos import photo_entry
from diagnose.casefile.replay import State, What
from diagnose.casefile.spoken import not_understood, records_of, removal_said
from diagnose.knowledge.model import Vocabulary
from diagnose.page.photos import is_own_name
from diagnose.phrases.read import read

ANSWER = "answer"
"""The key of a journal line under which the answer's id and the place of the line within the answer stand."""
WAITED = "answered"
"""The key for the moment of the answer, where it waited on the tablet for longer than `LONG`."""
LONG = 60.0
MOST_WHATS = 400
_FORMS = {"add": {"add", "entry", "instead of"}, "set": {"set", "to"}, "withdraw": {"withdraw"}, "reached": {"reached"}}
_BESIDE = {"why", "said"}
_SEVERAL = {"touches", "extent", "readings", "at", "labels", "which", "when"}
_OURS = {"photo", "photo digest"}


class Answer(msgspec.Struct, forbid_unknown_fields=True):
    """One answer. `whats` are what journal lines say (see diagnose/casefile/replay.py); `phrase` is read as own
    words about a part or kind, `reading` being the text of the reading that was chosen, "" where nobody was asked; `photo` is a file that was sent before."""

    id: Annotated[str, msgspec.Meta(pattern=r"^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$")]
    who: Annotated[str, msgspec.Meta(min_length=1, max_length=60)]
    at: Annotated[str, msgspec.Meta(max_length=40)]
    whats: Annotated[list[dict[str, Any]], msgspec.Meta(max_length=MOST_WHATS)] = []
    phrase: Annotated[str, msgspec.Meta(max_length=400)] = ""
    reading: Annotated[str, msgspec.Meta(max_length=2000)] = ""
    about: dict[str, str] = {}
    photo: Annotated[str, msgspec.Meta(max_length=120)] = ""
    sure: bool = False


_ANSWERS = msgspec.json.Decoder(Annotated[list[Answer], msgspec.Meta(max_length=200)])


def read_answers(data: bytes) -> list[Answer]:
    """Raises ValueError, saying what is wrong, where the bytes are no answers."""
    try:
        answers = _ANSWERS.decode(data)
    except (msgspec.DecodeError, RecursionError) as error:
        raise ValueError(str(error)) from error
    for answer in answers:
        _refuse_odd(answer)
    return answers


def _refuse_odd(answer: Answer) -> None:
    if not answer.who.isprintable():
        raise ValueError("a name is letters and signs")
    try:
        if datetime.fromisoformat(answer.at).tzinfo is None:
            raise ValueError
    except ValueError:
        raise ValueError(f"{answer.at!r} is no moment with a time zone") from None
    if answer.about.keys() - {"part", "on", "position"}:
        raise ValueError("a phrase is about a part, a kind or a position")
    for what in answer.whats:
        form = next((f for f in _FORMS if f in what), "")
        if not form or what.keys() - _FORMS[form] - _BESIDE or _FORMS[form] - {"instead of"} - what.keys():
            raise ValueError("an answer adds, sets, withdraws or reaches something")
        if not _is_text(what) or (form == "add" and what["entry"].keys() & _OURS):
            raise ValueError(
                "an answer is texts, a list of them only where several can stand; its photo is sent beside it"
            )


def _is_text(what: dict[str, Any]) -> bool:
    rest = {k: v for k, v in what.items() if k not in ("set", "to", "entry")}
    entry = what.get("entry", {})
    return (
        all(isinstance(v, str) for v in rest.values())
        and ("set" not in what or (bool(what["set"]) and _texts(what["set"])))
        and (what.get("to") is None or isinstance(what["to"], str) or _texts(what["to"]))
        and isinstance(entry, dict)
        and all(isinstance(v, str) or (k in _SEVERAL and _texts(v)) for k, v in entry.items())
    )


def _texts(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(x, str) for x in value)


def lines_of(answer: Answer, lines: Iterable[Line]) -> dict[int, int]:
    """The journal lines that an answer has made before: number within the answer, number of the line."""
    marks = ((str(line.what.get(ANSWER, "")).rpartition(" "), line.number) for line in lines)
    return {int(place): number for (id, _, place), number in marks if id == answer.id}


def whats_of(answer: Answer, known: Set[int], case: Path, state: State, words: Vocabulary, now: datetime) -> list[What]:
    """What an answer puts on record, without the lines it has made before. Raises BadInput for a photo that cannot be read,
    ValueError where a phrase has no one place."""
    whats: list[What] = [*map(dict, answer.whats), *_spoken(answer, state, words)]
    if answer.photo:
        _with_photo(whats, answer, case)
    waited = (now - datetime.fromisoformat(answer.at)).total_seconds()
    moment = {WAITED: answer.at} if waited > LONG else {}
    numbered = ({**what, ANSWER: f"{answer.id} {n}", **moment} for n, what in enumerate(whats))
    return [what for n, what in enumerate(numbered) if n not in known]


def _spoken(answer: Answer, state: State, words: Vocabulary) -> list[What]:
    if not answer.phrase:
        return []
    if removal := removal_said(answer.phrase, answer.about):
        return removal
    item = state.part_record(answer.about.get("part", ""))
    kind = str(item.entry.get("kind", "")) if item else answer.about.get("on", "")
    readings = read(answer.phrase, words, kind)
    meant = [r for r in readings if r.text == answer.reading]
    if not answer.reading and readings and readings[0].sureness == "sure":
        meant = [readings[0]]
    return (
        records_of(meant[0], answer.phrase, state, words, answer.about)
        if meant
        else [not_understood(answer.phrase, state)]
    )


def _with_photo(whats: list[What], answer: Answer, case: Path) -> None:
    """Puts the photo on the first mark or reading of the answer, else into a remark."""
    if not is_own_name(answer.photo, case):
        raise ValueError(f"{answer.photo!r} is no photo that was sent to this page")
    photo = photo_entry(case, answer.photo)
    first = next((n for n, w in enumerate(whats) if w.get("add") in ("observations", "measurements", "remarks")), None)
    if first is None:
        whats.append({"add": "remarks", "entry": {**answer.about, **photo}})
    else:
        whats[first] = {**whats[first], "entry": {**whats[first]["entry"], **photo}}
