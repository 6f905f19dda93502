"""Planning a tent: the flow it needs, what its fan delivers, and the air that follows. Pure."""

from controller.sizing.assess import Sizing, Verdict
from controller.sizing.needs import Needs
from controller.sizing.plan import Plan

__all__ = ["Needs", "Plan", "Sizing", "Verdict"]
