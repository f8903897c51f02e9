"""The case file, its checks, and the joining of all rooms into one run."""
