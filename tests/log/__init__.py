"""The log as evidence: tampering is found, clean logs are never blamed, one damaged row takes nothing else away."""
