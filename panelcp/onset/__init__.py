"""The air that meets the aeroplane: conditions, slipstream, wing, ground."""
