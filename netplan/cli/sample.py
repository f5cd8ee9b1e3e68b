"""The sample network under the names the commands use."""

from netplan.library.sample_network import SAMPLE_WORK as DEMO_WORK
from netplan.library.sample_network import sample_town as sample_network

__all__ = ["DEMO_WORK", "sample_network"]
