"""A drill as a dialogue: the trainee types what to do, sees what comes of it, names cause and mechanism, and is told."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from diagnose.casefile.model import Measured, Observation
from diagnose.knowledge.model import Explained
from diagnose.reading.figures import number_of
from diagnose.reading.terms import plain
from diagnose.trail.wording import record_text
from diagnose.training.bench import LOOK, MEASURE, Act, Outcome, start
from diagnose.training.debrief import Debrief, act_text, debrief, text_of
from diagnose.training.drill import do
from diagnose.training.heard import Ear
from diagnose.training.hidden import Hidden
from diagnose.training.naming import meant
from diagnose.training.record import as_seen
from diagnose.training.scoring import NONE, Answer
from diagnose.training.story import Story
from diagnose.training.told import told
from diagnose.training.ways import planned
from diagnose.views.page import Page

Ask = Callable[[str], str]
LONG = 60.0
"""Minutes from which a look is asked for twice: it was hardly meant so."""
MOST_SOUND, MOST_LATE = 8, 4
UNSURE = ("", "no idea", "dunno", "i don't know", "don't know", "do not know", "not sure", "no answer", "unknown")
HELP = {
    "ask about the leak": "or the sound, machine, history, product: people, logs and what is remembered; this never perishes",
    "look at the carbon ring": "or any part or place; parts lists them. look for blisters on the carbon ring: for one mark only",
    "measure nose height": "any measurement or reading; measurements lists them",
    "mark the index, tag, note contacts, photograph": "of all parts, or one: tag the O-rings",
    "isolate and drain, unbolt, part the faces": "the way into the seal",
    "take out, hold at its clock position, wipe, wash, bag, relap, cut": "what can be done to parts",
    "record, time": "what you have on record; the minutes and acts so far",
    "hint": "one of the trainer's, where there are any; each costs points",
    "answer": "to name what happened and why; leave: to go without",
}


class Left(Exception):
    """The trainee goes without an answer."""


@dataclass
class Talk:
    """One drill. `say` takes a page; `gentle` warns before evidence is lost."""

    hidden: Hidden
    ask: Ask
    say: Callable[[Page], None]
    gentle: bool = False
    story: Story = field(default_factory=Story)
    hints: int = 0

    def play(self) -> Debrief | None:
        """The drill to its end; None where the trainee leaves. Raises EOFError at the end of the input."""
        self.ear, self.bench = Ear(self.hidden), start(self.hidden)
        self.opening()
        try:
            while True:
                line = self.ask(f"[{self.bench.minutes:g} min] what do you do? ")
                if plain(line) in ("answer", "done", "name", "name it", "finish", "end", "conclude", "enough"):
                    answer = self.answer()
                    self.text("Working out what the plan would have done …")
                    result = debrief(self.bench, answer, planned(self.hidden), self.hints)
                    page = Page()
                    told(result, page)
                    self.say(page)
                    return result
                self.command(line)
        except Left:
            return None

    def text(self, text: str, indent: int = 0, hang: int | None = None) -> None:
        page = Page()
        page.say(text, indent, hang)
        self.say(page)

    # ---- the start --------------------------------------------------------------------------------------------

    def opening(self) -> None:
        page, hidden = Page(), self.hidden
        page.title(self.story.title or title_of(hidden))
        page.say(
            self.story.says or "A seal leaked and the machine stands. You stand before it; nothing is touched yet."
        )
        page.heading("Job sheet")
        for line in job_sheet(hidden):
            page.say(line, 2, 4)
        if hidden.parts:
            page.say("parts: " + "; ".join(f"{p.item} {p.name}" for p in hidden.parts.values()), 2, 4)
        page.line()
        page.say("Say in your own words what you do; ? shows how. Every act takes minutes, and what perishes is gone"
                 + ("; you are warned before." if self.gentle else " without warning.") + " Say answer when you know.")  # fmt: skip
        page.line()
        self.say(page)

    # ---- commands ---------------------------------------------------------------------------------------------

    def command(self, line: str) -> None:
        word = plain(line).rstrip(".!")
        simple = {"?": self.help, "help": self.help, "what can i do": self.help, "what now": self.help, "how": self.help, "parts": self.parts, "list parts": self.parts, "record": self.record, "my record": self.record, "time": self.time,
                  "measurements": self.measurements, "hint": self.hint}  # fmt: skip
        if word in simple:
            simple[word]()
        elif word in ("leave", "quit", "exit", "q"):
            raise Left
        else:
            heard = self.ear.hear(line)
            if isinstance(heard, Act):
                self.act(heard)
            elif not heard.instead:
                self.text(heard.says, 2)
            elif self.yes(f"  {heard.says} Do you mean: {heard.instead} (y, Enter: no)? "):
                self.command(heard.instead)

    def act(self, act: Act) -> None:
        after, outcome = do(self.bench, act)
        if outcome.refused:
            self.text(outcome.refused, 2)
            return
        question = f"  That takes {outcome.minutes:g} minutes. Do it (y, Enter: no)? "
        if act.verb == LOOK and outcome.minutes > LONG and not self.yes(question):
            return
        losses = after.losses[len(self.bench.losses) :]
        if self.gentle and losses and not self.goes_on(act):
            self.text("Nothing was done.", 2)
            return
        page = Page()
        page.say(f"{act_text(self.hidden, act)} ({outcome.minutes:g} min)", 2)
        if act.unheard:
            page.say(f"but not {', '.join(map(repr, act.unheard))}, which is nothing known here", 4)
        self.bench = after
        self.shown(outcome, act, page)
        self.say(page)

    def goes_on(self, act: Act) -> bool:
        """Whether a trainee who is warned wants to go on; what is about to be lost is told by its kind, not by name."""
        step = self.hidden.teardown.acts.get(act.verb)
        ends = next((s.ends for s in self.hidden.knowledge.arrangements.steps if step and s.stage == step.ends), "")
        self.text(f"Careful: something that is there and not on your record would be lost. {ends}".strip(), 2)
        return self.yes("  go on all the same (y, Enter: no)? ")

    def yes(self, question: str) -> bool:
        return plain(self.ask(question)) in ("y", "yes")

    def shown(self, outcome: Outcome, act: Act, page: Page) -> None:
        if act.verb not in (LOOK, MEASURE):
            return
        hidden = self.hidden
        for s in dict.fromkeys(outcome.seen):
            record = as_seen(self.bench, s)
            if record is None:
                page.say(
                    f"{hidden.by_id[s.trace].what}, on one of parts that were mixed up: nobody can say of which seal",
                    4,
                    6,
                )
            elif isinstance(record, Observation | Measured):
                note = f" ({record.note})" if record.note and isinstance(record, Observation) else ""
                page.say(
                    record_text(record, hidden.case, hidden.knowledge) + note + self.lacking(s.clock, s.place), 4, 6
                )
            else:
                page.say(text_of(hidden, hidden.by_id[s.trace]), 4, 6)
        there = {hidden.by_id[s.trace].what for s in outcome.seen}
        sound = [f for f in dict.fromkeys(o.feature for o in outcome.sound) if f not in there]
        late = [(f"too late to say{f' (to be had only {stage})' if stage else ''}", names, MOST_LATE)
                for stage, names in late_by_stage(hidden, outcome.late).items()]  # fmt: skip
        for says, names, most in (("looked for and not there", sound, MOST_SOUND), *late):
            if names:
                rest = f" and {len(names) - most} more" if len(names) > most else ""
                page.say(f"{says}: {', '.join(names[:most])}{rest}", 4, 6)
        if outcome.unseen:
            page.say(
                f"not to be seen yet, but for what shows from outside: {', '.join(dict.fromkeys(outcome.unseen))}", 4, 6
            )
        if not outcome.seen and not sound and not outcome.late:
            page.say("nothing out of the ordinary", 4)

    @staticmethod
    def lacking(clock: bool, place: bool) -> str:
        return ("" if clock else "; where on the clock nobody can say: the part was not marked") + (
            "" if place else "; on which of the parts mixed up nobody can say")  # fmt: skip

    # ---- what can be asked of the tool ------------------------------------------------------------------------

    def help(self) -> None:
        page = Page()
        for what, means in HELP.items():
            page.say(f"{what}: {means}", 2, 6)
        self.say(page)

    def parts(self) -> None:
        page, b = Page(), self.bench
        for p in self.hidden.parts.values():
            known = [
                w
                for w, kept in (("marked", "clock"), ("tagged or neighbours noted", "place"), ("photographed", "sight"))
                if (p.item, kept) in b.kept
            ]
            mixed = sorted(b.group(p.item) - {p.item})
            known += [f"mixed up with {', '.join(mixed)}"] if mixed else []
            page.say(f"{p.item:>3} {p.name}" + (f" ({', '.join(known)})" if known else ""), 2, 8)
        page.say("Places and kinds that can be looked at or asked about: " + ", ".join(self.hidden.kinds), 2, 4)
        self.say(page)

    def measurements(self) -> None:
        page, by_part = Page(), dict[str, list[str]]()
        for m in self.hidden.knowledge.measurements.values():
            by_part.setdefault(m.part, []).append(f"{m.name} ({m.minutes:g} min)")
        for part, names in by_part.items():
            page.say(f"{part}: {'; '.join(names)}", 2, 6)
        self.say(page)

    def record(self) -> None:
        page, seen = Page(), dict.fromkeys(s.trace for s in self.bench.seen)
        for t in seen:
            page.say(text_of(self.hidden, self.hidden.by_id[t]), 2, 4)
        page.say(f"{len(seen)} on record; looked for and not there: {len(self.bench.sound)}.", 2)
        self.say(page)

    def time(self) -> None:
        page = Page()
        for n, d in enumerate(self.bench.done, 1):
            page.ends(f"  {n}. {act_text(self.hidden, d.act)}", f"{d.minutes:g} min")
        page.say(f"{self.bench.minutes:g} minutes in all.", 2)
        self.say(page)

    def hint(self) -> None:
        left = self.story.hints[self.hints :]
        if not left:
            self.text("There is no further hint." if self.story.hints else "This drill has no hints.", 2)
            return
        hint = left[0]
        locked = hint.locked(self.bench)
        if hint.word and not locked and plain(self.ask("  the trainer's word (Enter: none): ")) != plain(hint.word):
            locked = "It opens with a word that the trainer tells."
        if locked:
            self.text(locked, 2)
            return
        self.hints += 1
        self.text(hint.says, 2)

    # ---- the answer -------------------------------------------------------------------------------------------

    def answer(self) -> Answer:
        k = self.hidden.knowledge
        happened: dict[str, Explained] = {n: m for n, m in k.mechanisms.items() if not m.leak_path}
        causes: dict[str, Explained] = dict(k.causes)
        mechanism = self.named("What happened (the mechanism, in your words; Enter: no answer)? ", happened,
                               causes, "says why it happened; that is asked next. What did it do to the seal?")  # fmt: skip
        sure = self.confidence() if mechanism else 0.0
        root = self.named("Why (the root cause; none: none of the usual; Enter: no answer)? ", causes,
                          happened, "says what happened. What brought it about?")  # fmt: skip
        return Answer(root, mechanism, self.confidence() if root else 0.0, sure)

    def named(self, question: str, cards: Mapping[str, Explained], others: Mapping[str, Explained], other: str) -> str:
        """The card a trainee names. `others`: those of the level not asked for, of which `other` says so."""
        while True:
            line = self.ask(question).strip()
            if line == "?":
                self.text(f"{'; '.join(cards)}.", 2)
                continue
            if plain(line).rstrip(".!?") in UNSURE:
                return ""
            found, sure = meant(line, cards, self.hidden.knowledge)
            if sure:
                if found[0] != NONE and plain(found[0]) != plain(line):
                    self.text(f"({found[0]})", 2)
                return found[0]
            elsewhere = meant(line, others, self.hidden.knowledge)
            if elsewhere.plain:
                self.text(f"{elsewhere.names[0].capitalize()} {other}", 2)
            elif not found:
                self.text("Nothing here is called so; say it in other words (? for all the names).", 2)
            elif chosen := self.chosen(found, cards):
                return chosen

    def chosen(self, names: Sequence[str], cards: Mapping[str, Explained]) -> str:
        """Which of several is meant; "" where none."""
        page = Page()
        for n, name in enumerate(names, 1):
            page.say(f"{n}. {name}: {cards[name].means}", 2, 5)
        self.say(page)
        number = number_of(plain(self.ask("  which (number; Enter: say it in other words)? ")))
        return names[number - 1] if 1 <= number <= len(names) else ""

    def confidence(self) -> float:
        while True:
            line = plain(self.ask("How sure are you, 0 to 100 %? ")).rstrip("% ").strip()
            try:
                sure = float(line.replace(",", "."))
                if 0 <= sure <= 100:
                    return sure / 100
            except ValueError:
                pass
            self.text("A number from 0 to 100.", 2)


def late_by_stage(hidden: Hidden, late: Iterable[str]) -> dict[str, list[str]]:
    """What could not be looked for any more, by the last stage at which it could; "" where that is not the reason."""
    features, cards = hidden.words.features, hidden.knowledge.measurements
    gone = {t.what for t in hidden.traces if t.gone}
    found = dict[str, list[str]]()
    for name in dict.fromkeys(late):
        stage = features[name].lost if name in features else cards[name].stage if name in cards else ""
        found.setdefault("" if name in gone else stage, []).append(name)
    return found


def title_of(hidden: Hidden) -> str:
    """What a drill is called where the case's own name would tell too much."""
    fluid = hidden.case.texts.get("service.fluid", "")
    machine = next((s.term for s in hidden.case.settings if s.setting == "machine" and s.holds), "machine")
    return f"A seal of {_a(machine)} on {fluid}" if fluid else f"A seal of {_a(machine)}"


def _a(noun: str) -> str:
    return f"an {noun}" if noun[:1] in "aeiou" else f"a {noun}"


def job_sheet(hidden: Hidden) -> list[str]:
    """What everybody knows who stands before the machine, a line a subject."""
    known, lines = hidden.known, dict[str, list[str]]()
    for key, value in sorted(known.texts.items()):
        section, _, name = key.partition(".")
        if value and section != "history":
            lines.setdefault(section, []).append(value if name in ("fluid", "description") else f"{name} {value}")
    for s in known.settings:
        said = s.term if s.holds else f"not {s.term}"
        named = s.setting in ("machine", "service", "seal") or said.startswith(s.setting)
        said = said if named else f"{s.setting} {said}"
        lines.setdefault(hidden.section(s), []).append(said + (f" ({s.position})" if s.position else ""))
    for x in known.measured:
        reading = record_text(x, hidden.case, hidden.knowledge)
        lines.setdefault(hidden.figure_section(x), []).append(reading.replace(":", "", 1))
    order = ("equipment", "service", "seal")
    return [f"{name}: {', '.join(dict.fromkeys(lines[name]))}" for name in order if name in lines]
