"""Commands of the first day with a new strip: what comes before the calibration."""
