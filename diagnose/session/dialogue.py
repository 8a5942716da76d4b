"""The guided session: one topic after the other, in the order of dismantling, left and resumed anywhere."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import TYPE_CHECKING

from diagnose.casefile import walk
from diagnose.casefile.recorder import Recorder
from diagnose.casefile.walk import Topic
from diagnose.knowledge.model import Step
from diagnose.reading.terms import did_you_mean, plain
from diagnose.session.corrections import Corrections
from diagnose.session.figures import Figures
from diagnose.session.looking import Looking
from diagnose.session.parts import Parts
from diagnose.session.prompts import HELP, MEANS, Ask
from diagnose.session.standing import standing
from diagnose.session.talk import Back, Skip, Talk
from diagnose.views.journal import sentence

if TYPE_CHECKING:
    from diagnose.inference.run import RuleBase

COMMANDS = """\
Enter         nothing to say, go on          =            what it means so far
?             this help                      ? 12, ? WORD what that is
/fix N        correct or withdraw record N   /fix part 4  change a part
/log          the last records               /back        the question before
/skip         leave this topic for later     /part        another part
/note TEXT    a remark                       /photo FILE  a photo of the whole
/lost TEXT    the whole seal is gone: how (in a pair: /lost inboard: TEXT)
/quit         leave; resume with the same command
One mark:     blisters: 10 to 2, severe, photo carbon.jpg, note by the port
Lists:        3   1 3 and 5   2-4, hard   absent 3-5   lost 2   all   none
"""
_MENU = {"m": "mark", "mark": "mark", "f": "fix", "fix": "fix", "l": "log", "log": "log", "p": "photo", "photo": "photo",
         "n": "note", "note": "note", "s": "skipped", "skipped": "skipped", "q": "quit", "quit": "quit", "": "quit"}  # fmt: skip


class Dialogue:
    """One guided session. `run` returns when the person leaves."""

    def __init__(self, recorder: Recorder, ask: Ask, say: Callable[[str], None] = print, styled: bool | None = None):
        self.talk = Talk(recorder, ask, say, styled)
        self.parts = Parts(self.talk)
        self.figures = Figures(self.talk, self.parts.index)
        self.looking = Looking(self.talk, self.parts.index)
        self.corrections = Corrections(self.talk, self.parts, self.figures, self.looking)
        self._before: list[str] = []
        self.talk.commands = {
            MEANS: self._means, HELP: self._help, "/log": self._log, "/skip": self._skip, "/back": self._back, "/quit": self._quit,
            "/part": self.parts.add, "/fix": self.corrections.fix, "/lost": self.corrections.lost,
            "/note": self.corrections.note, "/photo": self.corrections.photo,
        }  # fmt: skip

    def run(self) -> None:
        talk, case = self.talk, self.talk.case
        for line in talk.recorder.told:
            talk.say(line)
        talk.say(f"{case.name}: {len(case.parts)} parts, {len(case.observations)} observations, "
                 f"{len(case.measured)} readings on record. Type ? for help, /quit to leave.")  # fmt: skip
        try:
            self._walk()
            while self._menu():
                pass
            talk.say("Left. See: diagnose explain")
        except EOFError:
            talk.say(
                f"\nLeft. Everything acknowledged is on disk; go on with: diagnose record {talk.recorder.case.name}"
            )

    # ---- the walk -------------------------------------------------------------------------------------------

    def _walk(self) -> None:
        for step in self.talk.knowledge.arrangements.steps:
            if not self._reached(f"{step.stage} / done"):
                self._go_through(step)

    def _go_through(self, step: Step) -> None:
        steps, talk = self.talk.knowledge.arrangements.steps, self.talk
        talk.say("")
        talk.say(f"Step {steps.index(step) + 1} of {len(steps)}: {step.name}", bold=True)
        talk.say(step.do)
        if not self._reached(f"{step.stage} / begun") and not self._past(step):
            question = "Enter to begin, p if this is past and can no longer be seen: "
            how = talk.choose(question, {"": "begun", "p": "past", "past": "past"})
            if talk.case.stage != step.stage:
                talk.record({"set": ["stage"], "to": step.stage}, quiet=True)
            self._reach(f"{step.stage} / {how}")
        left = self._take_all(step) and self._take_all(step)
        if not self._past(step):
            self._ask_what_will_be_lost(step)
        if not left:
            self._reach(f"{step.stage} / done")

    def _topics(self, step: Step) -> list[Topic]:
        """The topics of a step; where it is past, without what can no longer be seen."""
        found = [t for t in walk.topics(self.talk.case, self.talk.knowledge) if t.step.stage == step.stage]
        return [t for t in (walk.what_stays(t, self.talk.words) for t in found) if t] if self._past(step) else found

    def _past(self, step: Step) -> bool:
        return self._reached(f"{step.stage} / past")

    def _reached(self, mark: str) -> bool:
        return mark in self.talk.recorder.state.reached

    def _reach(self, mark: str) -> None:
        self.talk.record({"reached": mark}, quiet=True)

    def _take_all(self, step: Step) -> list[str]:
        """Takes every topic that is open; the ids of those that were left for later."""
        left: list[str] = []
        while topic := next((t for t in self._topics(step) if not self._reached(t.id) and t.id not in left), None):
            try:
                self._take(topic)
                self._reach(topic.id)
                self._before.append(topic.id)
            except Skip:
                left.append(topic.id)
                self.talk.say(
                    "left for later: it is asked again before this step ends, and when the session is resumed"
                )
            except Back:
                self._take_again()
        return left

    def _take_again(self) -> None:
        """The topic before, again; what is on record of it stays and can be corrected."""
        topics = {t.id: t for t in walk.topics(self.talk.case, self.talk.knowledge)}
        topic = topics.get(self._before.pop()) if self._before else None
        if topic is None:
            self.talk.say("  there is nothing before this in this session; /fix N corrects a record")
            return
        try:
            self._take(topic, again=True)
        except Back:
            self._take_again()
        except Skip:
            return
        self._before.append(topic.id)

    def _take(self, topic: Topic, again: bool = False) -> None:
        self.talk.topic = topic
        if topic.asks:
            self.figures.ask_all(topic, again)
            return
        part = self.talk.case.part(topic.part)
        if part and not self._reached(f"part / {part.item}"):
            item = self.parts.identified(part)
            if not item:
                return
            self._reach(f"part / {item}")
            found = next((t for t in self._topics(topic.step) if t.part == item), None)
            if found is None:
                return
            if found.id != topic.id:
                self._reach(found.id)
            self.talk.topic = topic = found
        self.looking.heading(topic)
        if again:
            for o in walk.answers(self.talk.case, topic).values():
                self.talk.say(f"  on record: {o.feature}, {o.state}")
        self.looking.look(topic)
        if topic.readings:
            self.figures.measure(topic)

    def _ask_what_will_be_lost(self, step: Step) -> None:
        """Goes back to every part with something open that the end of the step destroys."""
        told = False
        for topic in self._topics(step):
            gone = walk.unanswered(self.talk.case, topic, self.talk.words, about_to_be_lost=True)
            if not gone:
                continue
            if not told:
                self.talk.say("")
                self.talk.say(f"Before you go on: {step.ends} This is still open:", bold=True)
                told = True
            self.talk.topic = topic
            self.looking.heading(topic, gone)
            try:
                self.looking.not_there(topic, "1 3, all; saw 2, lost all; Enter: not looked at")
            except (Skip, Back):
                self.talk.say("left open: nobody looked")
            open_ones = self.looking.open_ones(topic)
            if gone := [f for f in gone if f in open_ones]:
                self.looking.record_all(topic, gone, "not looked at")

    # ---- when everything is asked -----------------------------------------------------------------------------

    def _menu(self) -> bool:
        """What can still be done; False to leave."""
        steps = [s for s in self.talk.knowledge.arrangements.steps if not self._reached(f"{s.stage} / done")]
        self.talk.topic = None
        self.talk.say("")
        self.talk.say("Everything is asked." if not steps else "Everything is asked but what was left for later (s).")
        self.talk.say("m a further mark or reading, f correct a record, l the log, n a remark, p a photo", hang=2)
        chosen = self.talk.choose("What else (m, f, l, n, p; Enter: leave): ", _MENU)
        try:
            if chosen == "mark":
                self._further_mark()
            elif chosen == "fix":
                self._log()
                if number := self.talk.ask("  which record (Enter: none): "):
                    self.corrections.fix(number)
            elif chosen == "log":
                self._log()
            elif chosen == "note" and (text := self.talk.ask("  the remark: ")):
                self.corrections.note(text)
            elif chosen == "photo":
                self.corrections.photo("")
            elif chosen == "skipped":
                self._walk()
        except (Skip, Back):
            return True
        return chosen != "quit"

    def _further_mark(self) -> None:
        """A mark or a reading on any part or kind, whatever the step."""
        kinds = self.parts.kinds()
        word = self.talk.ask(
            "  on which part (item number) or kind: ", {p.item: p.name for p in self.talk.case.parts} | kinds
        )
        part = self.talk.case.part(word)
        kind = part.kind if part else {plain(k): v for k, v in kinds.items()}.get(plain(word), "")
        if not kind:
            near = did_you_mean(word, kinds) or f"items: {', '.join(p.item for p in self.talk.case.parts)}"
            self.talk.say(f"  {word!r} is no part of this case and no kind of part ({near})", hang=4)
            return
        topic = walk.everything_on(self.talk.case, self.talk.knowledge, part.item if part else "", kind)
        self.talk.topic = topic
        self.looking.heading(topic)
        self.looking.look(topic)
        self.figures.measure(topic)

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
        helps = list(self.talk.help.items())
        if not word:
            self.talk.lines(COMMANDS)
        for number, (name, text) in enumerate(helps, 1):
            if not word or word == str(number) or plain(word) in plain(name):
                self.talk.say(f"{number} {name}: {text}".rstrip(": "), hang=4)

    def _log(self, _: str = "") -> None:
        for line in [x for x in self.talk.recorder.lines if "reached" not in x.what][-10:]:
            self.talk.say(f"{line.number}  {sentence(line.what)}", hang=4)

    def _skip(self, _: str) -> None:
        raise Skip

    def _back(self, _: str) -> None:
        raise Back

    def _quit(self, _: str) -> None:
        raise EOFError
