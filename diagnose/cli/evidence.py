"""Commands that keep and check evidence: trail, verify."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Annotated

import typer

from diagnose.cli.common import (
    CaseArgument,
    JsonOption,
    KnowledgeOption,
    case_path,
    open_base,
    open_case,
    print_json,
    refuse,
    say,
    shipped,
)
from diagnose.cli.output import refuse_over_input, write
from diagnose.cli.reasoning import OutOption

if TYPE_CHECKING:
    from diagnose.evaluation.verify import Given
    from diagnose.inference.run import RuleBase

CARRIED = "carried"


def trail(case: CaseArgument, output: OutOption = None, knowledge: KnowledgeOption = None) -> None:
    """Write the whole trail: record, journal, rule base, reasoning; the case can be replayed from it alone, years later."""
    from diagnose.casefile.authors import short
    from diagnose.reading.located import bytes_of
    from diagnose.trail.custody import holds, look_around
    from diagnose.trail.document import dump
    from diagnose.trail.document import trail as make

    path, folder = case_path(case), knowledge or shipped("knowledge")
    refuse_over_input(output, [path])
    base = open_base(knowledge)
    read = open_case(case, base)
    data = bytes_of(path)
    around = look_around(path, read, folder)
    if not holds(around.contents, base.knowledge):
        raise refuse(f"the rule base in {folder} was changed meanwhile", "write the trail again")
    written = make(data, base, tool_version(), around)
    whole = dump(written)
    write(output, whole)
    if output:
        say(f"{output}: head {short(hashlib.sha256(whole).hexdigest())}; write it with the date into a bound book")
        say(written["journal"]["says"])


def verify(
    trail: Annotated[Path, typer.Argument(metavar="TRAIL", help="A trail that this tool wrote.")],
    case: Annotated[
        Path | None,
        typer.Option("--case", help="The case file as it is now; its journal and photos beside it are checked too."),
    ] = None,
    knowledge: Annotated[
        str,
        typer.Option(
            "--knowledge", envvar="DIAGNOSE_KNOWLEDGE", show_default=False,
            help="What to replay with: a folder, a git revision, or carried: the rule base inside the trail.",
        ),
    ] = "",
    made_with: Annotated[
        str,
        typer.Option("--made-with", show_default=False,
                     help="The folder or git revision of the rules of then, where the trail carries none."),
    ] = "",
    head: Annotated[
        str, typer.Option("--head", help="The head digest as it was written down, to be compared.", show_default=False)
    ] = "",
    unpack: Annotated[
        Path | None, typer.Option("--unpack", help="Write the carried rule base to this new folder.", show_default=False)
    ] = None,
    as_json: JsonOption = False,
) -> None:  # fmt: skip
    """Replay a trail: whether it reproduces, or the answer stands or has changed, and what in record, rules or tool (exit 1)."""
    from diagnose.casefile.authors import short
    from diagnose.evaluation.verify import carried
    from diagnose.evaluation.verify import verify as replay
    from diagnose.views.page import Page
    from diagnose.views.reasoning import verify as view

    data = _read_any(trail)
    rules = carried(data, str(trail))
    if unpack is not None:
        _unpack(rules, unpack, trail)
    answer = replay(data, str(trail), _given(rules, knowledge, made_with, case, data, trail))
    answer["head"] = short(hashlib.sha256(data).hexdigest())
    if head and not _same_head(head, answer["head"]):
        answer |= {"exact": False, "faults": [*answer["faults"], f"its head is {answer['head']}, not {head}"]}
        answer["verdict"], answer["says"] = (
            "altered",
            f"This is not the trail whose head was written down: its head is {answer['head']}, not {head}.",
        )
    if as_json:
        print_json(answer)
    else:
        typer.echo(view.verify(answer, Page()).text(), nl=False)
    if not answer["exact"]:
        raise typer.Exit(1)


def _same_head(written: str, head: str) -> bool:
    digits = "".join(c for c in written.lower() if c.isalnum())
    return len(digits) >= 12 and head.replace("-", "").startswith(digits)


def _given(
    rules: Mapping[str, bytes], knowledge: str, made_with: str, case: Path | None, data: bytes, trail: Path
) -> Given:  # fmt: skip
    """The rule base to replay with and all else that a trail is held against. Raises BadInput."""
    import platform

    from diagnose.evaluation.verify import Given
    from diagnose.knowledge.files import digest_of
    from diagnose.reading.located import bytes_of
    from diagnose.trail.custody import Around, versions
    from diagnose.trail.document import load

    wanted = load(data, str(trail))["knowledge"]
    base, contents, revision = _rules(rules, knowledge, wanted.get("revision", ""), trail)
    then = None
    if made_with:
        _, then, _ = _rules(rules, made_with, "", trail)
        if digest_of(then) != wanted["digest"]:
            raise refuse(f"{made_with!r} is not the rule base that the trail was made with: its digest is {digest_of(then)[:12]}, "
                         f"not {wanted['digest'][:12]}", "name another revision or folder")  # fmt: skip
    record: bytes | None = None
    journal: bytes | None = None
    photos: dict[str, str] = {}
    if case is not None:
        record = bytes_of(case)
        journal, photos = _beside(case, record, base)
    around = Around(journal, photos, contents, revision, platform.python_version(), versions())
    return Given(base, tool_version(), contents, around, then, record)


def _beside(case: Path, record: bytes, base: RuleBase) -> tuple[bytes | None, dict[str, str]]:
    """The journal beside a case file and the digests of its photos."""
    from diagnose.casefile.journal import MOST_BYTES, journal_path
    from diagnose.casefile.reader import parse_case
    from diagnose.reading.files import read_file
    from diagnose.reading.problems import Problems
    from diagnose.trail.custody import photos_now

    journal = journal_path(case.resolve())
    read = parse_case(record, str(case), base.knowledge, Problems())
    return (read_file(journal, MOST_BYTES) if journal.exists() else None), photos_now(
        case.resolve(), read
    ) if read else {}


def _rules(
    rules: Mapping[str, bytes], named: str, revision: str, trail: Path
) -> tuple[RuleBase, Mapping[str, bytes], str]:
    """A rule base by folder, git revision or as the trail carries it, with its files and its revision. Raises BadInput."""
    from diagnose.evaluation.impact import versions
    from diagnose.evaluation.verify import base_of
    from diagnose.knowledge.files import contents_of
    from diagnose.trail.custody import revision_of

    if named == CARRIED:
        if not rules:
            raise refuse(
                f"{trail} carries no rule base that can be unpacked", "name the folder or git revision it was made with"
            )
        return base_of(rules), rules, revision
    folder = Path(named) if named else shipped("knowledge")
    if folder.is_dir():
        return open_base(folder, kept=False), contents_of(folder), revision_of(folder)
    with versions(named) as (place,):
        return open_base(place, kept=False), contents_of(place), named


def _unpack(rules: Mapping[str, bytes], folder: Path, trail: Path) -> None:
    """Writes the files of a carried rule base into a new folder. Raises BadInput, where one is none or lies outside, too."""
    from diagnose.knowledge.files import is_knowledge

    if not rules:
        raise refuse(
            f"{trail} carries no rule base that can be unpacked",
            "it is damaged, or of a format from before trails carried one",
        )
    if folder.exists():
        raise refuse("nothing is written: there is such a file or folder", "name a new folder", what=str(folder))
    for name in rules:
        parts = PurePosixPath(name).parts
        if not is_knowledge(PurePosixPath(name)) or not name.isprintable() or any(p[:1] in "./" for p in parts):
            says = f"nothing is written: the carried rule base has a file {name!r}, which is none of a rule base"
            raise refuse(says, "do not trust this trail")
    for name, data in rules.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    say(f"{folder}: {len(rules)} files")


def tool_version() -> str:
    from importlib.metadata import version

    return version("diagnose")


def _read_any(path: Path) -> bytes:
    """The bytes of a trail; it may be larger than a case file. Raises BadInput."""
    from diagnose.reading.files import read_file
    from diagnose.trail.document import MOST_BYTES

    try:
        return read_file(path, MOST_BYTES)
    except OSError as error:
        raise refuse(f"cannot be read: {error.strerror}", "check the path", what=str(path)) from error
