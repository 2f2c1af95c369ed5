"""``python -m scoring``: the command line of the scoring core. It needs neither a database nor settings."""

from __future__ import annotations

import os
import sys
from importlib import import_module

COMMANDS = {
    "results": ("scoring.commands:results", "[FILE]", "class/1 in, results/1 out"),
    "championship": (
        "scoring.commands:championship",
        "[FILE]",
        "championship/1 in, championship-results/1 out",
    ),
    "standings": ("scoring.commands:standings", "--scheme FILE [--as-of DATE] [SCORES]", "scores in, standings/1 out"),
    "outlook": (
        "scoring.commands:outlook",
        "--scheme FILE --unit ID [--as-of DATE] [SCORES]",
        "what the next scores of a unit must be",
    ),
    "align": (
        "scoring.commands:align",
        "--test FILE [TEXT]",
        "what was said over a ride (WebVTT, SRT or plain text) in, alignment/1 out",
    ),
    "check": ("scoring.commands:check", "[FILE]", "says what a document is, or every problem in it"),
    "verify": ("scoring.commands:verify", "[BUNDLE]", "recomputes a results bundle and prints each difference"),
}


def usage() -> str:
    lines = ["Usage: python -m scoring COMMAND ...", ""]
    lines.extend(f"  {name} {arguments}\n      {words}" for name, (_, arguments, words) in COMMANDS.items())
    lines.extend(["", "Without a file, standard input is read. Exit code 0: done; 1: differences; 2: refused."])
    return "\n".join(lines)


def main(argv: list[str]) -> int:
    """Run one subcommand and return its exit code."""
    if (len(argv) > 0 and argv[0] in ("-h", "--help")) or (len(argv) > 1 and argv[1] in ("-h", "--help")):
        print(usage())
        return 0
    if not argv or argv[0] not in COMMANDS:
        return _call("scoring.commands:unknown", [*argv[:1]])
    return _call(COMMANDS[argv[0]][0], argv[1:])


def _call(name: str, argv: list[str]) -> int:
    module, _, function = name.partition(":")
    code: int = getattr(import_module(module), function)(argv)
    return code


if __name__ == "__main__":
    try:
        exit_code = main(sys.argv[1:])
        sys.stdout.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        exit_code = 1
    sys.exit(exit_code)
