"""The air over the skin: superposition of unit solutions, velocity and pressure."""
