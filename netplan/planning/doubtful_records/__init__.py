"""How far an option may be trusted: what would change if a doubtful record near it were wrong."""

from netplan.planning.doubtful_records.doubts import NEAR_M
from netplan.planning.doubtful_records.in_doubt import in_doubt_of
from netplan.planning.doubtful_records.nobody import services_of_nobody
from netplan.planning.doubtful_records.record_effects import doubted, trust_of

__all__ = ["NEAR_M", "doubted", "in_doubt_of", "services_of_nobody", "trust_of"]
