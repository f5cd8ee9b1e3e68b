"""How far an option may be trusted: what would change if a doubtful record near it were wrong."""

from netplan.plan.trust.doubts import NEAR_M
from netplan.plan.trust.in_doubt import in_doubt_of
from netplan.plan.trust.judge import doubted, trust_of
from netplan.plan.trust.nobody import services_of_nobody

__all__ = ["NEAR_M", "doubted", "in_doubt_of", "services_of_nobody", "trust_of"]
