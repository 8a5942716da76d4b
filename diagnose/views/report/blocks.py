"""What a report is made of, before it is HTML or Markdown. All text in it is plain text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diagnose.views.drawings.markup import Drawing


@dataclass(frozen=True)
class Strong:
    text: str


@dataclass(frozen=True)
class Soft:
    """What may be read over: records under a sentence, units, remarks."""

    text: str


@dataclass(frozen=True)
class Cite:
    """References to numbered sources."""

    numbers: tuple[int, ...]


@dataclass(frozen=True)
class Proof:
    """A conclusion whose proof can be lit in the reasoning graph; `node` is its id there."""

    text: str
    node: str


Piece = str | Strong | Soft | Cite | Proof | Drawing
Line = Piece | Sequence[Piece]


def pieces(line: Line) -> Sequence[Piece]:
    """The pieces of a line, one or several."""
    return [line] if isinstance(line, (str, Strong, Soft, Cite, Proof, Drawing)) else line


@dataclass(frozen=True)
class Paragraph:
    line: Line
    role: str = ""
    """"" for plain text, or note, warning, small."""


@dataclass(frozen=True)
class Items:
    lines: Sequence[Line]
    numbered: bool = False
    role: str = ""


@dataclass(frozen=True)
class Heading:
    text: str


@dataclass(frozen=True)
class Table:
    """`columns` are (heading, role) pairs; a role is "", number, drawing, narrow, wide or fill (left open for
    a pen). `strong` rows stand out."""

    columns: Sequence[tuple[str, str]]
    rows: Sequence[Sequence[Line]]
    caption: str = ""
    strong: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Figure:
    drawing: Drawing
    caption: Line
    beside: Sequence[object] = ()
    """Blocks that stand beside the drawing where there is room."""
    role: str = ""


@dataclass(frozen=True)
class Figures:
    """Drawings side by side."""

    figures: Sequence[Figure]


@dataclass(frozen=True)
class Picture:
    """A photo as bytes of an image."""

    data: bytes
    kind: str
    caption: Line
    over: Drawing | None = None
    """Drawn over the middle of the photo."""


@dataclass(frozen=True)
class Graph:
    """The reasoning graph, a drawing whose nodes can be chosen; `printed` are the proofs that stand for it on paper."""

    drawing: Drawing
    caption: Line
    printed: Sequence[Figure]


Block = Paragraph | Items | Heading | Table | Figure | Figures | Picture | Graph


@dataclass(frozen=True)
class Section:
    """`apart`: belongs to the appendix, which is printed only where it is asked for."""

    id: str
    title: str
    blocks: Sequence[Block]
    apart: bool = False


@dataclass(frozen=True)
class Leader:
    """One cause of the leading explanation, as the summary tells it."""

    cause: str
    node: str
    standing: str
    shown: str
    chance: Drawing
    means: str
    chain: tuple[str, ...]
    why: Sequence[Line]
    against: Sequence[Line]
    change: Sequence[Line]


@dataclass(frozen=True)
class Answer:
    """The conclusion at one seal position; `place` is "" where there is only one. `first` says that no damage is on record or
    that the seal was not looked at, `happened` names the mechanisms, `also` are causes of the leading explanation for
    which the page has only a line. `odds`: what on record does not go together.
    `sound`: it was taken out sound."""

    place: str
    first: str
    happened: Line
    leaders: Sequence[Leader]
    also: Sequence[Line]
    sure: Line
    beside: Sequence[Line]
    odds: Sequence[Line] = ()
    sound: bool = False

    @property
    def title(self) -> str:
        failed = not self.sound and (self.leaders or self.also or not self.first)
        if failed:
            return f"Why the {self.place} failed" if self.place else "Why it failed"
        return f"The {self.place}" if self.place else "What was found"


@dataclass(frozen=True)
class Form:
    """What is to be done, "" a row left open, with room for owner and date."""

    to_do: Sequence[str]


@dataclass(frozen=True)
class Report:
    """`asked` is what every report has room for, "" where it is to be filled in by hand. `doubts`: what of the record as a whole does not go
    together or was not understood. `type` is "dense" where page one needs smaller type to stay one page, "brief" where it would leave most of a page empty, so
    that the rest follows on it."""

    title: str
    invented: bool
    facts: Sequence[tuple[str, str]]
    asked: Sequence[tuple[str, str]]
    answers: Sequence[Answer]
    cautions: Sequence[Line]
    open: Sequence[Line]
    type: str
    sections: Sequence[Section]
    digests: Sequence[tuple[str, str]]
    form: Form | None = None
    doubts: Sequence[Line] = ()

    @property
    def kind(self) -> str:
        return "Seal failure report" if any(a.title.startswith("Why") for a in self.answers) else "Seal report"

    @property
    def numbered(self) -> list[tuple[str, Section]]:
        """The sections with their numbers, those of the appendix with letters."""
        whole = [s for s in self.sections if not s.apart]
        letters = (chr(ord("A") + i) for i in range(26))
        return [
            *((str(i), s) for i, s in enumerate(whole, 1)),
            *zip(letters, (s for s in self.sections if s.apart), strict=False),
        ]
