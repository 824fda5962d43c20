"""Register maps: where a drive keeps which quantity, in how few requests, and what its bytes mean."""

from collector.registers.blocks import Block, plan_blocks, split_block
from collector.registers.decode import Decoded, decode_block
from collector.registers.map_file import RegisterMapError, load_register_map
from collector.registers.register_map import FaultMeaning, Point, RegisterMap

__all__ = [
    "Block",
    "Decoded",
    "FaultMeaning",
    "Point",
    "RegisterMap",
    "RegisterMapError",
    "decode_block",
    "load_register_map",
    "plan_blocks",
    "split_block",
]
