"""Bench sheets and tags on paper."""
