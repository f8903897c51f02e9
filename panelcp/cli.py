"""The command line: reads, calls one public function, reports.

Only this module prints. Mistakes in the input end with one message and status 2.
"""

from __future__ import annotations

import argparse
import re
import sys
import time
from collections.abc import Callable, Sequence
from difflib import get_close_matches
from pathlib import Path

import panelcp
from panelcp.errors import CaseError, PanelcpError

DESCRIPTION = """\
Where to cut the cooling-air openings of a cowl, and whether enough air goes through every core.
Estimates for study: prove everything in test; local rules and licensed people govern."""


class _Parser(argparse.ArgumentParser):
    """Parser that suggests the nearest command."""

    def error(self, message: str):
        wrong = re.search(r"invalid choice: '([^']*)'", message)
        near = get_close_matches(wrong.group(1), COMMANDS, n=1, cutoff=0.5) if wrong else []
        hint = f" Did you mean 'panelcp {near[0]}'?" if near else ""
        if "--axes: expected" in message:
            hint = " Write it with an equals sign: --axes=-z,+x,+y."
        self.exit(2, f"panelcp: {message}.{hint} See 'panelcp --help'.\n")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    argv : the words after `panelcp`; those of the process when not given

    Returns
    -------
    int : exit status, 0 or 2
    """
    _use_utf8()
    arguments = _parser().parse_args(argv)
    try:
        return arguments.run(arguments)
    except PanelcpError as error:
        print(f"panelcp: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("panelcp: stopped; earlier results are unchanged", file=sys.stderr)
        return 130
    except BrokenPipeError:
        sys.stderr.close()
        return 0


def _use_utf8():
    """Terminals that cannot show a character get a stand-in instead of an error."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="panelcp",
        description=DESCRIPTION,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"panelcp {panelcp.__version__}")
    commands = parser.add_subparsers(
        title="commands", metavar="COMMAND", required=True, parser_class=_Parser
    )
    for name, (summary, add_arguments, run) in COMMANDS.items():
        command = commands.add_parser(name, help=summary, description=summary)
        add_arguments(command)
        command.set_defaults(run=run)
    return parser


def _run_arguments(parser):
    parser.add_argument("case", metavar="CASE.toml", type=Path)
    parser.add_argument(
        "--results",
        metavar="DIR",
        type=Path,
        help="folder for the results (default: results beside the case file)",
    )
    parser.add_argument("--quiet", action="store_true", help="no progress, no table")


def _whole_run_arguments(parser):
    _run_arguments(parser)
    _paper_and_date(parser, "report")


def _paper_and_date(parser, what: str):
    parser.add_argument(
        "--paper", metavar="A4|Letter", help=f"of the {what} (default: as in the case, else A4)"
    )
    parser.add_argument(
        "--date", help=f"printed on the {what}, 2026-05-01 (default: as in the case, else today)"
    )


def _run(arguments) -> int:
    from panelcp.case.running import run_case

    progress = _Progress(sys.stderr, quiet=arguments.quiet)
    with progress:
        finished = run_case(
            arguments.case, arguments.results, progress.step, arguments.date, arguments.paper
        )
    if not arguments.quiet:
        print(_short_table(finished.contents))
        print(f"on paper: {finished.folder / 'report.pdf'}")
    print(f"report: {finished.folder / 'report.html'}")
    return 0


def _rank_arguments(parser):
    parser.add_argument(
        "cases", metavar="CASE.toml", type=Path, nargs="+", help="several are compared"
    )
    parser.add_argument(
        "--results",
        metavar="DIR",
        type=Path,
        help="folder for the results (default: results beside the first case file)",
    )
    parser.add_argument(
        "--by",
        choices=("pressure", "margin"),
        default="pressure",
        help="order by available over needed pressure, or by the temperature margins that the "
        "cooling network of the case has with every place (default: pressure)",
    )
    parser.add_argument("--quiet", action="store_true", help="no progress, no table")


def _rank(arguments) -> int:
    from panelcp.case.side_by_side import rank_case, rank_side_by_side

    if arguments.by == "margin":
        return _rank_by_margin(arguments)
    progress = _Progress(sys.stderr, quiet=arguments.quiet)
    if len(arguments.cases) == 1:
        with progress:
            ranked = rank_case(arguments.cases[0], arguments.results, progress.step)
        table, place = _short_table(ranked.contents), f"tables: {ranked.folder}"
    else:
        with progress:
            compared = rank_side_by_side(arguments.cases, arguments.results, progress.step)
        table = _side_by_side_table(compared.sides)
        place = f"side by side: {compared.folder / 'side-by-side.html'}"
    if not arguments.quiet:
        print(table)
    print(place)
    return 0


def _rank_by_margin(arguments) -> int:
    from panelcp.case.side_by_side import rank_case
    from panelcp.report.margin_section import margin_lines

    if len(arguments.cases) > 1:
        raise CaseError("--by margin ranks the places of one case; give one case file")
    progress = _Progress(sys.stderr, quiet=arguments.quiet)
    with progress:
        ranked = rank_case(arguments.cases[0], arguments.results, progress.step, by="margin")
    contents = ranked.contents
    if not arguments.quiet:
        lines = [f"\n{contents.name}", "", *margin_lines(contents.margins)]
        lines += [f"  note: {note}" for note in contents.margin_notes]
        print("\n".join([*lines, *(f"  warning: {text}" for text in contents.warnings), ""]))
    print(f"tables: {ranked.folder}")
    return 0


def _pressures(arguments) -> int:
    from panelcp.case.pressures_run import pressures_case
    from panelcp.report.contents import condition_line

    progress = _Progress(sys.stderr, quiet=arguments.quiet)
    with progress:
        done = pressures_case(arguments.case, arguments.results, progress.step)
    contents, flow = done.contents, done.contents.flow
    if not arguments.quiet:
        shown = zip(flow.conditions, flow.mean_rise, flow.predicted, strict=True)
        lines = [f"\n{contents.name}", "", *(f"  {condition_line(*one)}" for one in shown)]
        print("\n".join([*lines, *(f"  warning: {text}" for text in contents.warnings), ""]))
    print(f"maps: {done.folder / 'pressures.html'}")
    return 0


def _cool(arguments) -> int:
    from panelcp.case.cooling_run import cool_case
    from panelcp.report.cooling_section import cooling_lines

    progress = _Progress(sys.stderr, quiet=arguments.quiet)
    with progress:
        cooled = cool_case(arguments.case, arguments.results, progress.step)
    contents = cooled.contents
    if not arguments.quiet:
        lines = [f"\n{contents.name}", ""]
        lines += [f"  {line}" for line in cooling_lines(contents.cooling)]
        print("\n".join([*lines, *(f"  warning: {text}" for text in contents.warnings), ""]))
    print(f"page: {cooled.folder / 'cooling.html'}")
    return 0


def _template_arguments(parser):
    parser.add_argument("case", metavar="CASE.toml", type=Path)
    parser.add_argument(
        "name",
        metavar="NAME",
        help='of an opening of the case, or of a place: "top 3"; "top best 1" after a run',
    )
    _paper_and_date(parser, "sheets")
    parser.add_argument(
        "--results",
        metavar="DIR",
        type=Path,
        help="folder for the results (default: results beside the case file)",
    )
    parser.add_argument("--quiet", action="store_true", help="no progress, no lines")


def _template(arguments) -> int:
    from panelcp.case.templating import marking_template
    from panelcp.report.template import facts

    progress = _Progress(sys.stderr, quiet=arguments.quiet)
    with progress:
        done = marking_template(
            arguments.case,
            arguments.name,
            arguments.results,
            arguments.paper,
            arguments.date,
            progress.step,
        )
    if not arguments.quiet:
        lines = [f"  {line}" for line in facts(done.template)]
        lines += [f"  warning: {text}" for text in done.template.warnings]
        print("\n".join([f"\n{done.template.name}, 1:1", "", *lines, ""]))
    print(f"template: {done.files[0]} (and .dxf, .svg beside it)")
    return 0


def _check_arguments(parser):
    parser.add_argument("file", metavar="FILE", type=Path, help="a mesh, or a case file")
    parser.add_argument("--unit", help="length unit of a mesh (default: proposed from its size)")
    _axes_argument(parser)


def _axes_argument(parser):
    parser.add_argument(
        "--axes",
        metavar="AFT,RIGHT,UP",
        help="axes of the mesh that point there (default: +x,+y,+z); write it with an equals "
        "sign: --axes=-z,+x,+y",
    )


def _check(arguments) -> int:
    from panelcp.case.checking import check_file

    print("\n".join(check_file(arguments.file, arguments.unit, arguments.axes)))
    return 0


def _example_arguments(parser):
    parser.add_argument("name", metavar="NAME", nargs="?", help="leave out to see the names")
    parser.add_argument(
        "folder", metavar="DIR", nargs="?", type=Path, help="new folder (default: NAME)"
    )


def _example(arguments) -> int:
    from panelcp.case.examples import copy_example, example_names

    if arguments.name is None:
        print("examples: " + ", ".join(example_names()))
        return 0
    folder = copy_example(arguments.name, arguments.folder)
    print(f"copied to {folder}; next: panelcp run {_shell_word(folder / 'case.toml')}")
    return 0


def _new_arguments(parser):
    parser.add_argument("mesh", metavar="MESH", type=Path)
    parser.add_argument("--unit", help="length unit of the mesh (default: proposed from its size)")
    _axes_argument(parser)
    parser.add_argument(
        "--output", metavar="CASE.toml", type=Path, help="default: beside the mesh, its name .toml"
    )


def _new(arguments) -> int:
    from panelcp.case.starter import write_starter_case

    path, unit = write_starter_case(
        arguments.mesh, arguments.unit, arguments.output, arguments.axes
    )
    print(f"wrote {path} (length unit {unit}: check it); next: panelcp check {_shell_word(path)}")
    return 0


COMMANDS: dict[str, tuple[str, Callable, Callable]] = {
    "new": ("write a commented starter case for a surface mesh", _new_arguments, _new),
    "example": ("copy a shipped example", _example_arguments, _example),
    "run": ("do everything a case asks for", _whole_run_arguments, _run),
    "pressures": (
        "draw the pressure on the skin, without ranking places; needs no opening",
        _run_arguments,
        _pressures,
    ),
    "rank": (
        "rank places without drawing maps; several cases side by side",
        _rank_arguments,
        _rank,
    ),
    "cool": (
        "solve the cooling network of a case, without searches and maps",
        _run_arguments,
        _cool,
    ),
    "template": (
        "draw one opening at true size on paper, to mark it on the skin",
        _template_arguments,
        _template,
    ),
    "check": ("say what the tool makes of a mesh or a case", _check_arguments, _check),
}


class _Progress:
    """Steps of a long run on the terminal, with the seconds since the start."""

    def __init__(self, stream, quiet: bool):
        self._stream, self._quiet = stream, quiet
        self._start = time.monotonic()

    def step(self, text: str):
        if self._quiet:
            return
        seconds = time.monotonic() - self._start
        line = f"{seconds:6.1f} s  {text}"
        if self._stream.isatty():
            self._stream.write(f"\r\x1b[K{line}")
        else:
            self._stream.write(line + "\n")
        self._stream.flush()

    def __enter__(self):
        return self

    def __exit__(self, kind, value, traceback):
        if not self._quiet and self._stream.isatty():
            self._stream.write("\r\x1b[K")
        if kind is None:
            self.step("done")
            if not self._quiet and self._stream.isatty():
                self._stream.write("\n")


def _short_table(contents) -> str:
    """The answer and the short list for the terminal."""
    from panelcp.report.answers import whole_answer
    from panelcp.report.contents import ratio_text
    from panelcp.report.tables import IN_H2O

    ranking, conditions = contents.ranking, contents.flow.conditions
    lines = [f"\n{contents.name}", ""]
    lines += [f"  {line}" for line in whole_answer(contents)]
    lines += ["", f"  {'no.':>4}  {'least':>11}  {'Pa':>6} {'inH2O':>6}  in -> out (limiting)"]
    for number, pair in enumerate(contents.short_list, start=1):
        c = ranking.limiting[pair]
        available, outlet = ranking.available[c, pair], ranking.exit(pair)
        lines.append(
            f"  {number:>4}  {ratio_text(contents, pair):>11}  {available:>6.0f} "
            f"{available / IN_H2O:>6.2f}  {ranking.inlet(pair).name} -> {outlet.name}, "
            f"{outlet.side} ({conditions[c].name})"
        )
    lines += ["", *(f"  warning: {warning}" for warning in contents.warnings)]
    lines += [f"  NOTICE: {notice}" for notice in contents.notices]
    return "\n".join([*lines, ""])


def _side_by_side_table(sides) -> str:
    """The answer and a line per case for the terminal."""
    from panelcp.report.side_by_side import side_by_side_lines

    return "\n".join([f"\n{' · '.join(sides.names)}", "", *side_by_side_lines(sides), ""])


def _shell_word(path: Path) -> str:
    text = str(path)
    return f'"{text}"' if " " in text else text
