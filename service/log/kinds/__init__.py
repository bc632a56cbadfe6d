"""Strip kinds that were described here, kept as the TOML files that calibration reads."""
