"""Commands that anchor a file outside itself: sign, stamp."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from diagnose.cli.common import refuse, say
from diagnose.cli.output import write

FilesArgument = Annotated[
    list[Path], typer.Argument(metavar="FILE…", help="Journals, trails, reports; the anchor stands beside each.")
]


def sign(
    files: FilesArgument,
    key: Annotated[
        Path | None, typer.Option("--key", help="An OpenSSH private key, or the public one of a key in the agent.")
    ] = None,
    check: Annotated[
        bool, typer.Option("--check", help="Say who signed, and whether the file is still as signed.")
    ] = False,
    signers: Annotated[
        Path | None, typer.Option("--signers", help="With --check: who may sign, a file as ssh-keygen reads it.")
    ] = None,
) -> None:
    """Sign files with an OpenSSH key, detached, as FILE.sig; or check such signatures (exit 1 where one does not hold)."""
    from diagnose.reading.problems import BadInput
    from diagnose.trail import anchors

    if check == (signers is None) or (not check and key is None):
        raise refuse("signing takes --key KEY, checking takes --check --signers FILE", "diagnose sign FILE --key KEY")
    bad = False
    for file in files:
        if key is not None and not check:
            say(f"{anchors.sign(file, key)}: signed")
            continue
        assert signers is not None
        try:
            found = anchors.check(file, signers)
        except BadInput as error:
            say(f"{file}: {error.problems[0].says}")
            bad = True
            continue
        grew = f", up to line {found.lines}; {found.since} lines since" if found.since else ""
        say(f"{file}: signed by {found.who}, key {found.key}{grew}")
    if bad:
        raise typer.Exit(1)


def stamp(
    files: FilesArgument,
    server: Annotated[str, typer.Option("--server", help="Address of an RFC 3161 time stamp server of the site.")] = "",
    query: Annotated[
        Path | None, typer.Option("--query", help="Write the request to this file, to be carried to a server.")
    ] = None,
    reply: Annotated[Path | None, typer.Option("--reply", help="Take the server's reply from this file.")] = None,
    check: Annotated[
        bool, typer.Option("--check", help="Say when it was stamped, and whether it is as stamped.")
    ] = False,
    authority: Annotated[
        Path | None, typer.Option("--authority", help="With --check: the certificates of the authority, PEM.")
    ] = None,
) -> None:
    """Have files stamped with the time by a server, as FILE.tsr (RFC 3161); or check such stamps (exit 1 where one fails)."""
    from diagnose.reading.problems import BadInput
    from diagnose.trail import anchors

    ways = [bool(server), query is not None, reply is not None, check]
    if sum(ways) != 1 or check == (authority is None):
        raise refuse(
            "name one of --server, --query, --reply, or --check with --authority", "diagnose stamp FILE --server URL"
        )
    if (query or reply) and len(files) != 1:
        raise refuse("a request and its reply are of one file", "name one file at a time")
    bad = False
    for file in files:
        if query is not None:
            write(query, anchors.query(file), [file])
            say(f"{query}: send it to a server, then: diagnose stamp {file} --reply REPLY")
        elif reply is not None:
            say(f"{anchors.attach(file, anchors.read(reply))}: stamped")
        elif server:
            try:
                answer = anchors.ask(server, anchors.query(file))
            except (OSError, ValueError) as error:
                raise refuse(
                    f"the server gives no time stamp: {error}", "or carry the request there: --query FILE"
                ) from error
            say(f"{anchors.attach(file, answer)}: stamped")
        elif authority is not None:
            try:
                say(f"{file}: stamped {anchors.stamped(file, authority)}")
            except BadInput as error:
                say(f"{file}: {error.problems[0].says}")
                bad = True
    if bad:
        raise typer.Exit(1)
