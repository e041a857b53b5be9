"""Where graces go, which, how rich, on which time through, and why: manners, the planner, the plan file."""

from gracewright.taste.assembling import placed
from gracewright.taste.lines import grace_words, read_grace
from gracewright.taste.manner import Manner, load_manner, manners
from gracewright.taste.model import Alternative, Bare, Choice, Plan
from gracewright.taste.plan_file import read_plan, write_plan
from gracewright.taste.plan_json import plan_json
from gracewright.taste.planner import make_plan

__all__ = [
    "Alternative", "Bare", "Choice", "Manner", "Plan", "grace_words", "load_manner", "make_plan", "manners",
    "placed", "plan_json", "read_grace", "read_plan", "write_plan",
]  # fmt: skip
