"""The words of the sheet of incoming files."""

from collections.abc import Sequence
from html import escape

from PySide6.QtWidgets import QLabel

from depthwright.files.facts import Fact
from depthwright.job import Antenna, Job
from depthwright.units import format_length
from depthwright_app import theme


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
