"""The adapters of this machine: what they are called, who holds them, and what keeps us from using them."""

from collector.ports.adapter import Adapter, Holder, Holders
from collector.ports.find import Roots, describe_port, find_ports

__all__ = ["Adapter", "Holder", "Holders", "Roots", "describe_port", "find_ports"]
