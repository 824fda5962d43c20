"""Hearing a line without sending a byte."""
