"""Answers to questions about a site: the same functions serve pages, JSON and commands."""
