"""The adapters of this machine: what they are called, who holds them, and what keeps us from using them."""

from collector.ports.adapter import Adapter, Holder, Holders
from collector.ports.find import Roots, describe_port, find_ports
from collector.ports.not_a_port import why_no_port

__all__ = ["Adapter", "Holder", "Holders", "Roots", "describe_port", "find_ports", "why_no_port"]
