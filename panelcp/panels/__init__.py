"""Source panels: influence of triangles and the solutions for unit causes."""
