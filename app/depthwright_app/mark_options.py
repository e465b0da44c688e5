"""The options of ``depthwright mark``: what may be given, and what it asks of each line. No Qt here."""

import argparse
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from depthwright.constants import PERMITTIVITY_MAX, PERMITTIVITY_MIN
from depthwright.depth import priors
from depthwright.edits import known_depth
from depthwright.errors import DepthwrightError
from depthwright.files.antenna_card import read_card
from depthwright.intake import SAME_FREQUENCY
from depthwright.job import Given
from depthwright.marking.request import (
    GIVEN_HEIGHT_U_MM,
    GIVEN_PERMITTIVITY_U,
    GIVEN_SEPARATION_U_MM,
    GIVEN_TIME_OFFSET_U_NS,
    Quantity,
    Request,
    TieAt,
)
from depthwright_app.quantities import (
    FREQUENCIES_GHZ,
    LENGTHS_MM,
    PLAIN,
    TIMES_NS,
    Kind,
    Typed,
    parse_quantity,
)

TRACE_SPACING = Kind("trace spacing", LENGTHS_MM, 0.01, 1e4, "5mm")
SAMPLE_INTERVAL = Kind("sample interval", TIMES_NS, 1e-4, 100.0, "20ps")
SEPARATION = Kind("antenna separation", LENGTHS_MM, 0.0, 1000.0, "40mm")
HEIGHT = Kind("antenna height", LENGTHS_MM, 0.0, 500.0, "3mm")
TIME_OFFSET = Kind("time offset", TIMES_NS, -10.0, 10.0, "12ps+-20ps")
FREQUENCY = Kind("centre frequency", FREQUENCIES_GHZ, 0.05, 20.0, "2GHz")
DIAMETER = Kind("bar diameter", LENGTHS_MM, 1.0, 500.0, "12mm")
PERMITTIVITY = Kind("permittivity", PLAIN, PERMITTIVITY_MIN, PERMITTIVITY_MAX, "7+-1.5")
PLACE = Kind("position of a tie", LENGTHS_MM, -1e7, 1e7, "bar@150mm=24mm+-1mm")
DEPTH = Kind("depth of a tie", LENGTHS_MM, 0.1, 1e4, "bar@150mm=24mm+-1mm")

_OPTIONS: tuple[tuple[str, Kind, str], ...] = (
    ("--trace-spacing", TRACE_SPACING, "distance between traces; without it the file's own positions"),
    ("--sample-interval", SAMPLE_INTERVAL, "time between samples; without it the file's own"),
    ("--antenna-separation", SEPARATION,
     f"between transmitter and receiver; without +- known to {GIVEN_SEPARATION_U_MM:g} mm"),
    ("--antenna-height", HEIGHT,
     f"of the antennas above the concrete; without +- known to {GIVEN_HEIGHT_U_MM:g} mm"),
    ("--time-offset", TIME_OFFSET,
     "what the direct wave comes later than by separation over c and the near-field shift that the "
     f"program computes; without +- known to {1000 * GIVEN_TIME_OFFSET_U_NS:g} ps"),
    ("--centre-frequency", FREQUENCY,
     f"nominal, of the antenna; within {100 * SAME_FREQUENCY:.0f} %% of it the pulse's spectrum counts"),
    ("--bar-diameter", DIAMETER, "of all bars; without it 12 mm"),
    ("--permittivity", PERMITTIVITY,
     f"relative permittivity, evidence that is kept beside all other; without +- known to "
     f"{GIVEN_PERMITTIVITY_U:g}"),
)  # fmt: skip
_TIE = re.compile(
    r"(?:(?P<name>.+):)?(?P<kind>bar|face)@(?P<place>[^=]*)=(?P<depth>.*)", re.I | re.S
)
_NEGATIVE = re.compile(r"[-−][\d.,]")
_NOT_CARRIED = {
    "sample_interval": "sample interval",
    "centre_frequency": "centre frequency",
    "bar_diameter": "bar diameter",
}
_EPILOG = """\
Each number carries its unit (ps, ns, us; mm, cm, m, in; MHz, GHz); a permittivity has none. A+-B is a
standard uncertainty, A+-B:limits a rectangular one. What is given here comes before the antenna card,
the card before the file, the file before what is assumed.

Each line is marked from its own file alone and becomes a JSON file under DIR at the input's relative
path, with .json in the place of its ending; where two inputs would give one name, .json follows the
whole name. Once an input lies outside the present folder, all are taken relative to the folder they
share. Earlier reports are replaced, other files never. Exit status 0: all lines are marked; 2: some
are not, and are listed at the end.
"""


@dataclass(frozen=True)
class NamedTie:
    """A tie as given: the line it names (empty for the only one), and what it says."""

    text: str
    name: str
    at: TieAt


@dataclass(frozen=True)
class Options:
    """What was given, read.

    Parameters
    ----------
    files
        As given.
    out
        Folder of the reports.
    request
        What is asked of every line; the ties are not in it.
    ties
        The ties, each of one line.
    job
        Where to keep the job with all lines; None for none.
    workers
        Number of processes.
    """

    files: tuple[Path, ...]
    out: Path
    request: Request
    ties: tuple[NamedTie, ...]
    job: Path | None
    workers: int | None

    def request_for(self, ties: Sequence[NamedTie]) -> Request:
        """What is asked of a line that has these ties."""
        return replace(self.request, ties=tuple(tie.at for tie in ties))


def add_options(parser: argparse.ArgumentParser) -> None:
    """Tell a parser what may be given."""
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = _EPILOG
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="where reports go")
    for option, kind, words in _OPTIONS:
        parser.add_argument(option, metavar="A[+-B]", help=f"{words}; as in {kind.example}")
    parser.add_argument("--antenna-card", type=Path, metavar="FILE", help="JSON file of an antenna")
    parser.add_argument(
        "--tie",
        action="append",
        default=[],
        metavar="[NAME:]bar@X=A[+-B]",
        help="known cover of the bar within 30 mm of X, or with 'face' in the place of 'bar' known depth "
        "of the back face at X; NAME is the file's, without its ending, and needed with several files; "
        f"without +- known to {priors.METER_READING_U_MM:g} mm; may be given many times",
    )
    parser.add_argument(
        "--no-proposals",
        action="store_true",
        help="look for nothing: mark only the bars and the back face that ties point at",
    )
    parser.add_argument(
        "--job",
        type=Path,
        metavar="OUT.dwjob",
        help="also keep all lines as a new job; of more than 100 lines with their marks alone",
    )
    parser.add_argument(
        "--workers", metavar="N", help="processes; without it one for each processor"
    )


def joined(arguments: Sequence[str]) -> list[str]:
    """Arguments with a negative quantity joined to its option, which would else look like an option."""
    made: list[str] = []
    for argument in arguments:
        if _NEGATIVE.match(argument) and made and re.fullmatch(r"--[a-z-]+", made[-1]):
            made[-1] = f"{made[-1]}={argument}"
        else:
            made.append(argument)
    return made


def read_options(given: argparse.Namespace) -> Options:
    """What was given, read.

    Raises
    ------
    DepthwrightError
        For the first thing that cannot be.
    """
    typed: dict[str, Typed] = {}
    for option, kind, _ in _OPTIONS:
        name = option.removeprefix("--").replace("-", "_")
        text = getattr(given, name)
        if text is not None:
            typed[name] = _read(option, text, kind)
    spacing, interval = typed.get("trace_spacing"), typed.get("sample_interval")
    frequency, diameter = typed.get("centre_frequency"), typed.get("bar_diameter")
    request = Request(
        given=Given(
            trace_spacing_mm=spacing.value if spacing else None,
            dt_ns=interval.value if interval else None,
        ),
        trace_spacing_share_u=spacing.u / spacing.value if spacing and spacing.u else None,
        card=read_card(given.antenna_card, "antenna-1") if given.antenna_card else None,
        separation_mm=_quantity(typed.get("antenna_separation"), GIVEN_SEPARATION_U_MM),
        height_mm=_quantity(typed.get("antenna_height"), GIVEN_HEIGHT_U_MM),
        time_offset_ns=_quantity(typed.get("time_offset"), GIVEN_TIME_OFFSET_U_NS),
        centre_frequency_ghz=frequency.value if frequency else None,
        bar_diameter_mm=diameter.value if diameter else None,
        permittivity=_quantity(typed.get("permittivity"), GIVEN_PERMITTIVITY_U),
        propose=not given.no_proposals,
        remarks=tuple(
            f"The uncertainty given for the {words} is in no interval here."
            for name, words in _NOT_CARRIED.items()
            if name in typed and typed[name].u is not None
        ),
    )
    ties = tuple(parse_tie(text) for text in given.tie)
    return Options(tuple(given.files), given.out, request, ties, given.job, _workers(given.workers))


def parse_tie(text: str) -> NamedTie:
    """A tie: ``bar@150mm=24mm+-1mm``, ``deck-L1:face@0.5m=152mm+-1mm:limits``.

    Raises
    ------
    DepthwrightError
        When it is none.
    """
    match = _TIE.fullmatch(text.strip())
    if match is None:
        raise DepthwrightError(
            f"“{text.strip()[:60]}” is no tie.",
            "Write it like bar@150mm=24mm+-1mm or face@500mm=152mm+-1mm; with several files like "
            "NAME:bar@150mm=24mm+-1mm.",
        )
    place = _read(f"--tie {text.strip()}", match["place"], PLACE)
    if place.u is not None:
        raise DepthwrightError(
            f"--tie {text.strip()}: the position takes no uncertainty.",
            f"Write it like {PLACE.example}.",
        )
    depth = _read(f"--tie {text.strip()}", match["depth"], DEPTH)
    on_bar = match["kind"].lower() == "bar"
    tie = known_depth(
        depth_mm=depth.value,
        plus_minus_mm=depth.plus_minus or priors.METER_READING_U_MM,
        limits=depth.limits,
        origin="cover meter" if on_bar else "drilled hole or core",
    )
    at = TieAt("bar" if on_bar else "face", place.value, tie)
    return NamedTie(text.strip(), match["name"] or "", at)


def _read(option: str, text: str, kind: Kind) -> Typed:
    try:
        return parse_quantity(text, kind)
    except DepthwrightError as problem:
        raise DepthwrightError(f"{option}: {problem.message}", problem.hint) from None


def _quantity(typed: Typed | None, usual_u: float) -> Quantity | None:
    if typed is None:
        return None
    return Quantity(typed.value, usual_u if typed.u is None else typed.u)


def _workers(text: str | None) -> int | None:
    if text is None:
        return None
    if not re.fullmatch(r"\d{1,4}", text.strip()) or int(text) < 1:
        raise DepthwrightError(
            f"--workers: “{text[:20]}” is no number of processes.", "Write it like 2."
        )
    return int(text)
