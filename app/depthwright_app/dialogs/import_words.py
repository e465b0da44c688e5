"""The words of the sheet of incoming files."""

from collections.abc import Sequence
from html import escape

from PySide6.QtWidgets import QLabel

from depthwright.files.facts import Fact
from depthwright.files.interval_readings import IntervalReading
from depthwright.job import Antenna, Job
from depthwright.units import format_length
from depthwright_app import theme
from depthwright_app.dialogs.import_picture import interval_words


def facts_html(facts: Sequence[Fact], look: theme.Look) -> str:
    """What a file says, quietly, what was made of it, and why."""
    return "".join(_fact_html(fact, look) for fact in facts)


def _fact_html(fact: Fact, look: theme.Look) -> str:
    made = f" {escape(fact.inferred)}" if fact.inferred else " <i>not told</i>"
    says = f"<span style='color:{look.quiet}'> {escape(fact.stated)}</span>"
    why = f"<br>{escape(fact.why)}" if fact.why else ""
    return f"<p style='margin:0 0 8px 0'><b>{escape(fact.label)}</b>{made}{says}{why}</p>"


def quiet_label(words: str) -> QLabel:
    """A line of quiet text."""
    label = QLabel(words)
    label.setProperty("quiet", True)
    label.setWordWrap(True)
    return label


def antenna_choice(antenna: Antenna, job: Job) -> str:
    """An antenna of the job among the choices."""
    separation = format_length(antenna.separation_mm, job.unit)
    return f"{antenna.name}, separation {separation}"


def reading_words(reading: IntervalReading) -> str:
    """A reading with its window, its pulse and what speaks against it."""
    pulse = "" if reading.pulse_ghz is None else f", pulse at {_frequency_words(reading.pulse_ghz)}"
    verdict = reading.doubt or "plausible"
    return f"{reading.words}: {_window_words(reading.window_ns)}{pulse}; {verdict}"


def _window_words(window_ns: float) -> str:
    return f"window {interval_words(window_ns)}"


def _frequency_words(ghz: float) -> str:
    for size_ghz, unit in ((1e3, "THz"), (1.0, "GHz"), (1e-3, "MHz"), (1e-6, "kHz")):
        if ghz >= size_ghz:
            return f"{ghz / size_ghz:.3g} {unit}"
    return f"{1e9 * ghz:.3g} Hz"
