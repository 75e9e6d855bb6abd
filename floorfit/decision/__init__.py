"""What to cut, how sure, and when not to."""

from floorfit.decision.results import Action, Correction, Decision, FollowGrid, Verdict

__all__ = ["Action", "Correction", "Decision", "FollowGrid", "Verdict"]
