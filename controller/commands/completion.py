"""`lungwort completion`: print the completion script of a shell."""

from __future__ import annotations

import argparse

from controller.commands.arguments import HelpPage

_SHELLS = ("bash", "zsh", "tcsh")

_EXAMPLES = """\
examples:
  lungwort completion bash > \\
      ~/.local/share/bash-completion/completions/lungwort
  lungwort completion zsh > ~/.zfunc/_lungwort
"""


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command's arguments."""
    parser = subparsers.add_parser(
        "completion",
        help="print the completion script of a shell",
        description="Print a completion script, to be put where your shell looks for one.",
        epilog=_EXAMPLES,
        formatter_class=HelpPage,
    )
    parser.add_argument("shell", choices=_SHELLS, help="which shell")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the script."""
    import shtab

    from controller.__main__ import build_parser

    print(shtab.complete(build_parser(), shell=args.shell))
    return 0
