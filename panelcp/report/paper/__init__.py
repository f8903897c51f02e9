"""The report on paper: pages made of registered parts, laid out and written as one PDF."""
