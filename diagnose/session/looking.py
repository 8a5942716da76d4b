"""Looking at a part or a kind: what is there, what was looked for and is not, what is lost."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from diagnose.casefile import walk
from diagnose.casefile.photos import photo_entry
from diagnose.casefile.replay import What
from diagnose.casefile.spoken import not_understood, records_of
from diagnose.casefile.walk import Topic
from diagnose.phrases.read import read
from diagnose.reading.problems import BadInput
from diagnose.reading.terms import nearest, plain
from diagnose.session.entries import ALL, EXTENTS, NONE, details, feature_and_details, listed, state_and_list
from diagnose.session.prompts import Words
from diagnose.session.talk import BOUND, Talk


class Looking:
    """`index` asks what a part's clock is counted from."""

    def __init__(self, talk: Talk, index: Callable[[str], None]):
        self.talk, self.words, self.index = talk, talk.words, index

    def heading(self, topic: Topic, features: Iterable[str] = ()) -> None:
        """Names the part and what to look for; what a sound seal shows stands apart from damage."""
        part = self.talk.case.part(topic.part)
        open_ones = list(features) or self.open_ones(topic)
        self.talk.say("")
        self.talk.say(f"{part.item} {part.name}" if part else topic.kind.capitalize(), bold=True)
        if topic.how:
            self.talk.say(topic.how)
        self.talk.help = {
            f: " ".join((self.words.features[f].means, self.words.features[f].how)) for f in topic.features
        }
        shown = {
            f: f"{topic.features.index(f) + 1}{BOUND}{f}" + "!" * walk.is_lost_after(self.words, f, topic.step)
            for f in open_ones
        }
        damage = [x for f, x in shown.items() if not self.words.features[f].sound]
        if damage:
            lead = "Look for (! is gone after this step): " if any("!" in x for x in shown.values()) else "Look for: "
            self.talk.say(lead + ", ".join(damage), hang=2)
        if sound := [x for f, x in shown.items() if self.words.features[f].sound]:
            self.talk.say("Or as a sound one shows it: " + ", ".join(sound), hang=2)

    def look(self, topic: Topic) -> None:
        question = "Seen (number or word, : details; Enter: nothing more): "
        while (answer := self.talk.ask(question, self.features(topic))) and answer.lower() not in NONE:
            if answer.lower() in ALL:
                self.talk.say("  all of them? Write their numbers; none of them is there: absent all", hang=4)
            elif not self._listed(topic, answer, "saw"):
                self._saw(topic, answer)
        if self.open_ones(topic):
            self.not_there(topic, "numbers, words, all; Enter: none")

    def not_there(self, topic: Topic, enter: str) -> None:
        """Asks what was looked for and is not there until something is said of it; saw, lost and the like before a list say
        otherwise."""
        question = f"Looked for, not there ({enter}): "
        while (answer := self.talk.ask(question, self.features(topic))) and answer.lower() not in NONE:
            state, _ = state_and_list(answer, "absent")
            if self._listed(topic, answer, "absent"):
                if state == "absent":
                    return
            elif state == "saw":
                self._saw(topic, state_and_list(answer, "")[1])
            else:
                self.talk.say(f"  {answer!r} names none of them")

    def open_ones(self, topic: Topic) -> list[str]:
        return walk.unanswered(self.talk.case, topic, self.words)

    def record_all(self, topic: Topic, features: Iterable[str], state: str) -> bool:
        return self.talk.record(*({"add": "observations", "entry": {**topic.about(), state: f}} for f in features))

    def _listed(self, topic: Topic, answer: str, default: str) -> bool:
        """Whether an answer was a list of features with a state, which is then recorded. One that is there is asked for its
        details by the caller."""
        state, text = state_and_list(answer, default)
        chosen = self._all_open(topic) if plain(text) in ALL else listed(text, topic.features, self._known(topic))
        if not chosen or (state == "saw" and (len(chosen) == 1 or plain(text) in ALL)):
            return False
        if state == "saw":
            for feature in chosen:
                self._saw(topic, feature)
            return True
        return self.record_all(topic, chosen, state)

    def _all_open(self, topic: Topic) -> list[str]:
        """What "all" stands for: all that is open and would be damage."""
        return [f for f in self.open_ones(topic) if not self.words.features[f].sound]

    # ---- one mark ---------------------------------------------------------------------------------------------

    def _saw(self, topic: Topic, answer: str) -> None:
        known = self._known(topic)
        word, text = feature_and_details(answer, known, self.words)
        if not known(word) and not word.isdigit():
            self._spoken(topic, word, text)
            return
        feature = self._feature(topic, word)
        if not feature:
            return
        if word.isdigit():
            self.talk.say(f"  {word} is: {feature}")
        if not text and topic.part:
            sides = self.words.features[feature].sides
            side = f", {sides[0]}" if sides else ""
            text = self.talk.ask(f"  where and how much (10 to 2, moderate{side}; Enter: not said): ",
                                 {w: w for w in (*self.words.degrees, *sides, *EXTENTS)})  # fmt: skip
        entry, more = self.details(text)
        if topic.part and any(w not in EXTENTS for w in _as_list(entry.get("extent"))):
            self.index(topic.part)
        said = {"said": word} if plain(word) != feature and not word.isdigit() else {}
        self.talk.record(
            {"add": "observations", "entry": {**topic.about(), "saw": feature, **entry}, **said},
            *more_photos(topic.part, more),
        )

    def details(self, text: str) -> tuple[dict[str, Any], list[dict[str, str]]]:
        """The details of a mark, and its photos beyond the first. What is odd, or a photo that cannot be read, is asked for
        again; the rest stays."""
        found = details(text, self.words)
        entry, photos = found.entry, list[dict[str, str]]()
        for odd, near in found.odd:
            meant = f"; did you mean {', '.join(near)}?" if near else "; a remark is written: note TEXT"
            self.talk.say(f"  {odd!r} is no clock position, degree or side{meant}", hang=4)
            if instead := self.talk.ask(f"  instead of {odd!r} (Enter: leave it out): "):
                more, pictures = self.details(instead)
                photos += pictures
                places = [*_as_list(entry.get("extent")), *_as_list(more.get("extent"))]
                entry |= more | ({"extent": places[0] if len(places) == 1 else places} if places else {})
        photos += [read for photo in found.photos if (read := self.photo(photo))]
        if photos and "photo" not in entry:
            entry |= photos.pop(0)
        return entry, photos

    def photo(self, name: str) -> dict[str, str]:
        """Path and digest of a photo, asked for again while it cannot be read; nothing where it is left out."""
        while name:
            try:
                return photo_entry(self.talk.recorder.case, name)
            except BadInput as error:
                self.talk.tell(error)
            name = self.talk.ask("  the photo again (Enter: without): ")
        return {}

    # ---- words for features -----------------------------------------------------------------------------------

    def features(self, topic: Topic) -> Words:
        fitting = [f for f in self.words.features.values() if self.words.fits(topic.kind, f.on)]
        order = {f: i for i, f in enumerate(topic.features)}
        fitting.sort(key=lambda f: (order.get(f.name, len(order)), f.name))
        return {word: f.name for f in fitting for word in (f.name, *f.also)}

    def _known(self, topic: Topic) -> Callable[[str], str]:
        """Finds the feature of a number or a spelling that fits the topic."""
        table = {plain(k): v for k, v in self.features(topic).items()}

        def find(word: str) -> str:
            if word.isdigit():
                return topic.features[int(word) - 1] if len(word) < 4 and 0 < int(word) <= len(topic.features) else ""
            return table.get(plain(word), "")

        return find

    def _feature(self, topic: Topic, word: str) -> str:
        """The feature of a number or a spelling; "" where the list has no such number."""
        found = self._known(topic)(word)
        if not found:
            self.talk.say(f"  there is no {word} in this list; it goes to {len(topic.features)}")
        return found

    def _spoken(self, topic: Topic, phrase: str, more: str) -> None:
        """Records a phrase as it is read, with the details that stand behind it, asking which reading is meant where it is
        not sure; what nothing is read in, or not what was meant, is kept as said."""
        recorder, readings = self.talk.recorder, read(phrase, self.words, topic.kind)
        texts = {r.text: r for r in readings}
        table = self.features(topic)
        near = [table[n] for n in nearest(phrase, table, 6)] if not readings or readings[0].sureness == "weak" else []
        offered = list(dict.fromkeys([*texts, *near]))[:6]
        if readings and readings[0].sureness == "sure":
            self.talk.say(f"  read as: {offered[0]}", hang=4)
            chosen = offered[0]
        elif offered:
            self.talk.say("  did you mean: " + "; ".join(f"{i}{BOUND}{n}" for i, n in enumerate(offered, 1)), hang=4)
            numbers = (
                {str(i): n for i, n in enumerate(offered, 1)}
                | {plain(n): n for n in offered}
                | {"": "", "n": "", "none": ""}
            )
            chosen = self.talk.choose("  number (Enter: none of them): ", numbers)
        else:
            elsewhere = self.words.find("feature", phrase)
            on = f"; it is recorded on: {', '.join(self.words.features[elsewhere].on)}" if elsewhere else ""
            self.talk.say(f"  {phrase!r} is not understood{on}; it is kept as said", hang=4)
            chosen = ""
        if not chosen:
            self.talk.record(not_understood(f"{phrase}: {more}" if more else phrase, recorder.state))
            return
        whats: list[What] = [{"add": "observations", "entry": {**topic.about(), "saw": chosen, "said": phrase}}]
        if chosen in texts:
            about = {"part": topic.part} if topic.part else {"on": topic.kind}
            whats = records_of(texts[chosen], phrase, recorder.state, self.words, {**topic.about(), **about})
        entry, photos = self.details(more)
        mark = next((w for w in whats if w.get("add") == "observations"), None)
        if mark:
            mark["entry"] |= entry
        elif entry:
            photos.append({"note": f"{phrase}: {more}"})
        self.talk.record(*whats, *more_photos(topic.part, photos))


def more_photos(part: str, photos: Iterable[dict[str, str]]) -> list[What]:
    """Photos beyond the first of a mark, each a remark on its part."""
    return [{"add": "remarks", "entry": {**({"part": part} if part else {}), **photo}} for photo in photos]


def _as_list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [value] if value else []
