"""What the air of a tent should do, so that nothing is blamed that the record contradicts: pure."""

from controller.expectation.rise import Air, ExpectedRise, SteadyRise
from controller.expectation.settling import Judgement, Seen, Settling, judge

__all__ = ["Air", "ExpectedRise", "Judgement", "Seen", "Settling", "SteadyRise", "judge"]
