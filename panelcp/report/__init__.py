"""Results for people: maps, page, tables; the only room that writes result files."""
