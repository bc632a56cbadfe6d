"""What workers do before there is a profile, and photos that are looked at and not kept."""
