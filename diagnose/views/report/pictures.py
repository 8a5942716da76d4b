"""The drawings of a case: marks on one clock for each group of parts, O-rings, springs, readings round the clock."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from diagnose.casefile.model import Case, Event, Extent, Measured, Observation, Part
from diagnose.casefile.wording import extent_text
from diagnose.quantities.bench import Bench
from diagnose.quantities.clock import UnknownAngle, machine_angle
from diagnose.quantities.wear import fit_of, is_noise, repeatability_of
from diagnose.reading.entry import replace
from diagnose.reading.units import show
from diagnose.views.drawings import charts, dial
from diagnose.views.drawings.markup import Drawing
from diagnose.views.drawings.shapes import Arc
from diagnose.views.drawings.sketches import sketch
from diagnose.views.report.blocks import Block, Figure, Figures, Heading, Items, Line, Paragraph, Soft, Strong, Table
from diagnose.views.report.told import Told

GROUPS = ("rotating", "stationary")
LEAST_STATIONS = 6
MOST_SKETCHES = 30
WEIGHT = {"light": 1, "moderate": 2, "severe": 3}


def on_machine(part: Part, arcs: Iterable[Arc], case: Case) -> tuple[Arc, ...]:
    """Arcs on the clock of the part's group, clockwise seen from the driver end. Raises UnknownAngle."""
    turned = part.seen_from == "impeller end"

    def at(degrees: float) -> float:
        return machine_angle(part, degrees, case.index)

    return tuple((at(b), at(a)) if turned else (at(a), at(b)) for a, b in arcs)


@dataclass(frozen=True)
class Seen:
    """A mark to be drawn: on which part, where as recorded and, unless `why` says why not, where on the machine's clock."""

    what: str
    part: Part | None
    kind: str
    recorded: Extent
    arcs: tuple[Arc, ...] = ()
    whole: bool = False
    why: str = ""
    weight: int = 2
    computed: bool = False
    number: int = 0

    @property
    def on(self) -> str:
        return f"{self.part.name} ({self.part.item})" if self.part else self.kind


def _described(o: Observation) -> str:
    more = ", ".join(x for x in (o.degree, o.side) if x)
    return f"{o.feature} ({more})" if more else o.feature


class Pictures:
    def __init__(self, told: Told):
        self.told, self.inference = told, told.inference
        self.case, self.knowledge = told.case, told.knowledge
        self.bench = Bench(told.case, told.knowledge)

    # ---- marks on the clock -----------------------------------------------------------------------------------

    def marks(self) -> list[Block]:
        """For each seal a dial of the rotating and one of the stationary parts, where a mark has a place on it, then what could not be
        placed."""
        blocks: list[Block] = []
        dials: list[Figure] = []
        placed = [s for o in self.case.observations if o.state == "present" and (s := self._seen(o))]
        placed += self._lobes()
        several = len(self.case.positions) > 1
        for position in (*self.case.positions, *(("machine", "") if several else ())):
            for group in GROUPS:
                here = [
                    s
                    for s in placed
                    if s.part and not s.why and s.part.group == group and self._position(s.part) == position
                ]
                if any(not s.whole for s in here):
                    title = f"{group.capitalize()} parts" + (
                        f", {self.told.place(position) or 'seal not recorded'}" if several else ""
                    )
                    dials.append(self._dial(title, group, here))
        if dials:
            how = (
                "Clock positions run clockwise as seen from the driver end, whichever end a part was looked at from. "
                "Light, moderate and severe marks are drawn thin, medium and thick; a diamond is a mark at one place; "
                "face rings are shaded; open marks are worked out from readings."
            )
            blocks += [Paragraph(how, "small"), Figures(dials)]
        blocks += self._apart([s for s in placed if s.why])
        unplaced = [o for o in self.case.observations if o.state == "present" and o.extent.word and not o.extent.arcs
                    and o.extent.word != "all round"]  # fmt: skip
        if unplaced:
            blocks.append(Heading("Seen without a clock position"))
            blocks.append(
                Items([f"{self.told.on(o)}: {_described(o)}, {o.extent.word}" for o in self._sorted(unplaced)])
            )
        return blocks

    def sketches(self) -> list[Block]:
        """A line drawing for each mark that is there, on its kind of part and at its clock position."""
        drawings: dict[str, tuple[Drawing, str, list[str]]] = {}
        for o in self._sorted(x for x in self.case.observations if x.state == "present"):
            such = dict(o.such)
            drawn = sketch(
                self.knowledge.vocabulary, o.feature, o.kind, 150, such.get("runs", ""), o.side, o.extent.arcs
            )
            if drawn:
                drawings.setdefault(f"{_described(o)} {drawn.svg}", (drawn, _described(o), []))[2].append(
                    self.told.on(o)
                )
        if not drawings:
            return []
        figures = [
            Figure(drawn, [Strong(name), Soft(f" {', '.join(on)}")], role="sketched")
            for drawn, name, on in drawings.values()
        ]
        how = "What the words mean, drawn on a part of that kind, not this one; the clock as recorded on the part, its index at the top."
        return [Paragraph(how, "small"), Figures(figures[:MOST_SKETCHES])]

    def _position(self, part: Part) -> str:
        return part.position if len(self.case.positions) > 1 else self.case.positions[0]

    def _sorted(self, observations: Iterable[Observation]) -> list[Observation]:
        return sorted(observations, key=lambda o: (self.told.order[o.part], o.kind, o.feature, o.id))

    def _seen(self, o: Observation) -> Seen | None:
        part = self.case.part(o.part)
        whole = o.extent.word == "all round" and not o.extent.arcs
        if not o.extent.arcs and not whole:
            return None
        seen = Seen(_described(o), part, o.kind, o.extent, (), whole, "", WEIGHT.get(o.degree, 2))
        if part is None:
            return None if whole else replace(seen, why="recorded on no numbered part")
        if not part.group:
            return None if whole else replace(seen, why="not on record whether it turns")
        if whole:
            return seen
        try:
            return replace(seen, arcs=on_machine(part, o.extent.arcs, self.case))
        except UnknownAngle as error:
            return replace(seen, why=str(error))

    def _lobes(self) -> list[Seen]:
        """Where a lobe of the wear is deepest, as marks."""
        found = []
        for q in self.inference.quantities:
            part = self.case.part(q.part)
            if q.name not in ("wear one lobe angle", "wear two lobes angle") or q.value is None or part is None:
                continue
            crest = math.degrees(q.value)
            at = [crest % 360] if "one" in q.name else [crest % 360, (crest + 180) % 360]
            recorded = Extent(arcs=tuple((a, a) for a in at))
            what = "worn deepest, one lobe" if "one" in q.name else "worn deepest, two lobes"
            seen = Seen(what, part, part.kind, recorded, weight=2, computed=True)
            try:
                found.append(replace(seen, arcs=on_machine(part, recorded.arcs, self.case)))
            except UnknownAngle as error:
                found.append(replace(seen, why=str(error)))
        return found

    def _dial(self, title: str, group: str, marks: list[Seen]) -> Figure:
        lineage = self.knowledge.vocabulary.lineage

        def rank(part: Part | None) -> tuple[bool, int]:
            assert part is not None
            return "face" not in lineage[part.kind], self.told.order[part.item]

        marks = sorted(marks, key=lambda s: (rank(s.part), not s.whole, s.arcs, s.what))
        marks = [replace(s, number=i) for i, s in enumerate(marks, 1)]
        bands: list[dial.Band] = []
        rows: list[tuple[str, str, Line, str]] = []
        for item in dict.fromkeys(s.part.item for s in marks if s.part):
            on = [s for s in marks if s.part and s.part.item == item]
            part = on[0].part
            assert part is not None
            drawn = tuple(dial.Mark(s.number, s.arcs, s.weight, s.computed) for s in on)
            bands.append(dial.Band(item, drawn, face="face" in lineage[part.kind]))
            for s in on:
                where = "all round" if s.whole else extent_text(Extent(arcs=s.arcs))
                asked = extent_text(s.recorded)
                moved = not s.whole and not s.computed and asked != where
                as_seen = f", recorded {asked} seen from the {part.seen_from}" if moved else ""
                rows.append((str(s.number), s.on, [s.what, Soft(as_seen)] if as_seen else s.what, where))
        datum = self.case.index.get(group, "top dead centre" if group == "stationary" else "")
        turning = self._rotation() if group == "rotating" else ""
        words = "turns" if turning else "stands still" if group == "stationary" else "rotation not recorded"
        says = f"{title}: " + "; ".join(f"{r[0]} {s.on}, {s.what}, {r[3]}" for r, s in zip(rows, marks, strict=True))
        columns = (("", "narrow"), ("part", ""), ("mark", ""), ("on the clock", ""))
        caption: Line = [
            Strong(title),
            f". 12 is {datum or 'the datum of the group, which is not named'}. The number at 12 is the part's item number.",
        ]
        return Figure(dial.dial(says, bands, words, turning), caption, (Table(columns, rows),), "clock")

    def _rotation(self) -> str:
        """As drawn, seen from the driver end."""
        turns, seen_from = (self.case.texts.get(f"equipment.{k}", "") for k in ("rotation", "seen from"))
        if not turns or not seen_from:
            return ""
        other = {"clockwise": "counterclockwise", "counterclockwise": "clockwise"}
        return turns if seen_from == "driver end" else other[turns]

    def _apart(self, marks: list[Seen]) -> list[Block]:
        """Parts whose clock is tied to nothing: each on a dial of its own."""
        if not marks:
            return []
        figures = []
        for on in dict.fromkeys(s.on for s in marks):
            here = [replace(s, number=i) for i, s in enumerate((s for s in marks if s.on == on), 1)]
            part = here[0].part
            seen_from = f"as seen from the {part.seen_from}" if part and part.seen_from else "end of view not recorded"
            told = "; ".join(f"{s.number} {s.what}, {extent_text(s.recorded)}" for s in here)
            drawn = tuple(dial.Mark(s.number, s.recorded.arcs, s.weight, s.computed) for s in here)
            picture = dial.dial(f"{on}, by itself: {told}", [dial.Band(part.item if part else "?", drawn)],
                                "own clock", small=True)  # fmt: skip
            figures.append(Figure(picture, [Strong(on), f": {told}. Apart because {here[0].why}; {seen_from}."]))
        return [
            Heading("Not placed on the common clock"),
            Paragraph(
                "These positions are right within their own part only and must not be compared with the dials above.",
                "note",
            ),
            Figures(figures),
        ]

    # ---- O-rings -----------------------------------------------------------------------------------------------

    def o_rings(self) -> list[Block]:
        figures = [
            f for p in self.case.parts if "O-ring" in self.knowledge.vocabulary.lineage[p.kind] and (f := self._ring(p))
        ]
        if not figures:
            return []
        how = ("Section round the clock as measured; differences are drawn enlarged, the dashed circle is the section when "
               "new. Marks stand inside the ring.")  # fmt: skip
        return [Paragraph(how, "small"), Figures(figures)]

    def _ring(self, part: Part) -> Figure | None:
        sections = [x for x in self._measured(part, "cross-section", "radial thickness") if len(x.around) > 2]
        seen = [o for o in self._sorted(self.case.observations) if o.part == part.item and o.state == "present"]
        marked = [o for o in seen if o.extent.arcs or o.extent.word == "all round"]
        if not sections and not any(o.extent.arcs for o in marked):
            return None

        def turned(arcs: Iterable[Arc]) -> tuple[Arc, ...]:
            try:
                return on_machine(part, arcs, self.case)
            except UnknownAngle:
                return tuple(arcs)

        unit = self.knowledge.vocabulary.readings["cross-section"].unit
        stations = [
            (turned([(a, a)])[0][0], r.value, show(r.value, unit).split(" ")[0])
            for x in sections[:1] for a, r in zip(x.around, x.readings, strict=True)
        ]  # fmt: skip
        new = next((x.readings[0].value for x in self._measured(part, "new cross-section")), None)
        drawn = [dial.Mark(i, turned(o.extent.arcs), WEIGHT.get(o.degree, 2)) for i, o in enumerate(marked, 1)]
        clock = self._clock_of(part)
        what = [f"{sections[0].what} in {unit}"] if sections else []
        what += [f"new {show(new, unit)}"] if new is not None else []
        what += [
            f"{i} {_described(o)} {extent_text(Extent(arcs=turned(o.extent.arcs))) or o.extent.word}"
            for i, o in enumerate(marked, 1)
        ]
        told = "; ".join(what)
        says = f"{part.name} ({part.item}): {told}; readings " + ", ".join(s for _, _, s in sorted(stations))
        picture = dial.ring(says, stations, (new, show(new, unit)) if new is not None else None, drawn)
        return Figure(picture, [Strong(f"{part.name} ({part.item})"), f": {told}. {clock}."])

    def _measured(self, part: Part, *names: str) -> list[Measured]:
        return sorted(
            (x for x in self.case.measured if x.part == part.item and x.what in names),
            key=lambda x: (names.index(x.what), x.id),
        )

    def _clock_of(self, part: Part | None) -> str:
        """In words, on which clock a part's positions are drawn."""
        if part is None:
            return "Its own clock: it has no item number"
        try:
            machine_angle(part, 0.0, self.case.index)
        except UnknownAngle as error:
            return f"Its own clock: {error}"
        return f"12 is {self.case.index.get(part.group) or part.index}, seen from the driver end"

    # ---- springs -----------------------------------------------------------------------------------------------

    def springs(self) -> list[Block]:
        figures = []
        for x in (m for m in self.case.measured if m.what in ("free length", "spring load") and len(m.readings) > 1):
            unit = self.knowledge.vocabulary.readings[x.what].unit
            part = self.case.part(x.part)
            new = self._figure(f"new {x.what}", x.position)
            labels = (
                x.labels if len(x.labels) == len(x.readings) else tuple(str(i) for i in range(1, len(x.readings) + 1))
            )
            odd = self._outlier(x, labels)
            rows = [
                charts.Bar(f"pocket {name}", r.value, show(r.value, unit), name == odd, "outlier" if name == odd else "")
                for name, r in zip(labels, x.readings, strict=True)
            ]  # fmt: skip
            on = f"{part.name} ({part.item})" if part else x.kind
            says = f"{on}, {x.what}: " + ", ".join(f"{r.name} {r.shown}{' ' + r.note if r.note else ''}" for r in rows)
            reference = (new, f"new {show(new, unit)}") if new is not None else None
            notes = [n for q in self.inference.quantities if q.name in ("spring outlier", "spring length spread") and q.part == x.part
                     for n in (f"{q.name}: {q.word or show(q.value, q.unit)}" if q.value is not None else "", *q.notes) if n]  # fmt: skip
            figures.append(
                Figure(charts.bars(says, rows, reference), [Strong(f"{on}, {x.what}"), ". " + "; ".join(notes)])
            )
        return [Figures(figures)] if figures else []

    def _figure(self, name: str, position: str) -> float | None:
        return next(
            (x.readings[0].value for x in self.case.measured if x.what == name and x.position in (position, "machine")),
            None,
        )

    def _outlier(self, x: Measured, labels: Sequence[str]) -> str:
        """The label of the spring that the outlier test singled out, or ""."""
        judged = [
            q for q in self.inference.quantities if q.name == "spring outlier" and q.part == x.part and q.word == "yes"
        ]
        if not judged or x.what != "free length":
            return ""
        middle = math.fsum(r.value for r in x.readings) / len(x.readings)
        return max(zip(x.readings, labels, strict=True), key=lambda p: abs(p[0].value - middle))[1]

    # ---- readings round the clock ------------------------------------------------------------------------------

    def round_the_clock(self) -> list[Block]:
        """Wear depth with its fitted curve first, then every other reading taken at clock positions."""
        drawn = [
            x
            for x in self.case.measured
            if len(x.around) >= LEAST_STATIONS and x.what not in ("cross-section", "radial thickness")
        ]
        drawn.sort(key=lambda x: (x.what != "wear depth", x.what, self.told.order[x.part], x.id))
        figures = [self._chart(x) for x in drawn]
        return [Figures(figures)] if figures else []

    def _chart(self, x: Measured) -> Figure:
        reading = self.knowledge.vocabulary.readings[x.what]
        part = self.case.part(x.part)
        try:
            places = [machine_angle(part, a, self.case.index) if part else a for a in x.around]
        except UnknownAngle:
            places = list(x.around)
        half = repeatability_of(x)
        points = sorted((a, r.value, half) for a, r in zip(places, x.readings, strict=True))
        on = f"{part.name} ({part.item})" if part else x.kind
        told: list[str] = []
        fit = curve = None
        if x.what == "wear depth":
            fit = fit_of(self.bench, self.bench.owner(x), replace(x, around=tuple(places)))
            told = self._lobes_told(x)
        if fit:
            mean, lobes = fit.mean, [h for h in fit.harmonics.values() if not is_noise(h, half)]

            def curve(degrees: float) -> float:
                return mean + sum(h.amplitude * math.cos(h.order * math.radians(degrees - h.crest)) for h in lobes)

            told.insert(
                0, "dots: readings with their repeatability; curve: least-squares fit of the lobes told from noise"
            )
        says = f"{x.what} on {on}: " + ", ".join(
            f"{show(v, reading.unit)} {extent_text(Extent(arcs=((a, a),)))}" for a, v, _ in points
        )
        picture = charts.round_the_clock(
            says, points, curve, fit.mean if fit else None, lambda v: show(v, reading.unit)
        )
        return Figure(picture, [Strong(f"{on}, {x.what}"), f". {'; '.join([*told, self._clock_of(part)])}."])

    def _lobes_told(self, x: Measured) -> list[str]:
        names = ("wear mean", "wear one lobe", "wear two lobes", "wear bolt lobes", "wear drive lobes")
        told = []
        for q in sorted(
            (q for q in self.inference.quantities if q.name in names and q.part == x.part),
            key=lambda q: names.index(q.name),
        ):
            if q.value is None:
                told.append(f"{q.name}: {q.problem}")
            else:
                noise = any("not told from noise" in n for n in q.notes)
                told.append(f"{q.name} {show(q.value, q.unit)}" + (", not told from noise" if noise else ""))
        return told


def timeline(events: Sequence[Event]) -> list[Block]:
    """Events numbered in their order as recorded, drawn to scale where they have dates."""
    days = [day_of(e.date) for e in events]
    dated = [(i, day) for i, day in enumerate(days, 1) if day is not None]
    blocks: list[Block] = []
    if len(dated) > 1:
        first, last = min(dated, key=lambda d: d[1])[0], max(dated, key=lambda d: d[1])[0]
        says = "events to scale: " + ", ".join(f"{i} on {events[i - 1].date}" for i, _ in dated)
        picture = charts.timeline(says, dated, events[first - 1].date, events[last - 1].date)
        blocks.append(Figure(picture, "Events to scale in time, numbered as below."))
    rows: list[Sequence[Line]] = []
    before: int | None = None
    for i, (e, day) in enumerate(zip(events, days, strict=True), 1):
        later = f"{day - before} days later" if day is not None and before is not None and day >= before else ""
        rows.append((str(i), e.date or "no date", later, e.what))
        before = day if day is not None else before
    columns = (("", "narrow"), ("date", "narrow"), ("", "narrow"), ("what happened", "wide"))
    return [*blocks, Table(columns, rows)] if rows else []


def day_of(date: str) -> int | None:
    """A day's number for YYYY-MM-DD, YYYY-MM (its first day) or YYYY (its first day); None for any other text."""
    match = re.fullmatch(r"(\d{4})(?:-(\d{2})(?:-(\d{2}))?)?", date.strip())
    if not match:
        return None
    year, month, day = (int(x) if x else 1 for x in match.groups())
    try:
        return datetime.date(year, month, day).toordinal()
    except ValueError:
        return None
