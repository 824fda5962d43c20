"""Proving what a site file and its register maps say, value by value, from what the drives answer."""

from api.proving.proof import Change, Proof, Verdict
from api.proving.prove import prove
from api.proving.samples import Sample
from api.proving.stated import Stated, stated_of
from api.proving.typed_map import TypedMap, TypedPoint, read_typed_map

__all__ = [
    "Change",
    "Proof",
    "Sample",
    "Stated",
    "TypedMap",
    "TypedPoint",
    "Verdict",
    "prove",
    "read_typed_map",
    "stated_of",
]
