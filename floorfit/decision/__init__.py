"""What to cut, how sure, and when not to."""

from floorfit.decision.decide import decide, hold_all
from floorfit.decision.decision import Action, Correction, Decision, FollowGrid, Reason, Verdict, verdict_of
from floorfit.decision.settings import DecisionSettings

__all__ = [
    "Action",
    "Correction",
    "Decision",
    "DecisionSettings",
    "FollowGrid",
    "Reason",
    "Verdict",
    "decide",
    "hold_all",
    "verdict_of",
]
