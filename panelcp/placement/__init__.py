"""Where to cut: search regions, candidates and their ranking."""
