"""Surfaces: records, reading, checking, lofting, openings laid onto the skin."""
