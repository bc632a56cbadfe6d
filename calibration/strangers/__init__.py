"""Photos that do not go with the others of a calibration: liquids mixed up, another print, another strip."""
