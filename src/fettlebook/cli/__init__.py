"""The commands. Each stands in a module of its own and is imported only when called, so that `--help` stays quick.

Exit status, the same for every command: 0 done and in order; 1 done, and what was asked about is not in order
(a practice file with errors, a day with late visits); 2 nothing could be done, the message says why.
"""

import gc
import sys
from importlib import import_module

import click

from fettlebook import __version__

# command -> (module, one-line help shown in the list). The module has a function of the command's name, with _ for -.
COMMANDS: dict[str, str] = {
    "setup": "From nothing to a practice file, question by question; here or as pages.",
    "check": "Validate a practice file; list every error with its line and how to mend it.",
    "rules": "List the duties and limits in force, with source and what each overrides.",
    "times": "How long each flush, fill, contact and rinse runs on each chair, and why.",
    "cards": "Print running times: one table of all chairs, and a card for each chair and duty.",
    "flow": "An outlet's flow from cup and clock, how sure it is, and what it changes.",
    "calibrate": "Does a chair's rinse hold? Its line held against strip readings.",
    "mix": "How much product and water by measure and jug, until when, and what to mind.",
    "day": "Plan one day from a practice file and an appointment book.",
    "water": "What counts say of each chair's water: level, chance over the limit, and when.",
    "sampling": "Which chair to sample next, and what the plan in force can tell.",
    "treatments": "Each treatment of the lines: planned and reached times, product, strips, verdict.",
    "stock": "What is left of each product, until when it lasts, by when to order.",
    "checks": "Suction and surfaces: hoses, care, wet times, shares of clean spots.",
    "temperatures": "Hot and cold water of each tap: warm or cold enough, and in time.",
    "night": "Plan the next day of every practice of a group, over processes and machines.",
    "group": "Which practice of a group needs help first: unfit, overdue, water, lateness.",
    "plan": "Plan a neutral day instance (JSON), or one day as such.",
    "replan": "Plan the rest of a day again after something happened.",
    "stress": "How days stand up when visits run over; which slack matters.",
    "capacity": "How many sets, machines and hands bookings need; what to buy first.",
    "standing": "May I use it? Verdict, conditions with rule and evidence, and the way to fit.",
    "due": "Duties due today and overdue, with moment, minutes and rule.",
    "trace": "What was done, to whom, with what; look-back from a bad test or count.",
    "look-back": "After a bad test, cycle or count: what is concerned, what is open, a letter draft.",
    "evidence": "What an inspector gets: a PDF, and a bundle that anyone can check.",
    "judge": "Is this cycle fit? A sterilizer's or washer's log judged by its own numbers.",
    "book": "Keep the record: begin, add, print, verify, sign, back up, restore, export.",
    "note": "Write one entry into a book by hand.",
    "labels": "Labels for the packs of a load: what, load, use by, codes to scan.",
    "arrivals": "Take in what machines and laboratories send, from a folder or a broker.",
    "share": "Hand on what the book holds: tables, FHIR resources, duties as a calendar.",
    "move": "Carry the whole practice to another machine: book, keys, people, files.",
    "service": "Let the pages start with the machine: the unit for systemd.",
    "doctor": "Is all in order with the machine that keeps the book? What to mend, and how.",
    "serve": "Open the page on this machine.",
    "certificate": "Make, renew and show the certificate for tablets in the house.",
    "people": "PINs, badges and devices from this machine, for when nobody can sign in.",
    "demo": "Write the invented demo practice and its appointment book.",
}


class _Lazy(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        name = cmd_name.replace("-", "_")
        command: click.Command = getattr(import_module(f"fettlebook.cli.{name}"), name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))  # from the table: no command is imported for the list


@click.group(cls=_Lazy, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="fettlebook")
def _fettlebook() -> None:
    """Keep every chair safe before every patient: running times, day plan, proof.

    Decision support for trained staff. Instructions for use, product labels and local rules come first; the program
    releases nothing by itself.
    """


def collect_seldom() -> None:
    """Look seldom for things that refer to themselves: facts of a book never do, and looking among so many took half the time."""
    gc.set_threshold(50_000, 20, 50)


def main() -> None:
    """Run the command line; a Mendable becomes readable lines and exit status 2."""
    from fettlebook.errors import Mendable  # noqa: PLC0415 - keeps --help free of it

    collect_seldom()
    try:
        _fettlebook.main(prog_name="fettlebook")
    except Mendable as error:
        for finding in error.findings:
            click.echo(f"{finding.where}\n  what  {finding.what}\n  mend  {finding.mend}", err=True)
        sys.exit(2)
