"""The command that writes a report: HTML, Markdown or, through a headless Chromium, PDF."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diagnose.cli.common import CaseArgument, KnowledgeOption, case_path, open_base, open_case, refuse
from diagnose.cli.output import refuse_over_input, write

if TYPE_CHECKING:
    from diagnose.casefile.model import Case
    from diagnose.inference.run import RuleBase
    from diagnose.views.report.blocks import Report
    from diagnose.views.report.told import Photo

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
PAPERS = ("A4", "Letter")
ENDINGS = (".html", ".md", ".pdf")
PRINT_SECONDS = 120
MOST_STEPS = 10


def report(
    case: CaseArgument,
    output: Annotated[
        Path, typer.Option("-o", "--output", help="The file to write: .html, .md or .pdf.")
    ] = Path("report.html"),
    pdf: Annotated[bool, typer.Option("--pdf", help="Print to PDF through a headless Chromium.")] = False,
    markdown: Annotated[bool, typer.Option("--markdown", help="Write Markdown.")] = False,
    short: Annotated[bool, typer.Option("--short", help="One page: the summary alone.")] = False,
    paper: Annotated[str, typer.Option("--paper", help="Page of the PDF: A4 or Letter.")] = "A4",
    knowledge: KnowledgeOption = None,
) -> None:
    """Write the report of a case: one file that opens without a network and prints well."""
    from diagnose.views.report import html
    from diagnose.views.report import markdown as text

    if output.suffix.lower() not in ENDINGS:
        raise refuse(f"a report cannot be written as {output.suffix or output.name!r}", f"end the name in {', '.join(ENDINGS)}")
    pdf, markdown = pdf or output.suffix.lower() == ".pdf", markdown or output.suffix.lower() == ".md"
    if pdf and markdown:
        raise refuse(
            "a report is PDF or Markdown, not both", "leave one of --pdf and --markdown, and the file's ending to match"
        )
    sizes = [p for p in PAPERS if p.lower() == paper.lower()]
    if not sizes:
        raise refuse(f"{paper!r} is no paper size", f"one of: {', '.join(PAPERS)}")
    if output.suffix.lower() == ".html" and (pdf or markdown):
        output = output.with_suffix(".pdf" if pdf else ".md")
    refuse_over_input(output, [case_path(case)])
    browser = find_browser() if pdf else ""
    base = open_base(knowledge)
    told = made(case_path(case), open_case(case, base), base)
    if pdf:
        print_page(browser, html.page(told, short, sizes[0]), output)
    else:
        write(output, (text.page(told, short) if markdown else html.page(told, short)).encode())


def made(path: Path, case: Case, base: RuleBase) -> Report:
    """The report of a case, as blocks."""
    from diagnose.advice.plan import plan
    from diagnose.inference.run import infer
    from diagnose.judgement.judge import judge
    from diagnose.judgement.network import build as build_network
    from diagnose.trail.graph import build
    from diagnose.views.report.content import report
    from diagnose.views.report.told import Material

    net = build_network(base.knowledge)
    inference = infer(case, base)
    judgements = judge(inference, net)
    graph, planned = build(inference, judgements), plan(inference, judgements, net, most=MOST_STEPS)
    return report(Material(inference, judgements, graph, planned, _version(), read_photos(case, path)))


def _version() -> str:
    from importlib.metadata import version

    return version("diagnose")


# ---- photos --------------------------------------------------------------------------------------------------------

_IMAGES = ((b"\x89PNG\r\n\x1a\n", "image/png"), (b"\xff\xd8\xff", "image/jpeg"), (b"GIF8", "image/gif"))


def read_photos(case: Case, path: Path) -> dict[str, Photo]:
    """Every photo that the case names, read from beside its file."""
    return {name: _photo(path, name) for name in sorted({o.photo for o in case.observations if o.photo})}


def _photo(path: Path, name: str) -> Photo:
    import hashlib

    from diagnose.casefile.photos import MOST_PHOTO_BYTES
    from diagnose.reading.files import read_file
    from diagnose.views.report.told import Photo

    folder = path.resolve().parent
    file = (folder / name).resolve()
    if not file.is_relative_to(folder):
        return Photo(None, problem="this file does not lie beside the case, so it is not read")
    try:
        data = read_file(file, MOST_PHOTO_BYTES)
    except FileNotFoundError:
        return Photo(None, problem="this photo is missing beside the case file")
    except OSError as error:
        return Photo(None, problem=f"this photo cannot be read: {error.strerror}")
    digest = hashlib.sha256(data).hexdigest()
    kind = next((kind for start, kind in _IMAGES if data.startswith(start)), "")
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        kind = "image/webp"
    if not kind:
        return Photo(None, digest=digest, problem="this file is no PNG, JPEG, GIF or WebP image, so it is not shown")
    return Photo(data, kind, digest)


# ---- writing and printing ------------------------------------------------------------------------------------------


def find_browser() -> str:
    import shutil

    found = next((at for name in BROWSERS if (at := shutil.which(name))), "")
    if not found:
        raise refuse(f"printing to PDF needs a Chromium, and none of {', '.join(BROWSERS)} is here",
                     "install the package chromium, or open the HTML report in any browser and print it there")  # fmt: skip
    return found


def print_page(browser: str, page: str, output: Path) -> None:
    """Prints a page to PDF. The browser has no network and a profile of its own. Raises BadInput."""
    import subprocess
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder, "report.html"), Path(folder, "report.pdf")
        source.write_text(page, "utf-8")
        call = [
            browser, "--headless", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-quic",
            "--host-resolver-rules=MAP * ~NOTFOUND", f"--user-data-dir={folder}/profile", "--no-pdf-header-footer",
            f"--print-to-pdf={target}", *_sandbox(), source.as_uri(),
        ]  # fmt: skip
        try:
            done = subprocess.run(call, capture_output=True, timeout=PRINT_SECONDS, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            raise refuse(f"the browser did not print: {error}", "open the HTML report and print it there") from error
        if not target.is_file():
            told = done.stderr.decode(errors="replace").strip().splitlines()[-1:] or ["it said nothing"]
            raise refuse(f"the browser did not print: {told[0][:200]}", "open the HTML report and print it there")
        write(output, _TIMES.sub(rb"/\1 (D:19700101000000", target.read_bytes()))


_TIMES = re.compile(rb"/(CreationDate|ModDate) \(D:\d{14}")
"""The time of printing, which would make each copy another file; what replaces it is as long."""


def _sandbox() -> list[str]:
    """Chromium refuses its sandbox to root."""
    import os

    return ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
