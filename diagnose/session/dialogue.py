"""The guided session: one card after the other, in the order of dismantling, left and resumed anywhere."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from diagnose.casefile import walk
from diagnose.casefile.cards import Card, Choice, away, cards, gathered, last_separating, left_of, there_is_no, without
from diagnose.casefile.format import ALONE, STATES
from diagnose.casefile.recorder import Recorder
from diagnose.casefile.replay import What
from diagnose.casefile.walk import Topic
from diagnose.knowledge.model import Step
from diagnose.reading.terms import did_you_mean, plain
from diagnose.session.corrections import Corrections
from diagnose.session.entries import NONE
from diagnose.session.figures import Figures
from diagnose.session.looking import HINT, Looking
from diagnose.session.parts import Parts
from diagnose.session.photos import Photos
from diagnose.session.prompts import HELP, MEANS, Ask
from diagnose.session.standing import standing
from diagnose.session.talk import BOUND, Back, Skip, Talk
from diagnose.session.wording import in_words, means_of, number_of

if TYPE_CHECKING:
    from diagnose.inference.run import RuleBase

COMMANDS = """\
Enter         nothing to say, go on          =            what it means so far
?             this help                      ? 12, ? WORD what that is
back          the question before            skip         leave this for later
quit          leave; resume with the same command
log           the last records               /fix r12     correct; /fix springs
/fix part 4   change a part                  /part        another part
/note TEXT    a remark                       /photo       a photo of it
/lost TEXT    the whole seal is gone: how (in a pair: /lost inboard: TEXT)
/lost part 3: TEXT   only that part is gone    /found part 3: it is there
One mark:     3: 10 to 2, severe, photo carbon.jpg, note by the port
Several:      3   1 3 and 5   2-4, hard   3: all round; 5: light; none
Not there:    none (nothing else of it)   absent 3-5   lost 2   lost all
Readings:     14: 4.0 4.1     One part of several alike:  part 10 3: light
"""
MOST = 6
"""So many open looks of a card are named before its step ends."""
_MENU = {word: what for number, what in enumerate(("mark", "fix", "log", "note", "photo", "change"), 1)
         for word in (str(number), what)} | dict.fromkeys(("", "quit", *NONE), "quit")  # fmt: skip


class Dialogue:
    """One guided session. `run` returns when the person leaves."""

    def __init__(
        self, recorder: Recorder, ask: Ask, say: Callable[[str], None] = print, styled: bool | None = None,
        photos_from: Path | None = None, keep_location: bool = False,
    ):  # fmt: skip
        self.talk = Talk(recorder, ask, say, styled)
        self.parts = Parts(self.talk)
        self.figures = Figures(self.talk, self.parts.index)
        self.looking = Looking(self.talk, self.figures, Photos(self.talk, photos_from, keep_location), self.parts.index)
        self.corrections = Corrections(self.talk, self.parts, self.figures, self.looking)
        self._before: list[Topic | Card] = []
        self.talk.commands = {
            MEANS: self._means, HELP: self._help, "/help": self._help, "/log": self._log, "/skip": self._skip, "/back": self._back,
            "/quit": self._quit, "/part": self.parts.add, "/fix": self.corrections.fix, "/lost": self.corrections.lost, "/found": self.parts.found,
            "/note": self.corrections.note, "/photo": self.corrections.photo,
        }  # fmt: skip

    def run(self, quick: bool = False) -> None:
        """The whole session, or first the looks that tell most, which can be gone on from."""
        talk, case = self.talk, self.talk.case
        for line in talk.recorder.told:
            talk.say(line)
        talk.say(f"{case.name}: {len(case.parts)} parts, {len(case.observations)} observations, "
                 f"{len(case.measured)} readings on record. Type ? for help, quit to leave.")  # fmt: skip
        try:
            self._open()
            if not quick or self._quick():
                self._walk()
                while self._menu():
                    pass
            talk.say(f"Left. See: diagnose explain {talk.recorder.case.name}")
        except EOFError:
            talk.say(
                f"\nLeft. Everything acknowledged is on disk; go on with: diagnose record {talk.recorder.case.name}"
            )

    # ---- the opening ------------------------------------------------------------------------------------------

    def _open(self) -> None:
        """Where the work stands, whether the machine is there, and the parts; each asked once in a case."""
        for mark, ask in (("where", self._where), ("parts", self.parts.overview)):
            if not self._reached(mark):
                try:
                    ask()
                except (Back, Skip):
                    self.talk.say("  taken as it stands; /fix part 4 changes a part")
                self._reach(mark)

    def _where(self) -> None:
        """Steps that are past when recording begins are not asked for what they lost."""
        steps, talk = self.talk.knowledge.arrangements.steps, self.talk
        stages = [s.stage for s in steps]
        if any(self._reached(f"{stage} / {how}") for stage in stages for how in ("begun", "done", "past")):
            return
        now = stages.index(talk.case.stage) if talk.case.stage in stages else 0
        talk.say("")
        for i, step in enumerate(steps, 1):
            talk.say(f"{i} {step.name}", hang=2)
        options = {str(i): stage for i, stage in enumerate(stages, 1)} | {"": stages[now]}
        options |= {step.name.lower(): step.stage for step in steps}
        talk.help = {f"{i} {step.name}": f"{step.do} {step.ends}".strip() for i, step in enumerate(steps, 1)}
        begun = talk.choose(f"Where does the work stand (1-{len(steps)}; Enter: {now + 1}): ", options)
        first = stages.index(begun)
        away = ""
        if not talk.case.alone and first > last_separating(talk.knowledge, talk.knowledge.arrangements.with_machine):
            usual = "2" if first > last_separating(talk.knowledge) else "1"
            options = {"1": "", "machine": "", "2": ALONE, "only the seal": ALONE, "": "" if usual == "1" else ALONE}
            away = talk.choose(f"What is there (1 the machine too, 2 only the seal; Enter: {usual}): ", options)
        past: list[What] = [{"reached": f"{stage} / past"} for stage in stages[:first]]
        past += [{"set": ["at hand"], "to": away}] if away else []
        talk.record(*past, {"set": ["stage"], "to": begun}, quiet=True)
        alone = ", the seal alone" if away else ""
        talk.say(f"  on record: the work stands at {steps[first].name.lower()!r}{alone}")

    # ---- the looks that tell most -----------------------------------------------------------------------------

    def _quick(self) -> bool:
        """Asks them; whether to go on with the whole session."""
        from diagnose.session.quick import quick

        talk = self.talk
        found = quick(talk.case, self._base, talk.recorder.state.reached)
        talk.say("")
        talk.say(f"The {len(found)} looks that tell most about this seal, what perishes first", bold=True)
        talk.lines(HINT)
        step, number, again = None, 0, False
        while number < len(found):
            card = found[number]
            if card.step is not step:
                step = card.step
                talk.say("")
                talk.say(self._named(step))
            try:
                self._take(card, again, f"Look {number + 1} of {len(found)}: ")
            except Skip:
                talk.say("  left open: it is asked in the whole session")
            except Back:
                if number == 0:
                    talk.say("  there is nothing before this in this session; /fix r12 corrects record 12")
                number, again = max(number - 1, 0), True
                continue
            number, again = number + 1, False
        talk.say("")
        self._means("")
        return talk.sure("Go on with everything else (y; Enter: leave)? ")

    # ---- the walk -------------------------------------------------------------------------------------------

    def _walk(self) -> None:
        for step in self.talk.knowledge.arrangements.steps:
            if not self._reached(f"{step.stage} / done"):
                self._go_through(step)

    def _go_through(self, step: Step) -> None:
        steps, talk, past = self.talk.knowledge.arrangements.steps, self.talk, self._past(step)
        if self._next(step, []):
            talk.say("")
            talk.say(f"Step {steps.index(step) + 1} of {len(steps)}: {self._named(step)}", bold=True)
            if not past:
                talk.say(step.do)
            talk.lines(HINT)
        if not past and talk.case.stage not in [s.stage for s in steps[steps.index(step) :]]:
            talk.record({"set": ["stage"], "to": step.stage}, quiet=True)
        if step.separates and not past and not self._reached(f"{step.stage} / marks"):
            self._once(lambda: self.parts.marks(step), f"{step.stage} / marks")
        left = self._take_all(step) and self._take_all(step)
        later = not past and self._ask_what_will_be_lost(step)
        if not past:
            self._ask_what_a_sound_one_shows(step)
        if not left and not later:
            self._reach(f"{step.stage} / done")

    def _once(self, ask: Callable[[], None], mark: str) -> None:
        try:
            ask()
        except (Back, Skip):
            self.talk.say("  left as it is")
        self._reach(mark)

    def _named(self, step: Step) -> str:
        teller = "the sender can still tell" if self.talk.case.alone else "can still be told"
        return f"{step.name} (past: what {teller})" if self._past(step) else step.name

    def _past(self, step: Step) -> bool:
        return self._reached(f"{step.stage} / past")

    def _reached(self, mark: str) -> bool:
        return mark in self.talk.recorder.state.reached

    def _reach(self, *marks: str) -> None:
        self.talk.record(*({"reached": mark} for mark in marks), quiet=True)

    def _next(self, step: Step, left: list[str]) -> Topic | Card | None:
        """The next thing to ask in a step: the figures of the case, then its cards."""
        case, knowledge, reached = self.talk.case, self.talk.knowledge, self.talk.recorder.state.reached
        for topic in walk.topics(case, knowledge, away(knowledge, reached)):
            if topic.step is step and topic.asks and topic.id not in reached and topic.id not in left:
                return topic
        past = [s.stage for s in knowledge.arrangements.steps if self._past(s)]
        begun = next((s.stage for s in knowledge.arrangements.steps if s.stage not in past), "")
        for card in cards(case, knowledge, reached, begun):
            if card.step is step and card.id not in left and left_of(case, knowledge, card):
                return card
        return None

    def _take_all(self, step: Step) -> list[str]:
        """Takes everything that is open; the ids of what was left for later."""
        left: list[str] = []
        while asked := self._next(step, left):
            try:
                self._take(asked)
                if isinstance(asked, Topic) and not self.talk.case.alone:
                    self._reach(*map(there_is_no, self.parts.missing_of_the_machine()))
                self._reach(*[asked.id] if isinstance(asked, Topic) else [t.id for t in asked.topics])
                self._before.append(asked)
            except Skip:
                left.append(asked.id)
                self.talk.say(
                    "left for later: it is asked again before this step ends, and when the session is resumed"
                )
            except Back:
                self._take_again()
        return left

    def _take_again(self) -> None:
        """What was asked before, again; what is on record of it stays and can be corrected."""
        if not self._before:
            self.talk.say("  there is nothing before this in this session; /fix r12 corrects record 12")
            return
        asked = self._in_hand(self._before.pop())
        if asked is None:
            self._take_again()
            return
        try:
            self._take(asked, again=True)
        except Back:
            self._take_again()
        except Skip:
            return
        self._before.append(asked)

    def _in_hand(self, asked: Topic | Card) -> Topic | Card | None:
        """What was asked, without parts that were lost or taken off the list since; None where nothing is left of it."""
        if isinstance(asked, Topic):
            return asked
        there = {t.id for t in walk.topics(self.talk.case, self.talk.knowledge)}
        return without(asked, [t for t in asked.topics if t.id not in there])

    def _take(self, asked: Topic | Card, again: bool = False, lead: str = "") -> None:
        if isinstance(asked, Topic):
            self.talk.topic = asked
            self.talk.say("")
            self.talk.say("Machine, fluid and seal (Enter: not known; none: no more of this is known)", bold=True)
            self.figures.ask_all(asked, again)
            return
        self.talk.topic = asked.topics[0] if len(asked.topics) == 1 else None
        self.looking.heading(asked, lead)
        if again:
            self._tell_answers(asked)
        self.looking.look(asked)

    def _tell_answers(self, card: Card) -> None:
        """What is on record of a card, part by part and state by state, in the order in which it is asked."""
        for topic in card.topics:
            known = walk.answers(self.talk.case, topic)
            about = f"part {topic.part}: " if topic.part else ""
            for state in STATES.values():
                features = [f for f in topic.features if f in known and known[f].state == state]
                if features:
                    self.talk.say(f"  on record: {about}{state}: {', '.join(features)}", hang=4)

    def _ask_what_will_be_lost(self, step: Step) -> bool:
        """Tells once what is open and gone with the end of the step, to be gone back to; whether it was left for later."""
        while True:
            case, knowledge = self.talk.case, self.talk.knowledge
            looks = self._looks(step)
            topics = [t if self._unsaid(t, sound=False) else replace(t, features=()) for t in looks]
            found = [left_of(case, knowledge, c, perishing=True) for c in gathered(knowledge, topics)]
            gone = [card for card in found if card]
            if not gone:
                return False
            self.talk.say("")
            self.talk.say(f"Before you go on: {step.ends} This is still open:", bold=True)
            for i, card in enumerate(gone, 1):
                features = list(dict.fromkeys(c.feature for c in card.choices))
                more = f" and {len(features) - MOST} more" if len(features) > MOST + 1 else ""
                told = ", ".join(features[:MOST] if more else features)
                measured = ", ".join(name for name, _ in card.readings)
                told = "; ".join(x for x in (f"{told}{more}", f"to measure: {measured}" if measured else "") if x)
                self.talk.say(f"{i}{BOUND}{'; '.join(map(self.looking.named, card.blocks()))}: {told}", hang=2)
            numbers = {str(i): str(i) for i in range(1, len(gone) + 1)}
            options = {"": "", **numbers, **dict.fromkeys(("none", "n", "no"), "none")}
            self.talk.lines("none: all of it looked at, nothing there   Enter: nobody looked   skip: later")
            question = "Look again (its number; none; Enter): "
            try:
                chosen = self.talk.choose(question, options)
            except Back:
                self._take_again()
                continue
            except Skip:
                self.talk.say("left for later: it is asked again at the end, and when the session is resumed")
                return True
            if chosen.isdecimal():
                with suppress(Back, Skip):
                    self.looking.heading(gone[int(chosen) - 1])
                    self.looking.look(gone[int(chosen) - 1])
                continue
            for card in gone:
                if chosen == "none":
                    self.looking.none_of(card)
            count = sum(self.looking.not_looked_at(card) for card in gone if not chosen)
            if count:
                self.talk.say(f"  on record: {count} looks as not looked at")
            return False

    def _looks(self, step: Step) -> list[Topic]:
        found = walk.topics(
            self.talk.case, self.talk.knowledge, away(self.talk.knowledge, self.talk.recorder.state.reached)
        )
        return [t for t in found if t.step is step and not t.asks]

    def _unsaid(self, topic: Topic, sound: bool) -> list[str]:
        """What nobody has answered of what a sound part shows, or of damage."""
        words = self.talk.words
        return [f for f in walk.unanswered(self.talk.case, topic, words) if words.features[f].sound == sound]

    def _ask_what_a_sound_one_shows(self, step: Step) -> None:
        """Asked once of parts on which damage was looked for and none is: that none is there does not say it."""
        case, words = self.talk.case, self.talk.words
        hurt = {o.part for o in case.observations if o.state != "absent" and not words.features[o.feature].sound}
        topics = [t for t in self._looks(step) if t.part and t.part not in hurt and not self._unsaid(t, sound=False)]
        open_ones = {t.id: self._unsaid(t, sound=True) for t in topics}
        features = list(dict.fromkeys(f for unsaid in open_ones.values() for f in unsaid))
        choices = [Choice(f, tuple(t for t in topics if f in open_ones[t.id]), walk.is_lost_after(words, f, step), True)
                   for f in features]  # fmt: skip
        if not choices:
            return
        card = Card(step, tuple(t for t in topics if open_ones[t.id]), tuple(choices), ())
        try:
            self.looking.heading(card, "No damage is on record on these; ")
            self.looking.look(card)
        except (Skip, Back):
            self.talk.say("  left as it is")

    # ---- when everything is asked -----------------------------------------------------------------------------

    def _menu(self) -> bool:
        """What can still be done; False to leave."""
        steps = [s for s in self.talk.knowledge.arrangements.steps if not self._reached(f"{s.stage} / done")]
        self.talk.topic, self.talk.help = None, {}
        self.talk.say("")
        self.talk.say("Everything is asked." if not steps else "Everything is asked but what was left for later (s).")
        self.talk.say(
            "1 a further mark or reading, 2 correct a record, 3 the log, 4 a remark, 5 a photo, 6 change a part", hang=2
        )
        chosen = self.talk.choose(
            "What else (1-6; Enter: leave): ", _MENU | ({"s": "skipped", "7": "skipped"} if steps else {})
        )
        try:
            if chosen == "mark":
                self._further_mark()
            elif chosen == "fix":
                self._log()
                if number := self.talk.ask("  which record (r12; Enter: none): "):
                    self.corrections.fix(number)
            elif chosen == "log":
                self._log()
            elif chosen == "note" and (text := self.talk.ask("  the remark: ")):
                self.corrections.note(text)
            elif chosen == "photo":
                self.corrections.photo("")
            elif chosen == "change":
                self.parts.overview()
            elif chosen == "skipped":
                self._walk()
        except (Skip, Back):
            return True
        return chosen != "quit"

    def _further_mark(self) -> None:
        """A mark or a reading on any part or kind, whatever the step."""
        kinds = self.parts.kinds()
        items = {f"part {p.item}": p.name for p in self.talk.case.parts}
        word = self.talk.ask("  on which part (its item number) or kind: ", items | kinds)
        part = self.talk.case.part(plain(word).removeprefix("part ").strip())
        kind = part.kind if part else {plain(k): v for k, v in kinds.items()}.get(plain(word), "")
        if not kind:
            near = did_you_mean(word, kinds) or f"parts: {', '.join(p.item for p in self.talk.case.parts)}"
            self.talk.say(f"  {word!r} is no part of this case and no kind of part ({near})", hang=4)
            return
        topic = walk.everything_on(self.talk.case, self.talk.knowledge, part.item if part else "", kind)
        (card,) = gathered(self.talk.knowledge, [topic])
        self.talk.topic = topic
        self.looking.heading(card)
        self.looking.look(card)

    # ---- commands ---------------------------------------------------------------------------------------------

    @cached_property
    def _base(self) -> RuleBase:
        from diagnose.inference.rules import compile_rules
        from diagnose.inference.run import RuleBase

        return RuleBase(self.talk.knowledge, compile_rules(self.talk.knowledge))

    def _means(self, _: str) -> None:
        for line in standing(self.talk.case, self._base):
            self.talk.say(line, hang=4)

    def _help(self, word: str) -> None:
        if not word:
            self.talk.lines(COMMANDS)
        lines = list[str]()
        for name, text in self.talk.help.items():
            number, _, rest = name.partition(" ")
            if not word or word == number or plain(word) in plain(rest if number.isdecimal() else name):
                lines.append(f"{name}: {text}".rstrip(": "))
        for line in lines or (means_of(word, self.talk.words) if word else ()):
            self.talk.say(line, hang=4)

    def _log(self, _: str = "") -> None:
        for line in [x for x in self.talk.recorder.lines if "reached" not in x.what][-10:]:
            self.talk.say(f"{number_of(line)}  {in_words(line.what)}", hang=4)

    def _skip(self, _: str) -> None:
        raise Skip

    def _back(self, _: str) -> None:
        raise Back

    def _quit(self, _: str) -> None:
        raise EOFError
