"""The live page: pressures recomputed in the browser while sliders and openings move."""
