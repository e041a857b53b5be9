"""Rules that judge any version, ours or a student's: faults and remarks with bar, source and remedy."""

from gracewright.review.judge import review
from gracewright.review.model import Finding, Review
from gracewright.review.parallels import Parallel, new_parallels
from gracewright.review.rules import Rule, rules
from gracewright.review.student import student_version

__all__ = [
    "Finding",
    "Parallel",
    "Review",
    "Rule",
    "new_parallels",
    "review",
    "rules",
    "student_version",
]
