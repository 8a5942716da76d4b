"""The command line: parse, call, show. Exit 0 done, 1 a check found something, 2 the input or the call is wrong."""

from __future__ import annotations

import gc
import io
import os
import sys
from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import typer

MODULES = {
    "explain": "answers",
    "next": "advice",
    "meaning": "answers",
    "quantities": "answers",
    "terms": "answers",
    "score": "answers",
    "start": "bench",
    "record": "bench",
    "sheet": "sheet",
    "note": "note",
    "journal": "bench",
    "parts": "stack",
    "custody": "closing",
    "close": "closing",
    "page": "page",
    "migrate": "migrate",
    "drill": "drill",
    "why": "reasoning",
    "why-not": "reasoning",
    "what-if": "reasoning",
    "fragile": "reasoning",
    "graph": "reasoning",
    "trail": "evidence",
    "verify": "evidence",
    "export": "export",
    "sign": "anchors",
    "stamp": "anchors",
    "compare": "reasoning",
    "report": "report",
    "batch": "batch",
    "library": "library",
    "rules": "rules",
}
"""Each command and the module in this folder that holds it, as a function of that name; a group of commands is an app."""


def commands(asked: str = "") -> typer.Typer:
    """The command line with the one command that is asked for, which starts sooner, or else with all of them."""
    import typer

    from diagnose.cli.version import options

    app = typer.Typer(
        name="diagnose",
        help="From the marks on a failed mechanical seal to its probable root causes, with the reasoning shown.",
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
    )
    app.callback()(options)
    for name in [asked] if asked in MODULES else MODULES:
        module = import_module(f"diagnose.cli.{MODULES[name]}")
        if hasattr(module, "app"):
            app.add_typer(module.app)
        else:
            app.command(name)(getattr(module, name.replace("-", "_")))
    return app


def __getattr__(name: str) -> typer.Typer:
    if name == "app":
        return commands()
    raise AttributeError(name)


def run() -> None:
    """The console entry point."""
    # starting makes many lasting objects and one matrix library; neither collecting nor threads of its own pay here
    gc.disable()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        # a daemon may have closed them, and whatever is opened first would then be read or written in their place
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")
    from diagnose.cli.common import refuse, tell
    from diagnose.reading.problems import BadInput

    try:
        commands(sys.argv[1] if len(sys.argv) > 1 else "")()
    except BadInput as error:
        tell(error)
        sys.exit(2)
    except KeyboardInterrupt:  # before a command has begun; from then on it is told by the command line itself
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
    except OSError as error:
        tell(refuse(f"a file cannot be read or written: {error.strerror or error}", str(error.filename or "")))
        sys.exit(2)


if __name__ == "__main__":
    run()
