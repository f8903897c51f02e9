"""The cooling air inside the cowl: losses, network, cores, heat and temperatures."""
