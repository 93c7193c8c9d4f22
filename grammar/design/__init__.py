"""Designing a code: bounds, optimal codewords, assignments, sets without error, proposals,
analysis, and a key for an event.

``load_needs`` (or ``needs_of`` a book) says what a code is for; ``candidates`` builds proposals,
``proposals`` gives their figures, ``frontier`` keeps those nothing beats, ``chosen`` takes one,
``written`` is its book. Needs numpy and scipy (extra ``design``).
"""

from grammar.design.analysis import Analysis, analyse, remarks
from grammar.design.assignment import assign
from grammar.design.candidates import FAMILIES, Candidate, as_now, candidates
from grammar.design.capacity import ChannelSymbol, capacity, constrained_capacity, entropy, least
from grammar.design.codewords import Code, optimal
from grammar.design.ears import HearingTrial, Met, one_in
from grammar.design.frontier import (
    Bound,
    Proposal,
    bound_of,
    broken,
    ceilings,
    chosen,
    costs,
    expected_seconds,
    frontier,
    nearest,
    proposals,
    propose,
    safest,
)
from grammar.design.independent_set import largest_independent_set
from grammar.design.key import Keyed, keyed
from grammar.design.learning import Learning, learning_of
from grammar.design.needs import Needs, NeedsSpec, load_needs, needs_of, parse_needs
from grammar.design.noise import Noise, Rates, noise_of, rates
from grammar.design.report import written
from grammar.design.shown import explained, informative, named

__all__ = [
    "FAMILIES",
    "Analysis",
    "Bound",
    "Candidate",
    "ChannelSymbol",
    "Code",
    "HearingTrial",
    "Keyed",
    "Learning",
    "Met",
    "Needs",
    "NeedsSpec",
    "Noise",
    "Proposal",
    "Rates",
    "analyse",
    "as_now",
    "assign",
    "bound_of",
    "broken",
    "candidates",
    "capacity",
    "ceilings",
    "chosen",
    "constrained_capacity",
    "costs",
    "entropy",
    "expected_seconds",
    "explained",
    "frontier",
    "informative",
    "keyed",
    "largest_independent_set",
    "learning_of",
    "least",
    "load_needs",
    "named",
    "nearest",
    "needs_of",
    "noise_of",
    "one_in",
    "optimal",
    "parse_needs",
    "proposals",
    "propose",
    "rates",
    "remarks",
    "safest",
    "written",
]
