"""What a day's judging comes to."""

from __future__ import annotations

from dataclasses import field
from typing import NamedTuple

from takehold.decide.coverage import Coverage
from takehold.decide.standing import DayStanding
from takehold.model.finding import Finding, Verdict
from takehold.model.take import Take


class Judged(NamedTuple):
    """A day with its findings, its verdict, its takes load by load, and what packs have of them."""

    view: DayStanding
    findings: tuple[Finding, ...]
    verdict: Verdict
    reasons: tuple[str, ...]
    takes: tuple[Take, ...] = ()
    coverage: Coverage = field(default_factory=Coverage)
