"""Earlier entries that a photo is read with: the rinse water's own strip, the photo that measures a pair of vials."""
